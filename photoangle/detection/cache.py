"""What was seen in each photo, kept within a program and, with a store, between programs: a photo is looked
at once.

A look is repeated when the file, the lens profile, the kit or the corrections have changed.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass
from pathlib import Path

from calib.files import file_digest
from calib.images.photo import PhotoError, read_photo
from photoangle.carfile.corrections import PhotoFix
from photoangle.carfile.store import Store
from photoangle.core.findings import ATTENTION, Finding
from photoangle.detection.by_hand import corrected
from photoangle.detection.detect_photo import detect_photo
from photoangle.detection.photo_quality import photo_quality


@dataclass(frozen=True)
class Look:
    """sighting: Detections, as corrected; findings; quality: PhotoQuality; orientation: EXIF's; printed:
    tag id as printed -> AlignedTag, before corrections."""

    sighting: object
    findings: tuple
    quality: object
    orientation: int
    printed: dict


class DetectionCache:
    """Looks at photos and remembers.  store: where to remember between programs, or None.  Safe to use from
    several threads."""

    def __init__(self, store: Store | None = None):
        self.store = store
        self._kept: dict = {}
        self._kit = None
        self._lock = threading.Lock()

    def look(self, path, name, kit, profiles=(), fix=PhotoFix(), photo=None):
        """Look at a photo, or remember what was seen.

        Parameters: path; name: for messages; kit; profiles: CameraProfiles; fix: PhotoFix; photo: the file
        already read.
        Returns (Look, grey (H, W) uint8 or None where it was remembered).  Raises PhotoError.
        """
        look, key = self._remembered(path, name, kit, profiles, fix)
        if look is not None:
            return look, None
        look, grey = _look(path, name, kit, profiles, fix, photo)
        # a file that changed meanwhile may or may not be what was seen
        if key and key == self._key(path, name, kit, profiles, fix):
            self.store.put(key, look)
        self._in_memory(look, path, name, kit, profiles, fix)
        return look, grey

    def look_ahead(self, photos, kit, profiles, workers, progress, label="photos"):
        """Look at photos side by side, so that each is remembered when it is asked for.

        photos: (name, path, PhotoFix) triples; kit; profiles; workers: Workers.  What cannot be read is told
        when it is asked for.
        """
        new, keys = [], []
        for name, path, fix in photos:
            look, key = self._remembered(path, name, kit, profiles, fix)
            if look is None:
                new.append((path, name, kit, profiles, fix))
                keys.append(key)
        found = zip(progress(new, label), keys, workers.map(_look_elsewhere, new), strict=True)
        for task, key, look in found:
            if look is not None:
                if key and key == self._key(*task):
                    self.store.put(key, look)
                self._in_memory(look, *task)

    def only_of(self, names):
        """What is remembered of some photos, name -> path, as a DetectionCache for another process."""
        out = DetectionCache(self.store)
        with self._lock:
            out._kit = self._kit
            out._kept = {key: self._kept[key] for name, path in names.items()
                         if (key := (str(path), name)) in self._kept}
        return out

    def __getstate__(self):
        return {"store": self.store, "_kept": self._kept, "_kit": self._kit}

    def __setstate__(self, state):
        self.__dict__.update(state, _lock=threading.Lock())

    def _remembered(self, path, name, kit, profiles, fix):
        """(the Look in memory or in the store, None where there is none; the store's key of it, None where
        it was not asked)."""
        with self._lock:
            kept = self._kept.get((str(path), name)) if self._kit is kit or self._kit == kit else None
        if kept is not None and kept[0] == (_stamp(path), fix, _lens_key(kept[1].sighting.camera, profiles)):
            return kept[1], None
        key = self._key(path, name, kit, profiles, fix)
        look = self.store.get(key) if key else None
        if not isinstance(look, Look):
            return None, key
        self._in_memory(look, path, name, kit, profiles, fix)
        return look, key

    def _in_memory(self, look, path, name, kit, profiles, fix):
        with self._lock:
            if self._kit is not kit and self._kit != kit:
                self._kept, self._kit = {}, kit
            self._kept[str(path), name] = (_stamp(path), fix, _lens_key(look.sighting.camera, profiles)), look

    def _key(self, path, name, kit, profiles, fix):
        """The store's key of a look, None without a store or a file to read."""
        if self.store is None:
            return None
        try:
            return self.store.key("look", file_digest(path), name, kit, tuple(profiles), fix)
        except OSError:
            return None


def _look_elsewhere(task):
    """The Look of a photo, in another process; None for one that cannot be read."""
    path, name, kit, profiles, fix = task
    try:
        return _look(path, name, kit, profiles, fix, None)[0]
    except PhotoError:
        return None


def _look(path, name, kit, profiles, fix, photo):
    """(Look, grey (H, W) uint8) at a photo.  Raises PhotoError."""
    photo = photo or read_photo(path)
    profile = _profile(photo.camera, profiles)
    lens = profile.lens if profile else None
    sighting, findings = detect_photo(photo, kit, lens, name)
    printed = dict(sighting.tags)
    sighting, more = corrected(sighting, photo.grey, kit, lens, fix)
    damaged = [Finding(ATTENTION, name, "the photo's data are damaged; what could be read of it was used",
                       "copy it from the phone again")] if photo.damaged else []
    look = Look(sighting, (*damaged, *findings, *more), photo_quality(photo.grey, sighting),
                photo.orientation, printed)
    return look, photo.grey


def detect_or_tell(looks, path, name, report, kit, **known):
    """As `DetectionCache.look`, with a photo's trouble told to a Report: (Look, grey (H, W) uint8 or None),
    or (None, None)."""
    try:
        return looks.look(path, name, kit, **known)
    except PhotoError as error:
        report.tell(Finding(ATTENTION, name, error.what, error.do))
        return None, None


def _stamp(path):
    try:
        status = Path(path).stat()
    except OSError:
        return None
    return status.st_mtime_ns, status.st_size, status.st_ino


def _profile(camera, profiles):
    return next((p for p in profiles if p.match(camera) is None), None)


def _lens_key(camera, profiles):
    profile = _profile(camera, profiles)
    return None if profile is None else profile.lens.tobytes()
