"""`photoangle lens`: learns the phone's lens from a car folder's photos of the card."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from photoangle.core.findings import ATTENTION, Finding
from photoangle.core.outcome import Report
from photoangle.core.progress import Progress
from photoangle.output.plain import plain
from photoangle.output.table import finding_lines
from photoangle.output.terminal import say
from photoangle.reconstruction.folder_lens import PROFILE_NAME, learn
from photoangle.reconstruction.learn_lens import LensResult


@dataclass(frozen=True)
class LensOptions:
    """folder: the car folder, with photos of the card in its folder lens."""

    folder: Path


def lens_command(options: LensOptions, progress: Progress) -> int:
    """`photoangle lens`.  Returns the exit code.  Raises InputError and OSError."""
    report = Report()
    for result in learn(options.folder, report, progress):
        _print_lens(result)
        if not result.good:
            report.tell(Finding(ATTENTION, result.profile.camera.title, result.verdict, ""))
    for line in finding_lines(report.findings):
        say(line)
    say(f"saved {options.folder / 'lens' / PROFILE_NAME}")
    return report.exit_code


def _print_lens(result: LensResult) -> None:
    p = result.profile
    say(f"{plain(p.camera.title)}, {p.camera.width_px} x {p.camera.height_px}: {result.verdict}.")
    say(f"  {p.photos} photos, residual {p.rms_px:.3f} px, focal length {p.lens[0]:.1f} +-"
        f" {1.96 * p.covariance[0, 0] ** 0.5:.1f} px, middle {p.lens[2]:.1f}, {p.lens[3]:.1f}")
    if p.shift_sigma is not None:
        say(f"  the phone moves its lens between photos: focal length by {100 * p.shift_sigma[0]:.2f} %,"
            f" middle by {max(p.shift_sigma[1:]):.1f} px; each photo gets its own")
    say("  parts of the picture the card reached (# yes, . no):")
    for row in result.covered:
        say("    " + "".join("#" if c else "." for c in row))
