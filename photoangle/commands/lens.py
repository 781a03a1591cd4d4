"""`photoangle lens`: learns the phone's lens from a car folder's photos of the card or of another board."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from calib.kit_file import length_mm
from photoangle.core.errors import CannotUse
from photoangle.core.findings import ATTENTION, Finding
from photoangle.core.outcome import Report
from photoangle.core.progress import Progress
from photoangle.output.answers_json import lens_json
from photoangle.output.plain import plain
from photoangle.output.summary.common import wrapped
from photoangle.output.table import finding_lines
from photoangle.output.terminal import say
from photoangle.reconstruction.lens.folder_lens import PROFILE_NAME, learn
from photoangle.reconstruction.lens.learn_lens import LensResult
from photoangle.reconstruction.lens.lens_boards import BoardAsked

_MOST_SQUARES = 60


@dataclass(frozen=True)
class LensOptions:
    """folder: the car folder, with photos of a board in its folder lens; board: squares of a plain
    checkerboard as "10x7", square: its square's side as "25 mm"; None: found out from the photos; full: what
    was learnt in numbers; jobs: how many processes may work."""

    folder: Path
    board: str | None = None
    square: str | None = None
    full: bool = False
    as_json: bool = False
    jobs: int = 1


def lens_command(options: LensOptions, progress: Progress) -> int:
    """`photoangle lens`.  Returns the exit code.  Raises InputError and OSError."""
    report = Report()
    results = learn(options.folder, report, progress, board=_asked(options), jobs=options.jobs)
    for result in results:
        if not result.good:
            report.tell(Finding(ATTENTION, result.profile.camera.title, result.verdict, ""))
    if options.as_json:
        say(lens_json(results, report))
        return report.exit_code
    for result in results:
        for line in wrapped(headline(result)):
            say(line)
        if options.full:
            _print_lens(result)
    said = {r.verdict for r in results}
    for line in finding_lines([f for f in report.findings if f.what not in said]):
        say(line)
    say(f"Saved: {options.folder / 'lens' / PROFILE_NAME}")
    say(f"Next: photoangle measure {options.folder}")
    return report.exit_code


def headline(result: LensResult) -> str:
    """Whether the lens is known well enough, in a sentence."""
    p = result.profile
    phone = (f"{plain(p.camera.title)}, {p.camera.width_px} x {p.camera.height_px}, from {p.photos} photos of"
             f" {result.board}")
    return f"{'Good enough' if result.good else 'Not yet'}: {result.verdict} ({phone})."


def _asked(options: LensOptions) -> BoardAsked | None:
    """The checkerboard that is told; raises CannotUse for what is none."""
    if options.board is None:
        if options.square is not None:
            raise CannotUse("--square", "which board it is of is not told",
                            "give --board as well, as in 10x7")
        return None
    numbers = re.fullmatch(r"\s*(\d{1,3})\s*[xX*\u00d7]\s*(\d{1,3})\s*", options.board)
    if numbers is None or not all(4 <= int(n) <= _MOST_SQUARES for n in numbers.groups()):
        raise CannotUse("--board", f'"{plain(options.board)}" is no board',
                        "count its squares along and down, dark and light, and write them as in 10x7")
    side = None if options.square is None else length_mm(options.square, "--square")
    return BoardAsked(int(numbers[1]), int(numbers[2]), side)


def _print_lens(result: LensResult) -> None:
    p = result.profile
    say(f"  residual {p.rms_px:.3f} px, focal length {p.lens[0]:.1f} ±"
        f" {1.96 * p.covariance[0, 0] ** 0.5:.1f} px, middle {p.lens[2]:.1f}, {p.lens[3]:.1f}")
    if p.shift_sigma is not None:
        say(f"  the phone moves its lens between photos: focal length by {100 * p.shift_sigma[0]:.2f} %,"
            f" middle by {max(p.shift_sigma[1:]):.1f} px; each photo gets its own")
    say("  parts of the picture the card reached (# yes, . no):")
    for row in result.covered:
        say("    " + "".join("#" if c else "." for c in row))
