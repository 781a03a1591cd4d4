"""Every photo: where the phone stood, how it was held, when and with what settings."""
from dataclasses import dataclass, field

import numpy as np

from ..mechanics.rigid import shortest_turn, vec
from .lens import FOCAL_PX, HEIGHT_PX, WIDTH_PX, Camera, camera_at
from .phone import Taking


@dataclass(frozen=True)
class Shot:
    """One photo.  aim: a point of the car (left side, chassis frame at ride, mm); azimuth from straight
    outboard, forward positive; elevation up; distance in mm from the aim point."""
    path: str
    state: str
    aim: tuple
    azimuth_deg: float
    elevation_deg: float
    distance_mm: float
    roll_deg: float = 0.0
    portrait: bool = False
    when: str = "2031:05:03 10:00:00"
    without_card: bool = False
    rags: bool = False
    frame_at: tuple = None        # where in the picture the aim point lies, as shares of width and height
    taking: dict = field(default_factory=dict)

    @property
    def seed(self):
        return sum((k + 1) * ord(c) for k, c in enumerate(self.path))

    def settings(self):
        """The Taking of this photo."""
        rng = np.random.default_rng([self.seed, 5])
        iso = int(rng.choice([200, 250, 320, 400, 500]))
        base = dict(blur_px=rng.uniform(0.62, 0.88),
                    motion_px=rng.uniform(0.2, 1.1),
                    motion_deg=rng.uniform(0, 180),
                    iso=iso,
                    exposure_s=1 / int(rng.choice([33, 40, 50, 60])),
                    brightness=rng.uniform(-0.15, 0.2),
                    warmth=rng.uniform(-0.6, 0.6),
                    seed=self.seed)
        return Taking(**{**base, **self.taking})

    def camera(self, state):
        """This photo's camera; state None is the card on the bench (aim in the bench's frame, mm)."""
        a, e = np.radians([self.azimuth_deg, self.elevation_deg])
        rng = np.random.default_rng([self.seed, 6])
        if state is None:
            target = vec(*self.aim)
            off = vec(np.sin(a) * np.sin(e), -np.cos(a) * np.sin(e), np.cos(e))      # e: tilt from above
        else:
            side = state.corner.side
            target = state.world(vec(self.aim[0], self.aim[1] * side, self.aim[2]))
            off = vec(np.sin(a) * np.cos(e), np.cos(a) * np.cos(e) * side, np.sin(e))
        camera = camera_at(target + self.distance_mm * off, target, self.roll_deg, self.portrait, rng)
        if self.frame_at is None:
            return camera
        ray = vec((self.frame_at[0] - 0.5) * WIDTH_PX / FOCAL_PX,
                  (self.frame_at[1] - 0.5) * HEIGHT_PX / FOCAL_PX, 1)
        R = shortest_turn((0, 0, 1), ray) @ camera.R
        return Camera(camera.K, R, -R @ camera.place, camera.distortion)


def _lens():
    rows = [  # place in the picture, azimuth, tilt, distance, roll, portrait
        (0.50, 0.50, 20, 4, 365, 2, False), (0.23, 0.22, 5, 33, 430, -4, False),
        (0.78, 0.26, 95, 36, 470, 3, False), (0.76, 0.78, 182, 40, 440, 8, False),
        (0.24, 0.76, -85, 35, 450, -5, False), (0.80, 0.50, 40, 30, 400, 33, False),
        (0.50, 0.21, -35, 28, 420, -20, True), (0.20, 0.50, 140, 47, 500, 4, False),
        (0.52, 0.80, -140, 28, 540, -6, True), (0.46, 0.52, -20, 50, 790, -15, True)
    ]
    return [Shot(f"lens/IMG_{3101 + k}.jpg", "bench", (0, 0, 0), az, tilt, d, roll, p,
                 f"2031:05:03 09:{12 + k // 2:02d}:{(7 + 23 * k) % 60:02d}", frame_at=(u, v))
            for k, (u, v, az, tilt, d, roll, p) in enumerate(rows)]


# aim, azimuth, elevation, distance, roll, portrait
WIDE = (-440, 740, 320)
ROWS = {
    "front-left/droop": [((30, 700, 270), 5, 12, 1080, 1.5, False), ((80, 690, 275), 24, 4, 960, -2.0, False),
                         ((20, 700, 300), 40, 13, 1120, 2.2, True), (WIDE, -3, 10, 1310, -1.2, False),
                         (WIDE, 22, 16, 1320, 0.8, False)],
    "front-left/set": [((40, 700, 285), 3, 8, 1060, -1.4, False), ((70, 690, 285), 28, 14, 1040, 2.0, True),
                       (WIDE, -3, 17, 1320, 1.0, False), (WIDE, 22, 10, 1330, -0.9, False)],
    "front-left/fitted": [((40, 700, 285), 2, 14, 1040, 1.8, False),
                          ((60, 690, 290), 32, 7, 1080, -1.5, True), (WIDE, -4, 7, 1320, -1.3, False),
                          (WIDE, 21, 15, 1320, 1.3, False)],
    "front-left/ride": [((-420, 760, 330), 8, 13, 1420, 1.0, False),
                        ((-400, 760, 330), -16, 20, 1480, -1.6, False)],
    "front-right/set": [((40, 700, 285), 12, 12, 1060, -1.6, False), (WIDE, -2, 8, 1320, 1.2, False),
                        (WIDE, 23, 15, 1330, 1.1, False)],
}
FIRST = {
    "front-left/droop": (3121, "10:2"), "front-left/set": (3141, "11:0"), "front-left/fitted": (3181, "14:3"),
    "front-left/ride": (3113, "09:4"), "front-right/set": (3152, "11:2")
}


def all_shots():
    """The whole demo set."""
    out = _lens()
    bright = {
        f"front-left/{k}.jpg": {"brightness": stops}
        for k, stops in (  # set for the card's white
            ("ride/IMG_3114", -0.5), ("set/IMG_3143", -0.45), ("droop/IMG_3124", -0.4), ("fitted/IMG_3183",
                                                                                         -0.4))
    }
    for state, rows in ROWS.items():
        number, time = FIRST[state]
        for k, (aim, az, el, d, roll, portrait) in enumerate(rows):
            path = f"{state}/IMG_{number + k}.jpg"
            out.append(Shot(path, state, aim, az, el, d, roll, portrait,
                            f"2031:05:03 {time}{k}:{(11 + 17 * k) % 60:02d}", taking=bright.get(path, {})))
    out.append(Shot("single/IMG_3160.jpg", "front-left/single", (215, 590, 275), 46, 17, 720, 1.0, False,
                    "2031:05:03 11:41:20"))
    droop = "front-left/droop"
    out.append(
        Shot("trouble/IMG_3127_blurred.jpg",
             droop, (30, 700, 275),
             14,
             10,
             1080,
             -1.0,
             False,
             "2031:05:03 10:27:31",
             taking={"motion_px": 24.0, "motion_deg": 24.0, "exposure_s": 1 / 8}))
    out.append(Shot("trouble/IMG_3128_hidden.jpg", droop, (20, 700, 275), 10, 14, 1130, 1.4, False,
                    "2031:05:03 10:28:02", rags=True))
    out.append(Shot("trouble/IMG_3129_no_card.jpg", droop, (60, 690, 300), 18, 10, 1020, -0.6, False,
                    "2031:05:03 10:28:40", without_card=True))
    return out
