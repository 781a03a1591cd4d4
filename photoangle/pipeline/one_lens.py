"""States of one phone without lens photos: each is measured by itself, then once more with what the photos of
the others showed of the lens (`reconstruction.lens.shown`)."""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

from calib.files import read_small
from calib.images.photo import MOST_BYTES, CameraIdentity
from photoangle.core.findings import Finding
from photoangle.geometry.states import StateResult
from photoangle.reconstruction.lens.kept import keep_shown, kept_shown, made_of, named
from photoangle.reconstruction.lens.shown import LensShown, others_of

# A camera -> shares of other states that may serve it.
Others = Callable[[CameraIdentity], tuple[LensShown, ...]]
Done = tuple["StateResult | None", list[Finding]]
Measured = Callable[[list[tuple["StatePhotos", Others]]], list[Done]]


@dataclass(frozen=True)
class StatePhotos:
    """One state's photos: corner, state, folder, names: "corner/state/file" -> path; key: of its errors
    (Origin.state); made_with: all else that its share of the lens hangs on."""

    corner: str
    state: str
    folder: Path
    names: dict[str, Path]
    key: str
    made_with: tuple[object, ...] = ()

    @property
    def where(self) -> str:
        """As messages name it."""
        return f"{self.corner}/{self.state}"


@dataclass
class SharedLens:
    """Shares of all states in what is known of the lens; root: the car folder, beside whose results they are
    kept; states: all that the folder has."""

    root: Path
    states: list[StatePhotos]
    shares: dict[str, tuple[str, LensShown]] = field(default_factory=dict)
    _prints: dict[Path, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        kept = kept_shown(self.root / "results")
        for state in self.states:
            if state.where in kept and kept[state.where][0] == self._made_of(state):
                made, share = kept[state.where]
                self.shares[state.where] = made, named(share, state.key, share.photos)

    def of_others(self, camera: CameraIdentity, key: str, paths: Iterable[Path]) -> tuple[LensShown, ...]:
        """What serves photos (``paths``) of this camera as prior: of no photo that is among them."""
        return others_of((s for _, s in self.shares.values()), camera, key, self._fingerprints(paths))

    def made_of_others(self, state: StatePhotos) -> tuple[tuple[str, str], ...]:
        """(state, what its share was made from) of all shares but the state's own."""
        return tuple(sorted((where, made) for where, (made, _) in self.shares.items()
                            if where != state.where))

    def add(self, state: StatePhotos, result: StateResult | None) -> None:
        """Take in what a state that was solved by itself showed."""
        share = result.scene.lens_shown if result is not None else None
        if result is not None and share is not None and share.camera.known:
            photos = self._fingerprints(state.names[name] for name in result.scene.photos)
            self.shares[state.where] = self._made_of(state), named(share, state.key, photos)

    def keep(self) -> None:
        """Write the shares beside the results.  A folder that cannot be written loses nothing but time."""
        with contextlib.suppress(OSError):
            keep_shown(self.root / "results", self.shares)

    def _made_of(self, state: StatePhotos) -> str:
        return made_of(self._fingerprints(state.names.values()), state.made_with)

    def _fingerprints(self, paths: Iterable[Path]) -> list[str]:
        out = []
        for path in paths:
            if path not in self._prints:
                try:
                    # a pipe would be waited for without end
                    self._prints[path] = hashlib.sha256(read_small(path, MOST_BYTES)).hexdigest()[:24]
                except OSError:
                    self._prints[path] = path.name
            out.append(self._prints[path])
        return sorted(out)


def nobody(camera: CameraIdentity) -> tuple[LensShown, ...]:
    """No shares: `Others` of photos that are solved by themselves."""
    return ()


def measured_together(states: list[StatePhotos], lens: SharedLens, measured: Measured,
                      keep: bool) -> list[Done]:
    """Each state's (StateResult or None, findings), of one joint lens where no profile says what it is.

    Every state is first solved by itself, or its share is known from an earlier run of the same photos, so
    that it does not matter what was measured before.  keep: the shares for later runs, beside the results.
    """
    new = [state for state in states if state.where not in lens.shares]
    alone: dict[str, Done] = {}
    for state, done in zip(new, measured([(state, nobody) for state in new]), strict=True):
        alone[state.where] = done
        lens.add(state, done[0])
    if keep and lens.shares:
        lens.keep()
    again = [state for state in states
             if state.where not in alone or _could_gain(state, alone[state.where][0], lens)]
    served: list[tuple[StatePhotos, Others]]
    served = [(s, partial(lens.of_others, key=s.key, paths=list(s.names.values()))) for s in again]
    alone |= {s.where: done for s, done in zip(again, measured(served), strict=True)}
    return [alone[state.where] for state in states]


def _could_gain(state: StatePhotos, result: StateResult | None, lens: SharedLens) -> bool:
    if result is None:
        return any(where != state.where for where in lens.shares)
    taken = result.scene.taken
    if taken.lens_source == "profile" or taken.camera is None:
        return False
    return bool(lens.of_others(taken.camera, state.key, state.names.values()))
