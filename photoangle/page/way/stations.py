"""The way through, and how far it has been gone."""

from __future__ import annotations

from photoangle.carfile.folder import state_folders
from photoangle.output.summary.linked import verdict_words
from photoangle.reconstruction.lens.folder_lens import PROFILE_NAME


def way(work):
    """The stations of the way: (page, title, how far, done) each."""
    states = {(c, s): len(f) for c, s, _, f in state_folders(work.root)}
    lens = len(work.photos("lens"))
    answer = work.answer
    figures = len(answer.measurement.report.figures) if answer.measurement else 0
    linked = [a for a in answer.answers if a.base is not None]
    pairs = any(s.startswith("fitted") for _, s in states)
    stale = "" if work.fresh() or not answer.number else ", being renewed"
    return [("/kit", "Print", "card and markers", bool(states) or lens > 0),
            ("/lens", "Lens", f"{lens} photo{'s' * (lens != 1)}",
             (work.root / "lens" / PROFILE_NAME).exists()),
            ("/photos", "Photos", f"{sum(states.values())} in {len(states)} state{'s' * (len(states) != 1)}",
             bool(states)),
            ("/tape", "Tape", "readings",
             any(readings for c in work.car()[0].corners.values() for readings in c.tape.values())),
            ("/angles", "Angles", f"{figures} figures{stale}" if figures else "not yet", figures > 0),
            ("/link", "Link", verdict_words(linked[0]).lower() if linked else "not yet", bool(linked)),
            ("/compare", "Before, after", "ready" if pairs and figures else "after the new link", pairs
             and figures > 0), ("/report", "Report", "ready" if figures else "not yet", figures > 0)]
