"""`photoangle start`: makes a car folder, and asks for its readings one by one if wanted."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from photoangle.carfile.folder import load_car
from photoangle.carfile.template import SIDES, STANDOFFS, start_folder
from photoangle.core.progress import Progress
from photoangle.core.roles import ROLE_BY_KEY
from photoangle.core.states import DROOP, RIDE
from photoangle.output.plain import plain
from photoangle.output.terminal import say
from photoangle.page.notes import NotTaken, read_as, set_value

# ask(question) -> what was typed, "" to pass over; raises EOFError at the end of input.
Ask = Callable[[str], str]


@dataclass(frozen=True)
class StartOptions:
    """folder: the car folder to make; units: "mm" or "in" for numbers without a unit; ask: how readings are
    asked for one by one, or None."""

    folder: Path
    units: str = "mm"
    ask: Ask | None = None


def start_command(options: StartOptions, progress: Progress) -> int:
    """`photoangle start`.  Returns the exit code.  Raises InputError and OSError."""
    folder = options.folder
    made, new = start_folder(folder, options.units)
    say(f"{plain(folder)} {'is ready' if made else 'was ready'}: car.toml and folders for the photos.")
    if not new:
        say(f"{folder / 'car.toml'} was there already and is as it was")
    if options.ask is not None:
        _ask_all(folder, options.ask)
    say(f"Next: photoangle kit, print it at 100 %, stick the markers; then three photos into\n"
        f"{folder / 'front-left' / 'droop'} and: photoangle measure {folder}")
    return 0


def questions() -> list[tuple[tuple[str, ...], str]]:
    """(path of the key in car.toml, question) of the short way's readings, in the order in which they are
    read off."""
    out: list[tuple[tuple[str, ...], str]]
    out = [((side, "tape", RIDE, "hub_to_arch"),
            f"{side}, on its wheels: hub's middle straight up to the arch") for side in SIDES]
    out += [(("print", f"{axis}_line"), f"print check: the line that should be {length}")
            for axis, length in (("x", "200.0 mm"), ("y", "150.0 mm"))]
    for side in SIDES:
        out += [((side, "standoff", role),
                 f"{side}: from the {ROLE_BY_KEY[role].title} marker's face back to the joint's middle")
                for role in STANDOFFS]
        out.append(((side, "tape", DROOP, "hub_to_arch"), f"{side}, hanging on stands: hub to arch"))
    return out


def _ask_all(folder, ask):
    """Ask for each reading and write what is answered; a reading that is not understood is asked again."""
    units = load_car(folder).units
    say('Each reading as you read it ("378 mm", "14 7/8 in"); Enter passes one over, "stop" ends.')
    for path, question in questions():
        while True:
            try:
                text = ask(f"  {question}").strip()
            except EOFError:
                return
            if text.lower() == "stop":
                return
            if not text:
                break
            try:
                set_value(folder, path, text)
            except NotTaken as refused:
                say(f"    {refused.what}: {refused.do}" if refused.do else f"    {refused.what}")
                continue
            say(f"    written: {read_as(path, text, units)}")
            break
