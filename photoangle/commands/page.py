"""`photoangle page`: serves the page until it is stopped."""

from __future__ import annotations

import threading
import webbrowser
from dataclasses import dataclass
from pathlib import Path

from photoangle.core.errors import CannotUse
from photoangle.core.progress import Progress
from photoangle.output.terminal import say


@dataclass(frozen=True)
class PageOptions:
    """folder: the car folder, made where absent; phone: let a phone on the same Wi-Fi in; port: 0 for any
    free one; browser: open it."""

    folder: Path
    phone: bool = False
    port: int = 8737
    browser: bool = True


def page_command(options: PageOptions, progress: Progress) -> int:
    """`photoangle page`.  Returns the exit code.  Raises InputError."""
    from photoangle.page.serve import Served

    folder, phone, port = options.folder, options.phone, options.port
    try:
        served = Served(folder, port, phone)
    except (OSError, SystemExit) as error:
        if getattr(error, "filename", None):
            raise  # the folder, not the port
        raise CannotUse(f"port {port}", f"the page cannot be served here ({error})",
                        "close the other page, or name another port with --port") from error
    served.start()
    url = served.url()
    say(f"The page for {folder} is at\n  {url}\n(good once, for a quarter of an hour; stop with Ctrl-C)")
    if phone and served.lan is None:
        say("No Wi-Fi or other local network was found: the page is for this machine only.", err=True)
    elif phone:
        _show_code(served.phone_url())
    if options.browser:
        threading.Thread(target=webbrowser.open, args=(url,), daemon=True).start()
    try:
        threading.Event().wait()
    except KeyboardInterrupt:
        served.stop()
        say("\nstopped; what was done is in the folder")
    return 0


def _show_code(url):
    import sys

    import segno

    say("For the phone on the same Wi-Fi, scan this (good once; the page makes a new one):")
    segno.make(url, error="m").terminal(out=sys.stdout, compact=True)
    say(f"or type {url}\nWhoever is on this Wi-Fi can see what is sent: use your own.")
