"""The command line: the only place with options; beside `say` the only one that knows click.

Heavy imports happen inside the commands, so that ``--help`` answers at once.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

import click

from calib.errors import InputError
from photoangle import __version__
from photoangle.output.plain import plain
from photoangle.output.terminal import say

# OpenCV's own warnings about a damaged picture are repeated by us, in words.
os.environ.setdefault("OPENCV_LOG_LEVEL", "SILENT")
# The matrices here are small: a second thread costs more than it brings, and one gives the same
# digits everywhere.
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")


class _Fault(click.ClickException):
    """What, where and what to do, with exit code 2."""

    exit_code = 2

    def __init__(self, error):
        super().__init__(f"{error}.")

    def show(self, file=None):
        say(f"photoangle: {plain(self.message)}", err=True)


def _guarded(function):
    """Turn what a user can cause into a message and exit code 2."""
    import functools

    @functools.wraps(function)
    def run(*args, **kwargs):
        try:
            return function(*args, **kwargs)
        except ImportError as error:
            if ".so" in str(error) or "DLL" in str(error):
                raise _Fault(InputError("this computer", f"a system library is missing ({error})",
                                        "install it, on Debian or Ubuntu: apt install libgl1 libglib2.0-0")) from error
            if (error.name or "photoangle").partition(".")[0] in ("photoangle", "calib"):
                raise
            raise _Fault(InputError("this computer", f"a library is missing ({error})",
                                    f"install it: {sys.executable} -m pip install --upgrade photoangle")) from error
        except BrokenPipeError:
            # whoever read the output has heard enough
            sys.stdout = open(os.devnull, "w")
            sys.exit(0)
        except OSError as error:
            raise _Fault(InputError(str(error.filename or ""), f"{error.strerror or error}",
                                    "check the folder, its permissions and the disk's free space")) from error
        except InputError as error:
            raise _Fault(error) from error

    return run


def _progress(shown):
    """progress(items, label): a bar on the terminal's error stream where one is looking."""
    def over(items, label):
        items = list(items)
        if not shown or not sys.stderr.isatty() or len(items) < 2:
            yield from items
            return
        with click.progressbar(items, label=f"{label:20s}", file=sys.stderr) as bar:
            yield from bar

    return over


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__)
def main():
    """True angles of a car's anti-roll bar (sway bar), control arm and drop link (end link) from phone photos of
    printed markers, each with its plus-or-minus."""


@main.command()
@click.argument("path", type=click.Path(dir_okay=False), default="photoangle-kit.pdf")
@click.option("--paper", type=click.Choice(["A4", "Letter"], case_sensitive=False), default="A4", show_default=True)
@_guarded
def kit(path, paper):
    """Write the printable kit: card, markers, plumb strip, where they go."""
    from photoangle.output.kit_pdf import write_kit_pdf

    paper = {"a4": "A4", "letter": "Letter"}[paper.lower()]
    write_kit_pdf(path, paper)
    say(f"{path}: print it at 100 % (no \"fit to page\"), on {paper}.\n"
        "Lay a steel rule on the lines beside the card: 200.0 and 150.0 mm; write what it says into car.toml.")


@main.command()
@click.argument("folder", type=click.Path(file_okay=False))
@click.option("--units", type=click.Choice(["mm", "in"]), default="mm", show_default=True)
@_guarded
def start(folder, units):
    """Make a car folder with a commented car.toml."""
    from photoangle.carfile.template import start_folder

    made, new = start_folder(folder, units)
    for path in made:
        say(f"made {plain(path)}")
    if not new:
        say(f"{Path(folder) / 'car.toml'} was there already and is as it was")
    say(f"Next: photos of the card into {Path(folder) / 'lens'}, then `photoangle lens {folder}`.")


@main.command()
@click.argument("folder", type=click.Path(exists=True, file_okay=False))
@_guarded
def lens(folder):
    """Learn the phone's lens from photos of the card in FOLDER/lens."""
    from photoangle.core.outcome import Report
    from photoangle.output.table import finding_lines
    from photoangle.reconstruction.folder_lens import PROFILE_NAME, learn

    report = Report()
    for result in learn(folder, report, _progress(True)):
        p = result.profile
        say(f"{plain(p.camera.title)}, {p.camera.width_px} x {p.camera.height_px}: {result.verdict}.")
        say(f"  {p.photos} photos, residual {p.rms_px:.3f} px, focal length {p.lens[0]:.1f} +-"
            f" {1.96 * p.covariance[0, 0] ** 0.5:.1f} px, middle {p.lens[2]:.1f}, {p.lens[3]:.1f}")
        if result.moving:
            say(f"  the phone moves its lens between photos: focal length by {100 * p.shift_sigma[0]:.2f} %,"
                f" middle by {max(p.shift_sigma[1:]):.1f} px; each photo gets its own")
        say("  parts of the picture the card reached (# yes, . no):")
        for row in result.covered:
            say("    " + "".join("#" if c else "." for c in row))
        if not result.good:
            report.tell(_attention(p.camera.title, result.verdict))
    for line in finding_lines(report.findings):
        say(line)
    say(f"saved {Path(folder) / 'lens' / PROFILE_NAME}")
    sys.exit(report.exit_code)


