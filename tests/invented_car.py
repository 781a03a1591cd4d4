"""An invented corner in several states as sightings, without drawing a picture: exact truth, noisy corners,
tape readings.

Fast enough for hundreds of whole measure runs: used to ask which slips are found and what is said without
any.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np

from calib.calibrate import calibrate
from calib.images.photo import CameraIdentity
from calib.kit import card_saddles_mm
from calib.lens import project
from calib.poses import Pose, rotation_from_vector
from calib.profile import CameraProfile
from photoangle.carfile.print_check import not_used, print_scale
from photoangle.carfile.reader import parse_carfile
from photoangle.core.findings import Refusal
from photoangle.core.origin import Origin
from photoangle.core.outcome import Report
from photoangle.detection.alignment.aligned_tag import AlignedTag
from photoangle.detection.detections import Detections
from photoangle.detection.saddles import CardDetection
from photoangle.figures.print_by_tape import contradicted_by_tape
from photoangle.geometry.datums import gravity
from photoangle.geometry.joints import joint_points
from photoangle.geometry.states import StateResult
from photoangle.linkage.corner import Corner
from photoangle.linkage.kinematics.mechanism import position
from photoangle.linkage.kinematics.turning import turned
from photoangle.pipeline import conclude
from photoangle.reconstruction.intrinsics_prior import lens_knowledge
from photoangle.reconstruction.solve import SceneOptions, solve_scene
from tests.coverage import _views
from tests.linkage.invented import invented_points
from tests.scenes import KIT, facing, look_at, scaled_lens, true_corners

WIDTH, HEIGHT, NOISE_PX = 3400, 2550, 0.03
ROLES = ("bar_bush", "bar_eye", "link_foot", "arm_pivot_front", "arm_pivot_rear", "arm_ball_joint", "hub",
         "arch_lip", "sill_front", "sill_rear", "plumb_top", "plumb_bottom")
IDS = {role: 100 + k for k, role in enumerate(ROLES)}
STANDOFF = {
    "bar_bush": 38.0, "bar_eye": 16.0, "link_foot": 16.0, "arm_pivot_front": 44.0, "arm_pivot_rear": 46.0,
    "arm_ball_joint": 25.0, "hub": 20.0, "arch_lip": 3.0, "sill_front": 2.0, "sill_rear": 2.0
}
RISE_MM, PITCH_DEG, ROLL_DEG = 55.0, 5.0, 0.5


@lru_cache(maxsize=1)
def phone():
    """(lens, identity, profiles) of the phone that all photos are taken with."""
    rng = np.random.default_rng(11)
    lens = scaled_lens(WIDTH)
    identity = CameraIdentity("Plover", "P9", "", None, 26.0, 1.0, WIDTH, HEIGHT)
    views = _views(rng, lens, WIDTH, False)
    found = calibrate(views, WIDTH, HEIGHT, lens[0])
    return lens, identity, [
        CameraProfile(identity, found.lens, found.covariance, found.shift_sigma, found.floor_px, len(views),
                      found.rms_px, found.variance_factor, 0.1, 0.1, "")
    ]


@dataclass(frozen=True)
class Slips:
    """What goes wrong, by what it touches; empty: nothing.

    swap: pairs of roles whose markers are exchanged; off: role -> mm that the stand-off is wrong by;
    stuck_again: (role, state); moved: (state, photo index) from which on the car has moved; steer_deg: state
    -> deg; missing: roles; mirror: photos are of the other side; set_off_mm: set height less ride height.
    """

    swap: tuple = ()
    off: dict = field(default_factory=dict)
    stuck_again: tuple = ()
    moved: tuple = ()
    steer_deg: dict = field(default_factory=dict)
    missing: tuple = ()
    mirror: bool = False
    set_off_mm: float = 0.0
    swing: tuple = ()
    leans: tuple = ()


class InventedCar:
    """A front-left corner at droop, set and ride; ``readings``: state -> name -> mm as a tape would say;
    tilt_deg: state -> (nose up, left side up) of the car against gravity; size: the print's over its nominal
    size; left_out: what the owner does not tell: roles whose stand-off was not measured, "print", "lens"; standoff:
    role -> mm; between(car, state, sightings) -> sightings: what was done to a state's photos before they are
    measured, or None; said_size: the size that the print check says, where it is wrong."""

    def __init__(self, seed, slips=Slips(), tilt_deg=None, size=1.0, left_out=(),
                 standoff=STANDOFF, between=None, said_size=None):
        self.between, self.said_size = between, size if said_size is None else said_size
        self.rng, self.slips = np.random.default_rng([seed, 67]), slips
        self.tilt_deg = {"ride": (0.0, 0.0), "droop": (PITCH_DEG, ROLL_DEG), "set": (PITCH_DEG, ROLL_DEG)} | (
            tilt_deg or {})
        self.size, self.left_out, self.standoff = size, frozenset(left_out), dict(standoff)
        names, points = invented_points(self.rng)
        size = 3 * len(names)
        layout = Corner("front-left", "droop", names, points, {"none": np.zeros((size, size))}).nominal()
        self.axes = layout
        self.places = {"droop": self._at(layout, 0.0), "set": self._at(layout, RISE_MM + slips.set_off_mm),
                       "ride": self._at(layout, RISE_MM)}
        self.hangs = np.random.default_rng([seed, 71])
        self.stuck = {r: self.rng.uniform(-1, 1, 2) for r in ROLES}
        self.lean = {
            r: rotation_from_vector(self.rng.normal(0, [0.12, 0.05, 0.12])) @ facing(
                [0, 1, 0], self.rng.uniform(-0.4, 0.4))
            for r in ROLES
        }
        self.readings = {s: self._read(p) for s, p in self.places.items()}

    def _at(self, layout, rise):
        place = position(layout, np.array([[rise]]))
        at = {k: v[0, 0] for k, v in layout.at.items() if k in ROLES}
        at |= {
            "bar_eye": place.eye[0, 0], "link_foot": place.foot[0, 0], "hub": place.hub[0, 0],
            "arm_ball_joint": turned(layout.at["arm_ball_joint"], layout.arm_origin, layout.arm_axis,
                                     place.arm_turn)[0, 0], "sill_front": np.array([-430.0, 700, -90]),
            "sill_rear": np.array([-1080.0, 700, -90])
        }
        return at

    def _read(self, at):
        pivot = (at["arm_pivot_front"] + at["arm_pivot_rear"]) / 2
        true = {
            "hub_to_arch": (at["arch_lip"] - at["hub"])[2],
            "bar_arm_length": np.linalg.norm(at["bar_eye"] - at["bar_bush"]),
            "link_length": np.linalg.norm(at["bar_eye"] - at["link_foot"]),
            "control_arm_length": np.linalg.norm(at["arm_ball_joint"] - pivot)
        }
        return {k: round(v + self.rng.uniform(-0.8, 0.8)) for k, v in true.items()}

    def _poses(self, state):
        """World (gravity) poses of the markers in a state: id -> Pose; and the turn of the car."""
        tilt = self.tilt_deg[state]
        car = rotation_from_vector([0, -np.radians(tilt[0]), 0]) @ rotation_from_vector(
            [np.radians(tilt[1]), 0, 0])
        at, out = self.places[state], {}
        exchange = dict(p for a, b in self.slips.swap for p in ((a, b), (b, a)))
        for role in ROLES[:10]:
            if (state == "ride" and role not in ("hub", "arch_lip", "sill_front",
                                                "sill_rear")) or role in self.slips.missing:
                continue
            turn = self.lean[role]
            if role == "hub" and state in self.slips.steer_deg:
                turn = rotation_from_vector([0, 0, np.radians(self.slips.steer_deg[state])]) @ turn
            stand = self.standoff[role] + self.slips.off.get(role, 0.0)
            stuck = self.stuck[role] + (np.array([9.0, 6.0]) if
                                        (role, state) in self.slips.stuck_again else 0)
            centre = at[role] - stand * turn[:, 2] + turn[:, :2] @ stuck
            # exchanged: the marker printed with the other's words sits here
            marker = IDS[exchange.get(role, role)]
            out[marker] = Pose(car @ turn, car @ centre)
        spin = facing([0, 1, 0])
        top = np.array([-250.0, 800, 350])
        for role, shift in (("plumb_top", 0.0), ("plumb_bottom", -200.0)):
            out[IDS[exchange.get(role, role)]] = Pose(spin, top + [0, 0, shift])
        if self.slips.mirror:
            flip = np.diag([-1.0, 1, 1])
            # seen in a mirror across the car: every place to the other side, prints kept readable
            out = {
                i: Pose(flip @ p.rotation @ np.diag([-1.0, 1, 1]), flip @ p.translation_mm)
                for i, p in out.items()
            }
        return out

    def _hung(self, state, poses, photos):
        """Poses of the two plumb markers in each photo, turned about the hook."""
        hook, turns = np.array([-250.0, 800, 410]), np.zeros((photos, 3))
        for slip, count in ((self.slips.swing, photos), (self.slips.leans, 1)):
            if slip and slip[0] == state:
                turns[:, :2] += self.hangs.normal(0, np.radians(slip[1]), (count, 2))
        out = []
        for turn in map(rotation_from_vector, turns):
            about = Pose(turn, hook - turn @ hook)
            out.append({IDS[r]: about @ poses[IDS[r]] for r in ("plumb_top", "plumb_bottom")})
        return out

    def sightings(self, state, photos=4):
        """Detections of a state."""
        lens, identity, _ = phone()
        poses = self._poses(state)
        if state == "ride":
            photos = 2
        card = Pose(facing([0.1, 1, 0.3]), np.array([-100.0, 860, -260]))
        middle = np.mean([p.translation_mm for p in poses.values()], axis=0)
        out, saddles, hung = [], card_saddles_mm(KIT.card), self._hung(state, poses, photos)
        for k, azimuth in enumerate(np.linspace(-0.5, 0.5, photos)):
            azimuth += self.rng.uniform(-0.05, 0.05)
            target = middle + [0, 100, -40]
            camera = look_at(
                target + 1250 *
                np.array([np.sin(azimuth), np.cos(azimuth),
                          self.rng.uniform(-0.1, 0.35)]), target)
            shift = Pose.identity()
            if self.slips.moved and self.slips.moved[0] == state and k >= self.slips.moved[1]:
                shift = Pose(rotation_from_vector([0, 0.004, 0.006]), np.array([6.0, 3.0, -4.0]))
            tags = {}
            for i, pose in poses.items():
                pose = hung[k][i] if i in hung[k] else shift @ pose
                corners = true_corners(pose, 30.0 * self.size, camera, lens)
                facing_it = camera.rotation @ pose.rotation[:, 2] @ camera.apply(pose.translation_mm[None])[0]
                if facing_it > 0 and _in(corners):
                    tags[i] = AlignedTag(corners + self.rng.normal(0, NOISE_PX, (4, 2)),
                                         np.eye(8) * NOISE_PX**2,
                                         np.eye(2) * 0.5, 2.0, 150.0, 0.99, 4, True)
            seen = project(camera.apply(card.apply(saddles * self.size)), lens)
            inside = _in(seen, each=True)
            cards = CardDetection(np.flatnonzero(inside), seen[inside] +
                                 self.rng.normal(0, NOISE_PX, (inside.sum(), 2)),
                                 np.tile(np.eye(2) * NOISE_PX**2,
                                         (int(inside.sum()), 1, 1))) if inside.sum() > 8 else None
            out.append(
                Detections(f"front-left/{state}/p{k}.jpg", WIDTH, HEIGHT, identity, None, tags, cards))
        return out

    def toml(self, readings=None):
        """car.toml as text."""
        lines = [] if "print" in self.left_out else [
            f'[print]\nx_line = "{200 * self.said_size:.1f} mm"\ny_line = "{150 * self.said_size:.1f} mm"']
        lines += ["[level]\nfloor_slope_along_deg = 0.0", "[front-left.standoff]"]
        lines += [f'{k} = "{v:g} mm"' for k, v in self.standoff.items() if k not in self.left_out]
        for state, row in (readings or self.readings).items():
            kept = row if state != "ride" else {"hub_to_arch": row["hub_to_arch"]}
            lines += [f"[front-left.tape.{state}]"] + [
                f'{k} = "{v}"' if isinstance(v, str) else f'{k} = "{v} mm"' for k, v in kept.items()
            ]
        return "\n".join(lines) + "\n"

    def measure(self, readings=None, states=("ride", "droop", "set"), attitude=None):
        """The Measurement of a whole run; attitude: state -> what a level read there, deg by key."""
        table = tomllib.loads(self.toml(readings))
        for state, row in (attitude or {}).items():
            table["front-left"]["tape"].setdefault(state, {}).update(row)
        car = parse_carfile(table)
        again = self.rng.bit_generator.state
        measurement = self._concluded(states, car)
        finding = contradicted_by_tape(measurement.report.comparisons, car.print_check)
        if finding is not None:
            self.rng.bit_generator.state = again
            measurement = self._concluded(states, replace(car, print_check=not_used(car.print_check)), finding)
        return measurement

    def _concluded(self, wanted, car, *told):
        report, states = Report(), []
        report.tell(*told)
        for state in wanted:
            result = self._solved(state, car, report)
            if result is not None:
                states.append(result)
        return conclude(states, KIT, car, report)

    def _solved(self, state, car, report):
        _, identity, profiles = phone()
        profiles = [] if "lens" in self.left_out else profiles
        sightings = self.sightings(state)
        if self.between is not None:
            sightings = self.between(self, state, sightings)
        knowledge, _ = lens_knowledge(identity, profiles, sightings, KIT, car.print_check, state)
        scene = solve_scene(
            sightings,
            KIT,
            knowledge,
            f"front-left/{state}",
            options=SceneOptions(origin=Origin(state, "invented front-left", "invented", ("invented", ""))))
        if isinstance(scene, Refusal):
            report.tell(scene.finding)
            return None
        report.tell(*scene.findings)
        notes = car.corner("front-left")
        scale, scale_u, _, _ = print_scale(car.print_check)
        points, _ = joint_points(scene, KIT, notes, car.level, scale, scale_u)
        up, findings = gravity(points, scene, car.level, f"front-left/{state}")
        report.tell(*findings)
        return StateResult("front-left", state, None, scene, points, up, sightings=sightings, notes=notes)


def _in(pixels, each=False):
    inside = ((pixels > 4) & (pixels < [WIDTH - 5, HEIGHT - 5])).all(-1)
    return inside if each else bool(inside.all())
