"""`photoangle demo`: the whole job on the sample photos."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path

from photoangle.commands.measure import MeasureOptions, measure_command
from photoangle.core.errors import CannotUse
from photoangle.core.findings import Finding
from photoangle.core.progress import Progress
from photoangle.core.states import SET
from photoangle.output.terminal import say
from photoangle.pipeline.kept import looks_for

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"


@dataclass(frozen=True)
class DemoOptions:
    """folder: where to write."""

    folder: Path | None = None


def demo_command(options: DemoOptions, progress: Progress) -> int:
    """`photoangle demo`: measure a copy of the samples' notes and pictures and work out the link, ending with
    paths.

    Returns the exit code.  Raises InputError.
    """
    if not (SAMPLES / "car.toml").exists():
        raise CannotUse(str(SAMPLES), "the sample photos are not here",
                        "run this from a copy of the project (pip install -e .)")
    target = options.folder or Path("photoangle-demo")
    target.mkdir(parents=True, exist_ok=True)
    for source in sorted(SAMPLES.rglob("*")):
        name = source.relative_to(SAMPLES)
        if source.suffix.lower() not in (".jpg", ".toml") or name.parts[0] in ("maker", "results"):
            continue
        copy = target / name
        if not copy.exists():
            copy.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(source, copy)
    say(f"sample photos copied to {target}")
    looks, told = looks_for(target), list[Finding]()
    code = measure_command(MeasureOptions((target,)), progress, looks, told)
    if code == 2:
        return code
    from photoangle.commands.link import LinkOptions, link_command
    from photoangle.core.options import Asked

    say("\nThe link, from the photos at set height, before the new one went in:\n")
    code = link_command(LinkOptions(target, Asked(state=SET)), progress, looks, told)
    return 0 if code == 1 else code