def _attention(where, what):
    from photoangle.core.findings import ATTENTION, Finding

    return Finding(ATTENTION, where, what, "")


@main.command()
@click.argument("paths", nargs=-1, required=True, type=click.Path())
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object and nothing else.")
@click.option("--only", help="One corner or state, such as front-left or front-left/droop.")
@click.option("--kit", "kit_path", type=click.Path(dir_okay=False), help="A kit file for other tags.")
@click.option("--car", "car_root", type=click.Path(file_okay=False),
              help="Car folder whose car.toml and lens profile loose photos use.")
@click.option("--corner", help="Corner whose stand-offs in car.toml loose photos use, such as front-left.")
@click.option("--between", multiple=True, metavar="ID-ID[-ID]",
              help="Distance and elevation between two markers, or the angle at the middle one of three.")
@click.option("--planar", is_flag=True, help="The card was held in the plane of the parts.")
@click.option("--dots", metavar="ROLE,ROLE,...",
              help="Plain round stickers in the card's plane, named from left to right; implies --planar.")
@click.option("--level", type=click.Choice(["plumb", "card", "none"]),
              help="How level is known in loose photos (card: its long edge was levelled).")
@click.option("--pictures/--no-pictures", default=True, help="Write annotated photos beside the results.")
@_guarded
def measure(paths, as_json, only, kit_path, car_root, corner, between, planar, dots, level, pictures):
    """Measure a car FOLDER, or loose PHOTOs together."""
    from photoangle.commands.measure import measure_command

    code = measure_command([Path(p) for p in paths], as_json, only, kit_path, car_root, corner, between,
                           planar, dots, level, pictures, _progress(not as_json))
    sys.exit(code)


@main.command()
@click.argument("folder", type=click.Path(exists=True, file_okay=False))
@click.option("--from", "state", metavar="STATE", help="Answer from this state (default: fitted, else set, else droop).")
@click.option("--only", help="One corner, such as front-left.")
@click.option("--angle", type=float, metavar="DEG", help="Wanted bar arm angle at ride height (default: car.toml's, else 0).")
@click.option("--within", type=click.FloatRange(0, 45, min_open=True), metavar="DEG", help="How far off it may be.")
@click.option("--square", is_flag=True, help="Want the link square to the bar's lever instead.")
@click.option("--lowered", metavar="LENGTH", help="What if the car stood lower by this much.")
@click.option("--length", metavar="LENGTH", help="What if the link had this length.")
@click.option("--change", metavar="LENGTH", help="What if the link were changed by this much, such as -7mm.")
@click.option("--hole", metavar="LENGTH", help="What if the link sat in a hole this much nearer to the bush.")
@click.option("--tape", "tape_alone", is_flag=True, help="Answer by the tape readings alone, without photos.")
@click.option("--kit", "kit_path", type=click.Path(dir_okay=False), help="A kit file for other tags.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object and nothing else.")
@click.option("--pictures/--no-pictures", default=True, help="Write drawn views and plots beside the results.")
@_guarded
def link(folder, only, tape_alone, kit_path, as_json, pictures, **options):
    """The drop link for a car FOLDER: its length, the change, clearances over the travel."""
    from photoangle.commands.link import link_command

    sys.exit(link_command(folder, as_json, only, kit_path, options, tape_alone, pictures, _progress(not as_json)))


@main.command("next")
@click.argument("folder", type=click.Path(exists=True, file_okay=False))
@click.option("--only", help="One corner or state, such as front-left or front-left/droop.")
@click.option("--kit", "kit_path", type=click.Path(dir_okay=False), help="A kit file for other tags.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object and nothing else.")
@click.option("--pictures/--no-pictures", default=True, help="Draw where to stand.")
@_guarded
def next_(folder, only, kit_path, as_json, pictures):
    """What to do next: the one more photo or reading that helps most, and what is wrong so far."""
    from photoangle.commands.next import next_command

    sys.exit(next_command(folder, as_json, only, kit_path, pictures, _progress(not as_json)))


