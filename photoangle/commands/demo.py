"""`photoangle demo`: the whole way on the sample photos, and how near it comes to their truth."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from calib.files import write_whole
from calib.images.photo import SUFFIXES
from photoangle.advice.advise import next_steps
from photoangle.api import compare, link, measure
from photoangle.commands.measure import MeasureOptions, measure_command
from photoangle.commands.report import ReportOptions, report_command
from photoangle.core.errors import CannotUse
from photoangle.core.figure import Figure
from photoangle.core.options import LinkRequest
from photoangle.core.progress import Progress
from photoangle.core.states import FITTED, SET
from photoangle.output.drawn.drawings import write_drawings
from photoangle.output.kit_pdf import FIRST, write_kit_pdf
from photoangle.output.plain import plain
from photoangle.output.summary import compared, linked, to_do
from photoangle.output.summary.common import wrapped
from photoangle.output.terminal import say
from photoangle.pipeline.kept import looks_for

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"
# The hose's and the eye's half thickness in the samples' car.toml: gaps in the truth are between middles.
RADII_MM = 19.0
_PARTS = ("lens", "front-left", "front-right", "single", "trouble")


@dataclass(frozen=True)
class DemoOptions:
    """folder: where to write; source: the sample photos, where they are not beside the package; jobs: how
    many processes may work."""

    folder: Path | None = None
    source: Path | None = None
    jobs: int = 1


def demo_command(options: DemoOptions, progress: Progress) -> int:
    """`photoangle demo`: every step on a copy of the sample photos, each with the command that does it.

    Returns the exit code.  Raises InputError and OSError.
    """
    source = _samples(options.source)
    target = options.folder or Path("photoangle-demo")
    _copy(source, target)
    say(f"The demo car (invented, its photos drawn, its truth known), copied to {plain(target)}.\n")
    _step("photoangle kit", 1)
    write_kit_pdf(target / "photoangle-kit.pdf", "A4", FIRST)
    say(f"{plain(target / 'photoangle-kit.pdf')}: card, where they go, the first markers")
    _step(f"photoangle measure {plain(target)}", 2)
    looks = looks_for(target)
    code = measure_command(MeasureOptions((target,), jobs=options.jobs), progress, looks)
    if code == 2:
        return code
    measurement = measure(target, looks=looks)
    _step(f"photoangle link {plain(target)} --from set   (before the new link went in)", 3)
    answers = link(measurement, LinkRequest(state=SET), looks=looks)
    write_drawings(answers.answers, target / "results", answers.report, progress, measurement.car.units)
    for answer in answers.answers:
        for line in linked.short_lines(answer, units=measurement.car.units):
            say(line)
    _step(f"photoangle compare {plain(target)}/front-left/set {plain(target)}/front-left/fitted", 4)
    pair = compare((measurement, f"front-left/{SET}"), (measurement, f"front-left/{FITTED}"))
    for line in wrapped(compared.headline(pair.comparisons[0])):
        say(line)
    _step(f"photoangle next {plain(target)}", 5)
    now = link(measurement, looks=looks).answers
    things = to_do.things_to_do(measurement, now, next_steps(measurement), [])
    for line in to_do.summary_lines(things[:1], str(target))[1:-1]:
        say(line)
    _step(f"photoangle report {plain(target)}", 6)
    report_command(ReportOptions(target), progress)
    say("\n" + _against_truth(measurement.figures, answers.answers, source))
    return 0


def _step(command, number):
    say(f"\n{number}. {command}" if number > 1 else f"{number}. {command}")


def _samples(given):
    """The folder of the sample photos.  Raises InputError where they are not here."""
    for folder in (given, SAMPLES, Path("sample_images")):
        if folder is not None and (folder / "car.toml").exists() and (folder / "truth.json").exists():
            return folder
        if folder is given is not None:
            break
    raise CannotUse(str(given or SAMPLES), "the sample photos are not here",
                    "copy the project's folder sample_images here, or name it with --from")


def _copy(source, target):
    """Copy the samples' notes and photos.  Raises InputError where the folder holds anything of anybody
    else's."""
    wanted = {p.relative_to(source) for part in _PARTS for p in sorted((source / part).rglob("*"))
              if p.suffix.lower() == ".jpg" and "results" not in p.parts} | {Path("car.toml")}
    there = {p.relative_to(target) for p in target.rglob("*")
             if p.suffix.lower() in (*SUFFIXES, ".toml") and "results" not in p.relative_to(target).parts}
    if there - wanted:
        raise CannotUse(str(target), "photos or notes of yours are in it",
                        "name another folder with --folder")
    for name in sorted(wanted):
        if not (target / name).exists():
            (target / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(source / name, target / name)
    if (target / "car.toml").read_bytes() != (source / "car.toml").read_bytes():
        write_whole(target / "car.toml", (source / "car.toml").read_bytes())


def _against_truth(figures: Iterable[Figure], answers: Iterable[Any], source: Path) -> str:
    """How many figures hold the truth that the drawn photos have."""
    truth = json.loads((source / "truth.json").read_text())
    held = known = 0
    for f in figures:
        if f.name.startswith("tape:"):
            continue
        true = true_value(truth, f)
        if true is not None:
            known += 1
            held += f.low95 <= true <= f.high95
    text = f"Against the truth: {held} of {known} figures hold it within their plus-or-minus."
    bar = next((f for f in figures if (f.corner, f.state, f.name, f.datum)
                == ("front-left", SET, "bar_arm_angle", "chassis")), None)
    if bar is not None:
        text += (f"\nThe bar arm at set: {bar.value:+.2f}° ± {(bar.high95 - bar.low95) / 2:.2f}, in truth"
                 f" {true_value(truth, bar):+.2f}°.")
    return text


def true_value(truth: dict[str, Any], figure: Figure, which: str = "figures") -> float | None:
    """The truth of a Figure in the samples' truth.json, deg or mm, or None; which: "figures", or
    "figures_marker_defined" for the joints as the stuck markers define them."""
    table = truth["states"][f"{figure.corner}/{figure.state}"][which].get(figure.name)
    if table is None:
        return None
    value = table.get(figure.datum) if figure.datum else table.get("value")
    if value is None and figure.name == "hub_to_arch":
        # a tape held upright takes it along the chassis where that is known, else along gravity
        value = table["chassis" if figure.corner == "front-left" else "gravity"]
    if value is None:
        return None
    return float(value) - (RADII_MM if figure.name.startswith("hose_gap") else 0.0)
