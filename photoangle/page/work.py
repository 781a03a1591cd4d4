"""What the page knows of the car folder: the newest answer, what it was made from, and the job that makes it
anew.

The same functions as the commands' make it, and the same files are written.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from pathlib import Path

from calib.errors import InputError
from calib.files import write_whole
from calib.images.photo import PhotoError
from calib.running.side_by_side import cores
from photoangle.advice.advise import next_steps
from photoangle.api import LinkResult, link, link_by_tape, measure
from photoangle.carfile.car import CarFile
from photoangle.carfile.corrections import NAME as CORRECTIONS
from photoangle.carfile.folder import load_car, load_corrections, load_kit, photo_files, state_folders
from photoangle.comparison.history import keep_run
from photoangle.core.errors import CannotUse, as_finding
from photoangle.core.outcome import Report
from photoangle.output.answers_json import link_json
from photoangle.output.drawn.drawings import write_drawings
from photoangle.output.drawn.pictures import write_pictures
from photoangle.page.jobs import Jobs
from photoangle.page.names import folder_of
from photoangle.pipeline.kept import looks_for
from photoangle.reconstruction.lens.folder_lens import PROFILE_NAME, learn


@dataclass
class Answer:
    """One run's outcome: measurement or None; answers and axles of the link; steps: what photo next; report:
    the link's Report; car: the CarFile it was made with; made_from: the folder's fingerprint; number: counts
    answers."""

    measurement: object = None
    answers: list = field(default_factory=list)
    axles: list = field(default_factory=list)
    steps: list = field(default_factory=list)
    report: object = None
    car: CarFile = field(default_factory=CarFile)
    made_from: tuple = ()
    number: int = 0


def _by_tape(car):
    """The link by tape alone, empty where nothing was taped yet."""
    try:
        return link_by_tape(car)
    except CannotUse:
        return LinkResult([], [], Report())


def _as_it_is(path):
    """(name, time, size) of a file as the only item of a tuple; none where it is not there: it may go between
    two looks."""
    try:
        seen = path.stat()
    except OSError:
        return ()
    return ((str(path), seen.st_mtime_ns, seen.st_size),)


class Work:
    """The car folder behind the page.  auto: work things out by itself after every change."""

    def __init__(self, root, auto=True, wait_s=0.3):
        self.root, self.auto = Path(root), auto
        self.looks, self.lens_looks = looks_for(root), looks_for(root)
        self.answer, self.lenses = Answer(), []
        self.jobs = Jobs(self._run, wait_s)
        self._noticed = ()
        self.sighting = threading.BoundedSemaphore(2)

    def changed(self, wait_s=None):
        """Something in the folder has changed."""
        if self.auto:
            self.jobs.soon(wait_s)

    def notice(self):
        """Have things worked out where a file was changed by another program since they last were, or were
        begun: whoever watches the job asks this each time."""
        if not self.auto or self.jobs.due:
            return
        now = self.fingerprint()
        if now != self._noticed:
            self._noticed = now
            self.changed()

    def stop(self):
        """Stop working until something else changes."""
        self.jobs.stop()
        self._noticed = self.fingerprint()

    def car(self):
        """(CarFile, Finding or None): the defaults and the reason where car.toml cannot be used."""
        try:
            return load_car(self.root), None
        except InputError as error:
            return CarFile(), as_finding(error)

    def kit(self):
        """The kit in use.  Raises InputError."""
        return load_kit(self.root, load_car(self.root))

    def profiles(self):
        """Lens profiles there are, without learning any."""
        from calib.profile import ProfileError, load_profiles

        path = self.root / "lens" / PROFILE_NAME
        try:
            return load_profiles(path) if path.exists() else []
        except ProfileError:
            return []

    def look(self, where, path, photo=None):
        """The Look at a photo of "lens" or "corner/state".  Raises InputError."""
        name = f"{where}/{path.name}"
        with self.sighting:
            if where == "lens":
                return self.lens_looks.look(path, name, self.kit(), photo=photo)[0]
            return self.looks.look(path, name, self.kit(), self.profiles(),
                                   load_corrections(self.root).of(name), photo)[0]

    def looks_at(self, where):
        """DetectionCache at all photos of a place that can be read.  Raises InputError."""
        out = []
        for path in self.photos(where):
            try:
                out.append(self.look(where, path))
            except PhotoError:
                continue
        return out

    def photos(self, where):
        """Photos of "lens" or "corner/state"."""
        folder = folder_of(self.root, where)
        return photo_files(folder) if folder.is_dir() else []

    def fingerprint(self):
        """What an answer depends on: names, sizes and times of photos and notes."""
        files = [p for _, _, _, group in state_folders(self.root) for p in group] + self.photos("lens")
        files += [self.root / "car.toml", self.root / CORRECTIONS]
        kit = self.car()[0].kit
        files += [self.root / kit] if kit else []
        return tuple(seen for p in files for seen in _as_it_is(p))

    def fresh(self):
        """Whether the answer is made from the folder as it is now."""
        return self.answer.number > 0 and self.answer.made_from == self.fingerprint()

    def _run(self, jobs):
        made_from = self._noticed = self.fingerprint()
        self._lens(jobs)
        measurement = None
        if state_folders(self.root):
            measurement = measure(self.root, progress=jobs.progress, looks=self.looks, jobs=cores())
            jobs.say("the link")
            linked, car = link(measurement, looks=self.looks), measurement.car
        else:
            car = load_car(self.root)
            linked = _by_tape(car)
        steps = next_steps(measurement) if measurement else []
        # the answer is shown at once; the pictures beside the results follow
        self.answer = Answer(measurement, linked.answers, linked.axles, steps, linked.report, car, made_from,
                             self.answer.number + 1)
        if measurement is not None and measurement.states:
            self._keep(measurement, linked, jobs)
        if not linked.answers and measurement is None:
            return "nothing to work out yet: photos or tape readings are needed"
        return "worked out"

    def _keep(self, measurement, linked, jobs):
        results = self.root / "results"
        results.mkdir(exist_ok=True)
        write_whole(results / "measure.json", measurement.report.to_json() + "\n")
        keep_run(results, measurement)
        answers, report = linked.answers, linked.report
        if any(a.base is not None for a in answers):
            write_whole(results / "link.json", link_json(report, answers, units=measurement.car.units) + "\n")
        write_pictures(measurement, results, jobs.progress)
        write_drawings(answers, results, report, jobs.progress, measurement.car.units)

    def _lens(self, jobs):
        """Learn the lens anew where its photos are newer than the profile."""
        photos = self.photos("lens")
        profile = self.root / "lens" / PROFILE_NAME
        if len(photos) < 3 or (profile.exists() and profile.stat().st_mtime >= max(
                [p.stat().st_mtime for p in photos] + [profile.parent.stat().st_mtime - 0.5])):
            return
        report = Report()
        try:
            self.lenses = learn(self.root, report, jobs.progress, looks=self.lens_looks)
        except InputError as error:
            jobs.say(error.what)
