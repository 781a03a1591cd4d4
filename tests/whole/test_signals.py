"""A command that is interrupted or terminated: one line, the exit code a shell expects, no traceback."""

import os
import signal

import pytest
from click.testing import CliRunner

from photoangle import cli


@pytest.mark.parametrize("number, code, said", [(signal.SIGINT, 130, "photoangle: stopped.\n"),
                                                (signal.SIGTERM, 143, "")])
def test_a_signal_ends_a_command_quietly(monkeypatch, tmp_path, number, code, said):
    def work(command, options):
        os.kill(os.getpid(), number)
        signal.sigtimedwait([], 2)

    before = signal.getsignal(signal.SIGTERM)
    monkeypatch.setattr(cli, "_run", work)
    try:
        result = CliRunner().invoke(cli.main, ["measure", str(tmp_path)])
    finally:
        signal.signal(signal.SIGTERM, before)
    assert result.exit_code == code
    assert result.stderr == said and result.stdout == ""
