"""What a person or a phone does to the photos of droop: name -> a car to which it was done."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tests.invented_car import InventedCar, Slips
from tests.misuse import edits

STATE = "droop"


@dataclass(frozen=True)
class Case:
    """name; photos: of droop that are used, None for all; change(rng, strength, photo's index) -> pixel map or
    None; mixed: photos of set that stand in for as many of droop; rest: the InventedCar's own arguments."""

    name: str
    photos: int | None = None
    change: object = None
    mixed: int = 0
    after: object = None
    count: int = 4
    rest: tuple = ()

    def car(self, seed, strength=1.0):
        def between(car, state, sightings):
            return self._done(car, sightings, np.random.default_rng([seed, 5]), strength) if state == STATE \
                else sightings

        return InventedCar(seed, between=between, **dict(self.rest))

    def _done(self, car, sightings, rng, strength):
        if self.count != 4:
            sightings = car.sightings(STATE, self.count)
        if self.mixed:
            there = car.sightings("set", 2 * self.mixed)[::2]
            sightings = sightings[:self.count - self.mixed] + [
                replace(s, name=s.name.replace("set/", "droop/from-set-")) for s in there]
        if self.photos is not None:
            sightings = sightings[:self.photos]
        out = []
        for k, s in enumerate(sightings):
            change = self.change(rng, strength, k) if self.change is not None else None
            out.append(s if change is None else edits.edited(s, change))
        return self.after(rng, strength, out) if self.after is not None else out


def _all(make, amount):
    return lambda rng, strength, k: make(1 + (amount - 1) * strength if amount >= 1 else amount * strength)


def _some(make, amount, which):
    do = _all(make, amount)
    return lambda rng, strength, k: do(rng, strength, k) if k in which else None


def _copies(rng, strength, sightings):
    """Each photo five times, as an app saves them anew: the same errors to a hundredth of a pixel."""
    out = []
    for s in sightings:
        for n in range(5):
            tags = {i: replace(t, corners_px=t.corners_px + rng.normal(0, 0.003, (4, 2))) for i, t in s.tags.items()}
            out.append(replace(s, name=s.name.replace(".jpg", f"-{n}.jpg"), tags=tags))
    return out


def _foreign(rng, strength, sightings):
    """One photo of another car among them."""
    other = InventedCar(int(rng.integers(1000)) + 500)
    return sightings[:-1] + [replace(other.sightings("droop")[2], name=sightings[-1].name)]


def _slips(**slips):
    return (("slips", Slips(**slips)),)


def _exchanged(a, b):
    return Case(f"{a} and {b} exchanged".replace("_", " "), rest=_slips(swap=((a, b),)))


def _screen(rng, strength, k):
    return edits.on_screen(rng)


def _edited():
    for times in (1.05, 1.3, 2.0):
        yield Case(f"digital zoom {times:g}, all", change=_all(edits.zoomed, times))
    yield Case("digital zoom 1.3, two of four", change=_some(edits.zoomed, 1.3, (1, 2)))
    for share in (0.01, 0.03, 0.08):
        yield Case(f"keystone {100 * share:g} %, all", change=_all(edits.keystone, share))
    yield Case("keystone 3 %, one of four", change=_some(edits.keystone, 0.03, (1,)))
    yield Case("squeezed 2 %, all", change=_all(edits.squeezed, 0.02))
    yield Case("straightened by 3 deg, all", change=_all(edits.straightened, 3.0))
    yield Case("lens-corrected, all", change=lambda *_: edits.corrected())
    yield Case("lens-corrected, two of four", change=lambda r, s, k: edits.corrected() if k in (1, 2) else None)
    for photos in (1, 2):
        of = "one photo" if photos == 1 else "two photos"
        for times in (1.05, 1.3):
            yield Case(f"{of}, zoom {times:g}", photos, _all(edits.zoomed, times))
        yield Case(f"{of}, keystone 3 %", photos, _all(edits.keystone, 0.03))
        yield Case(f"{of}, squeezed 2 %", photos, _all(edits.squeezed, 0.02))
        yield Case(f"{of}, lens-corrected", photos, lambda *_: edits.corrected())
    yield Case("photos of a screen", change=_screen)
    yield Case("one photo of a screen", 1, _screen)
    without = (("left_out", ("lens",)),)
    yield Case("no lens profile, zoom 1.3, all", change=_all(edits.zoomed, 1.3), rest=without)
    yield Case("no lens profile, squeezed 2 %", change=_all(edits.squeezed, 0.02), rest=without)
    yield Case("no lens profile, one photo, zoom 1.3", 1, _all(edits.zoomed, 1.3), rest=without)
    yield Case("no lens profile, one photo, squeezed 2 %", 1, _all(edits.squeezed, 0.02), rest=without)


def _together():
    yield Case("two of droop and two of set", mixed=2)
    yield Case("four of droop and five of set", mixed=5, count=9)
    yield Case("three of droop and one of set", mixed=1)
    yield Case("a photo of another car", after=_foreign)
    yield Case("each photo five times", after=_copies)
    yield Case("the car moved before the third photo", rest=_slips(moved=("droop", 2)))


def _at_the_car():
    for a, b in (("bar_bush", "bar_eye"), ("bar_eye", "link_foot"), ("link_foot", "arm_ball_joint"),
                 ("plumb_top", "plumb_bottom"), ("sill_front", "sill_rear")):
        yield _exchanged(a, b)
    yield Case("printed at 97 %, no print check", rest=(("size", 0.97), ("left_out", ("print",))))
    yield Case("printed at 99 %, no print check", rest=(("size", 0.99), ("left_out", ("print",))))
    yield Case("printed at 97 %, check left at 200/150", rest=(("size", 0.97), ("said_size", 1.0)))
    yield Case("photos of the other side", rest=_slips(mirror=True))


def _level():
    for deg in (0.3, 1.0, 3.0):
        yield Case(f"plumb strip swings {deg:g} deg", rest=_slips(swing=(STATE, deg)))
        yield Case(f"plumb strip swings {deg:g} deg, two photos", 2, rest=_slips(swing=(STATE, deg)))
    for deg in (0.3, 1.0):
        yield Case(f"plumb strip leans {deg:g} deg, the same in all", rest=_slips(leans=(STATE, deg)))
    for deg in (0.5, 1.0, 4.0):
        yield Case(f"plumb strip swings {deg:g} deg in the ride photos", rest=_slips(swing=("ride", deg)))


def _unharmed():
    yield Case("nothing")
    yield Case("nothing, one photo", 1)
    yield Case("nothing, two photos", 2)
    yield Case("nothing, no lens profile", rest=(("left_out", ("lens",)),))
    yield Case("nothing, one photo, no lens profile", 1, rest=(("left_out", ("lens",)),))


UNHARMED = tuple(_unharmed())
HARMED = (*_edited(), *_together(), *_at_the_car(), *_level())
CASES = (*UNHARMED, *HARMED)
