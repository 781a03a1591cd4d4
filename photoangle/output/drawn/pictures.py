"""Annotated photos, written beside the results."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from calib.images.photo import PhotoError
from photoangle.core.findings import ATTENTION, Finding


def write_pictures(measurement, results, progress):
    """Annotated photos into ``results``; a picture that cannot be written is told, not fatal."""
    from photoangle.output.drawn.annotate import annotate

    report = measurement.report
    work = []
    for state in measurement.states:
        figures = [f for f in report.figures if (f.corner, f.state) == (state.corner, state.state)]
        target = results / state.corner / state.state if state.corner else results
        stems = Counter(Path(state.paths[name]).stem for name in state.scene.photos)
        for index, name in enumerate(state.scene.photos):
            path = Path(state.paths[name])
            alone = stems[path.stem] == 1  # no IMG_1.heic beside IMG_1.jpg
            work.append((state, index, path, target / f"{path.stem if alone else path.name}.jpg", figures))
    for state, index, path, picture, figures in progress(work, "pictures"):
        target = picture.parent
        try:
            target.mkdir(parents=True, exist_ok=True)
            annotate(path, picture, state, index, figures, measurement.kit,
                     units=measurement.car.units)
            report.pictures.append(picture)
        except PhotoError as error:  # it was there a moment ago
            report.tell(Finding(ATTENTION, str(path), error.what, error.do))
        except OSError as error:
            report.tell(Finding(ATTENTION, str(target), f"pictures cannot be written ({error.strerror})",
                                "make the folder writable, or use --no-pictures"))
            return