@main.command()
@click.argument("before", type=click.Path())
@click.argument("after", type=click.Path())
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object and nothing else.")
@click.option("--kit", "kit_path", type=click.Path(dir_okay=False), help="A kit file for other tags.")
@click.option("--car", "car_root", type=click.Path(file_okay=False),
              help="Car folder whose car.toml and lens profile loose photos use.")
@click.option("--corner", help="Corner whose stand-offs in car.toml loose photos use, such as front-left.")
@click.option("--planar", is_flag=True, help="In loose photos the card was held in the plane of the parts.")
@click.option("--dots", metavar="ROLE,ROLE,...",
              help="Plain round stickers in single photos, named from left to right; implies --planar.")
@click.option("--level", type=click.Choice(["plumb", "card", "none"]), help="How level is known in loose photos.")
@click.option("--same-print", is_flag=True,
              help="Both used the same printed sheets although they are not of one car folder.")
@click.option("--restuck", metavar="ROLE,ROLE,...",
              help="Markers stuck anew in between, where the photos cannot show it.")
@click.option("--pictures/--no-pictures", default=True, help="Write before and after as one picture beside the results.")
@_guarded
def compare(before, after, as_json, kit_path, car_root, corner, planar, dots, level, same_print, restuck, pictures):
    """What changed from BEFORE to AFTER: two states (my-car/front-left/droop), corners, car folders, or photos."""
    from photoangle.commands.compare import compare_command

    sys.exit(compare_command(before, after, as_json, kit_path, car_root, corner, planar, dots, level, same_print,
                             restuck, pictures, _progress(not as_json)))


@main.command()
@click.argument("folder", type=click.Path(file_okay=False, exists=False))
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object and nothing else.")
@click.option("--only", help="One corner or state, such as front-left or front-left/set.")
@click.option("--figure", "names", multiple=True, help="A figure by its name in --json, such as bar_arm_angle.")
@click.option("--all", "every", is_flag=True, help="Every figure, not the main ones alone.")
@click.option("--plot", type=click.Path(dir_okay=False), help="Also write a plot, a PNG or SVG file.")
@_guarded
def history(folder, as_json, only, names, every, plot):
    """What the measuring runs kept in a car FOLDER found over the season."""
    from photoangle.commands.history import history_command

    sys.exit(history_command(Path(folder), as_json, only, names, every, plot))


@main.command()
@click.argument("folder", type=click.Path(exists=True, file_okay=False))
@click.option("--to", "target", type=click.Path(dir_okay=False), help="The file to write (default: FOLDER/results/report.html).")
@click.option("--csv", "csv_path", type=click.Path(dir_okay=False), help="Write the figures for a spreadsheet as well.")
@click.option("--from", "state", metavar="STATE", help="Answer the link from this state.")
@click.option("--only", help="One corner, such as front-left.")
@click.option("--kit", "kit_path", type=click.Path(dir_okay=False), help="A kit file for other tags.")
@click.option("--json", "as_json", is_flag=True, help="Print the same figures as one JSON object and nothing else.")
@_guarded
def report(folder, target, csv_path, state, only, kit_path, as_json):
    """Everything about a car FOLDER in one HTML file, with a fitting card to take to the car."""
    from photoangle.commands.report import report_command

    sys.exit(report_command(folder, target, csv_path, as_json, only, kit_path, state, _progress(not as_json)))


@main.command()
@click.argument("folder", type=click.Path(file_okay=False))
@click.option("--phone", is_flag=True, help="Let a phone on the same Wi-Fi in, by a QR code.")
@click.option("--port", type=click.IntRange(0, 65535), default=8737, show_default=True, help="Where it is served; 0: any free one.")
@click.option("--browser/--no-browser", default=True, help="Open the page in the browser.")
@_guarded
def page(folder, phone, port, browser):
    """The whole job on a page in the browser, for phone and laptop.  FOLDER is made where it is absent."""
    from photoangle.commands.page import page_command

    sys.exit(page_command(folder, phone, port, browser))


@main.command()
@click.option("--folder", type=click.Path(file_okay=False), help="Where to write (default: photoangle-demo here).")
@_guarded
def demo(folder):
    """The whole job on the sample photos: lens, angles, pictures."""
    from photoangle.commands.demo import demo_command

    sys.exit(demo_command(folder, _progress(True)))


if __name__ == "__main__":
    main()
