"""The command line: click's options, and nothing else.

Beside the two terminal.py this is the only place that knows click.

Heavy imports happen inside the commands, so that ``--help`` answers at once.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

import click

from calib.running.side_by_side import cores
from photoangle import __version__
from photoangle.commands.terminal import guarded, progress

# OpenCV's own warnings about a damaged picture are repeated by us, in words.
os.environ.setdefault("OPENCV_LOG_LEVEL", "SILENT")
# The matrices here are small: a second thread costs more than it brings, and one gives the same
# digits everywhere.
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

_ANY = click.Path(path_type=Path)
_FILE = click.Path(dir_okay=False, path_type=Path)
_FOLDER = click.Path(file_okay=False, path_type=Path)
_CAR = click.Path(exists=True, file_okay=False, path_type=Path)
# What several commands share.
_JSON = click.option("--json", "as_json", is_flag=True, help="Print one JSON object and nothing else.")
_FULL = click.option("--full", is_flag=True, help="Everything that was found, not the answer alone.")
_KIT = click.option("--kit", "kit_path", type=_FILE, help="A kit file for other tags.")
_JOBS = click.option("--jobs", type=click.IntRange(1, 64), default=cores,
                     help="How many processes may work (default: as many as there are cores).")


def _run(command, options):
    """Run a command with its options, as photoangle.commands has them, and leave with its exit code."""
    sys.exit(command(options, progress(not getattr(options, "as_json", False))))


_ORDER = ("kit", "start", "lens", "measure", "point", "next", "link", "report", "compare", "history", "page",
          "demo", "help")


class _InOrder(click.Group):
    """Its commands in working order, each with its whole sentence."""

    def list_commands(self, ctx):
        return sorted(super().list_commands(ctx), key=_ORDER.index)

    def format_commands(self, ctx, formatter):
        rows = [(name, self.commands[name].get_short_help_str(400)) for name in self.list_commands(ctx)]
        with formatter.section("Commands"):
            formatter.write_dl(rows)


@click.group(cls=_InOrder, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__)
def main():
    """True angles of a car's anti-roll bar (sway bar), control arm and drop link (end link) from phone photos
    of printed markers, each with its plus-or-minus."""


@main.command()
@click.argument("path", type=_FILE, required=False)
@click.option("--paper",
              type=click.Choice(["A4", "Letter"], case_sensitive=False),
              default="A4",
              show_default=True)
@click.option("--all", "every", is_flag=True, help="Every sheet of one side, not the first three pages.")
@click.option("--right", is_flag=True, help="All sheets and the second set, for both sides in one picture.")
@click.option("--screen", metavar="WIDTHxHEIGHT",
              help="The card alone as a picture for a screen of so many pixels, to learn a lens from.")
@guarded
def kit(**options):
    """Write the printable kit: card, markers, plumb strip, where they go (photoangle-kit.pdf)."""
    from photoangle.commands.kit import KitOptions, kit_command

    _run(kit_command, KitOptions(**options))


@main.command()
@click.argument("folder", type=_FOLDER)
@click.option("--units", type=click.Choice(["mm", "in"]), default="mm", show_default=True)
@click.option("--ask", "asked", is_flag=True, help="Ask for the readings one by one and write them down.")
@guarded
def start(folder, units, asked):
    """Make a car folder with a short car.toml."""
    from photoangle.commands.start import StartOptions, start_command

    def ask(question):
        try:
            return click.prompt(question, default="", show_default=False)
        except click.Abort as error:
            if sys.stdin.isatty():
                raise KeyboardInterrupt from error
            raise EOFError from error

    _run(start_command, StartOptions(folder, units, ask if asked else None))


@main.command()
@click.argument("folder", type=_CAR)
@click.option("--board", help="A plain checkerboard's squares along and down, dark and light, such as 10x7;"
              " boards are found by themselves where they can be.")
@click.option("--square", help="The side of its squares, such as 25 mm.")
@_JSON
@_FULL
@_JOBS
@guarded
def lens(**options):
    """Learn the phone's lens from photos in FOLDER/lens: of the card, of a checkerboard with tags or without,
    or of a sheet of tags."""
    from photoangle.commands.lens import LensOptions, lens_command

    _run(lens_command, LensOptions(**options))


@main.command()
@click.argument("paths", nargs=-1, required=True, type=_ANY)
@_JSON
@click.option("--only", help="One corner or state, such as front-left or front-left/droop.")
@_KIT
@click.option("--car", "car_root", type=_FOLDER,
              help="Car folder whose car.toml and lens profile loose photos use.")
@click.option("--corner", help="Corner whose stand-offs in car.toml loose photos use, such as front-left.")
@click.option(
    "--between",
    multiple=True,
    metavar="ID-ID",
    help="Distance and elevation between two markers; ID-ID-ID the angle at the middle one, ID/ID of two"
    " planes, ID-ID/ID-ID of two lines.")
@click.option("--planar", is_flag=True, help="The card was held in the plane of the parts.")
@click.option("--dots", metavar="ROLE,ROLE,...",
              help="Plain round stickers in the card's plane, named from left to right; implies --planar.")
@click.option("--level", type=click.Choice(["plumb", "card", "none"]),
              help="How level is known in loose photos (card: its long edge was levelled).")
@click.option("--assumed", is_flag=True,
              help="List what was taken for granted, the largest effect first, and what settles it.")
@click.option("--pictures/--no-pictures", default=True, help="Write annotated photos beside the results.")
@_FULL
@_JOBS
@guarded
def measure(**options):
    """Measure a car FOLDER, or loose PHOTOs together."""
    from photoangle.commands.measure import MeasureOptions, measure_command

    _run(measure_command, MeasureOptions(**options))


@main.command()
@click.argument("folder", type=_CAR)
@click.option("--from",
              "state",
              metavar="STATE",
              help="Answer from this state (default: fitted, else set, else droop).")
@click.option("--only", help="One corner, such as front-left.")
@click.option("--angle",
              type=float,
              metavar="DEG",
              help="Wanted bar arm angle at ride height (default: car.toml's, else 0).")
@click.option("--within",
              type=float,
              metavar="DEG",
              help="How far off it may be, at most 45.")
@click.option("--square", is_flag=True, help="Want the link square to the bar's lever instead.")
@click.option("--lowered", metavar="LENGTH", help="What if the car stood lower by this much.")
@click.option("--length", metavar="LENGTH", help="What if the link had this length.")
@click.option("--change", metavar="LENGTH", help="What if the link were changed by this much, such as -7mm.")
@click.option("--hole", metavar="LENGTH", help="What if the link sat in a hole this much nearer to the bush.")
@click.option("--tape", "tape_alone", is_flag=True, help="Answer by the tape readings alone, without photos.")
@_KIT
@_JSON
@click.option("--pictures/--no-pictures",
              default=True,
              help="Write drawn views and plots beside the results.")
@_FULL
@_JOBS
@guarded
def link(folder, only, tape_alone, kit_path, as_json, pictures, full, jobs, **asked):
    """The drop link for a car FOLDER: its length, the change, clearances over the travel."""
    from photoangle.commands.link import LinkOptions, link_command
    from photoangle.core.options import Asked

    _run(link_command,
         LinkOptions(folder, Asked(**asked), only, tape_alone, kit_path, as_json, pictures, full,
                     jobs))


@main.command()
@click.argument("photo", type=_FILE)
@click.argument("role")
@click.argument("at", metavar="X,Y", required=False)
@click.option("--what", default="bolt", show_default=True,
              help="What is there: bolt (or nut), stud, hole, edge or other.")
@click.option("--sigma", "sigma_px", type=float, default=3.0, show_default=True, metavar="PX",
              help="How far the place may be off, one standard deviation; 12 for a finger on a small screen.")
@click.option("--remove", is_flag=True, help="Take it out again.")
@_KIT
@_JSON
@_JOBS
@guarded
def point(**options):
    """Point at a joint's bolt in one PHOTO of a car folder, by its pixel X,Y, in place of a marker of ROLE.
    The other photos of the state are searched for it."""
    from photoangle.commands.point import PointOptions, point_command

    _run(point_command, PointOptions(**options))


@main.command("next")
@click.argument("folder", type=_CAR)
@click.option("--only", help="One corner or state, such as front-left or front-left/droop.")
@_KIT
@_JSON
@click.option("--pictures/--no-pictures", default=True, help="Draw where to stand.")
@_FULL
@_JOBS
@guarded
def next_(**options):
    """What to do next: the one more photo or reading that helps most, and what is wrong so far."""
    from photoangle.commands.next import NextOptions, next_command

    _run(next_command, NextOptions(**options))


@main.command()
@click.argument("before", type=_ANY)
@click.argument("after", type=_ANY)
@_JSON
@_KIT
@click.option("--car", "car_root", type=_FOLDER,
              help="Car folder whose car.toml and lens profile loose photos use.")
@click.option("--corner", help="Corner whose stand-offs in car.toml loose photos use, such as front-left.")
@click.option("--planar", is_flag=True, help="In loose photos the card was held in the plane of the parts.")
@click.option("--dots", metavar="ROLE,ROLE,...",
              help="Plain round stickers in single photos, named from left to right; implies --planar.")
@click.option("--level",
              type=click.Choice(["plumb", "card", "none"]),
              help="How level is known in loose photos.")
@click.option("--same-print", is_flag=True,
              help="Both used the same printed sheets although they are not of one car folder.")
@click.option("--restuck", metavar="ROLE,ROLE,...",
              help="Markers stuck anew in between, where the photos cannot show it.")
@click.option("--pictures/--no-pictures",
              default=True,
              help="Write before and after as one picture beside the results.")
@_FULL
@_JOBS
@guarded
def compare(**options):
    """What changed from BEFORE to AFTER: two states (my-car/front-left/droop), corners, car folders, or
    photos."""
    from photoangle.commands.compare import CompareOptions, compare_command

    _run(compare_command, CompareOptions(**options))


@main.command()
@click.argument("folder", type=_FOLDER)
@_JSON
@click.option("--only", help="One corner or state, such as front-left or front-left/set.")
@click.option("--figure",
              "names",
              multiple=True,
              help="A figure by its name in --json, such as bar_arm_angle.")
@click.option("--all", "every", is_flag=True, help="Every figure, not the main ones alone.")
@click.option("--plot", type=_FILE, help="Also write a plot, a PNG or SVG file.")
@_FULL
@guarded
def history(**options):
    """What the measuring runs kept in a car FOLDER found over the season."""
    from photoangle.commands.history import HistoryOptions, history_command

    _run(history_command, HistoryOptions(**options))


@main.command()
@click.argument("folder", type=_CAR)
@click.option("--to", "target", type=_FILE, help="The file to write (default: FOLDER/results/report.html).")
@click.option("--csv", "csv_path", type=_FILE, help="Write the figures for a spreadsheet as well.")
@click.option("--from", "state", metavar="STATE", help="Answer the link from this state.")
@click.option("--only", help="One corner, such as front-left.")
@_KIT
@click.option("--json",
              "as_json",
              is_flag=True,
              help="Print the same figures as one JSON object and nothing else.")
@_JOBS
@guarded
def report(**options):
    """Everything about a car FOLDER in one HTML file, with a fitting card to take to the car."""
    from photoangle.commands.report import ReportOptions, report_command

    _run(report_command, ReportOptions(**options))


@main.command()
@click.argument("folder", type=_FOLDER)
@click.option("--phone", is_flag=True, help="Let a phone on the same Wi-Fi in, by a QR code.")
@click.option("--port",
              type=click.IntRange(0, 65535),
              default=8737,
              show_default=True,
              help="Where it is served; 0: any free one.")
@click.option("--browser/--no-browser", default=True, help="Open the page in the browser.")
@guarded
def page(**options):
    """The whole job on a page in the browser, for phone and laptop.  FOLDER is made where it is absent."""
    from photoangle.commands.page import PageOptions, page_command

    _run(page_command, PageOptions(**options))


@main.command()
@click.option("--folder", type=_FOLDER, help="Where to write (default: photoangle-demo here).")
@click.option("--from", "source", type=_FOLDER,
              help="The sample photos, where they are not beside the program.")
@_JOBS
@guarded
def demo(**options):
    """The whole way on the sample photos, from the kit to the report, against their truth."""
    from photoangle.commands.demo import DemoOptions, demo_command

    _run(demo_command, DemoOptions(**options))


@main.command("help")
@click.argument("topic", required=False)
@click.option("--units", type=click.Choice(["mm", "in"]), default="mm", show_default=True,
              help="Of car.toml's examples.")
@guarded
def help_(**options):
    """More on a TOPIC, such as link or car.toml; without one, the topics there are."""
    from photoangle.commands.help import HelpOptions, help_command

    _run(help_command, HelpOptions(**options))


if __name__ == "__main__":
    main()
