"""Where a state's errors come from, root by root, so that what two states share can be subtracted.

A root is an independent error with a key: the pixels of one state, the lens's prior, the print's scale, the
sticking of one marker, the floor's slope.  Everything measured is, to first order, a linear form of roots; two states that
hold the same key made the same error, and in a difference it counts with the difference of its effects.

The effect of a prior on a least-squares answer: with C the covariance for unit noise and P the prior's information, an error
d of the prior's mean moves the answer by C P d; what is left is the pixels' own.  Left out: what is left out of the solver.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from calib.calibrate import MOVING_SIGMA
from calib.poses import hat
from photoangle.figures.measurands import BAR_AXIS_DEG
from photoangle.geometry.attitude import LEVEL_U_DEG, STANCE_DEG
from photoangle.geometry.bar_axis import SWAY_DEG
from photoangle.geometry.place_dots import EDGE
from photoangle.reconstruction.scene import scene_sources


@dataclass(frozen=True)
class Shared:
    """What the keys of a state's roots are made of.

    state: a name no other state has; corner: a name for its corner of its car; car: for the car and its chassis;
    prints: for the sheet of paper; places: marker id -> name of the marker's place on its part.
    """

    state: str
    corner: str
    car: str
    prints: str
    places: dict = field(default_factory=dict)

    def place(self, marker):
        return self.places.get(marker, f"{self.state} {marker}")


@dataclass
class Roots:
    """Roots by key: title (for the budget), covariance (k, k), and dof where it came from pixels."""

    title: dict = field(default_factory=dict)
    covariance: dict = field(default_factory=dict)
    dof: dict = field(default_factory=dict)

    def put(self, key, title, covariance, dof=None):
        """Note a root; returns its key."""
        self.title.setdefault(key, title)
        self.covariance.setdefault(key, np.atleast_2d(covariance))
        if dof is not None:
            self.dof[key] = dof
        return key

    def variances(self, gradient):
        """key -> variance of a form given by its gradient: key -> (k,)."""
        return {key: max(0.0, float(g @ self.covariance[key] @ g)) for key, g in gradient.items()}


def _times(matrix, forms):
    return {key: matrix @ effect for key, effect in forms.items()}


def _plus(*many):
    out = {}
    for forms in many:
        for key, effect in forms.items():
            out[key] = out[key] + effect if key in out else effect
    return out


def scene_forms(scene, shared, camera, roots):
    """Linear forms (size, k) of a scene's unknowns by root.

    Parameters: scene; shared: Shared; camera: CameraIdentity of its photos; roots: Roots to note them in.
    """
    bundle, solution = scene.solution.bundle, scene.solution
    priors, n = bundle.priors, bundle.lens_size
    c = solution.inverse()
    size = bundle.size
    known = np.flatnonzero(priors.paper_sigma > 0)
    paper = roots.put(("paper", shared.prints, priors.paper_mean.tobytes()), "print",
                      np.diag(priors.paper_sigma[known] ** 2))
    pixels = roots.put(("pixels", shared.state), "pixels", scene_sources(scene)["pixels"],
                       solution.degrees_of_freedom())
    out = {pixels: np.eye(size), paper: c[:, n + known] / priors.paper_sigma[known] ** 2}
    by_lens = c[:, :n] @ priors.lens_information
    spread = np.linalg.inv(priors.lens_information)
    own = np.zeros((n, n))
    if bundle.per_camera == 9:
        at = bundle.camera_start + 9 * np.arange(bundle.cameras)[:, None] + 6 + np.arange(3)
        information = np.tile(1 / np.asarray(priors.shift_sigma) ** 2, bundle.cameras)
        key = roots.put(("focus", shared.state), "lens", np.diag(1 / information))
        out[key] = c[:, at.ravel()] * information
    elif scene.lens_source != "profile":
        # nothing says that this phone holds its lens still: each state may have focused anew
        width = camera.width_px / 4032
        sigma = MOVING_SIGMA * [priors.lens_mean[0], width, width]
        own[[0, 2, 3], [0, 2, 3]] = np.minimum(sigma**2, 0.5 * spread.diagonal()[[0, 2, 3]])
        key = roots.put(("focus", shared.state), "lens", own)
        out[key] = by_lens
    same = (priors.lens_mean.tobytes(), priors.lens_information.tobytes())
    who = repr(camera) if camera.known else shared.state
    key = roots.put(("lens", who, *same), "lens", spread - own)
    out[key] = by_lens
    return out


def _point_forms(result, scene, shared, roots):
    """Forms (3 n, k) of a state's points."""
    points = result.points
    n = 3 * len(points.names)
    if points.by_unknown is None:
        return {roots.put(("stickers", source, shared.state), source, c, result.scene.solution.degrees_of_freedom()
                          if source == "pixels" else None): np.eye(n) for source, c in points.sources.items()}
    out = _times(points.by_unknown, scene)
    if n:
        spread = (points.positions_mm - points.positions_mm.mean(0)).reshape(-1, 1)
        out[roots.put(("scale", shared.prints), "print", points.scale_u**2)] = spread
    for k, name in enumerate(points.names):
        in_plane, along = points.placing[name]
        marker = points.marker[name]
        if marker is None:
            # a tapped dot: nothing tells whether it was painted anew, so that its place is the state's own
            at = slice(3 * k, 3 * k + 3)
            effect = np.zeros((n, 3))
            effect[at] = np.eye(3)
            for kind in (EDGE, "sticking"):
                out[roots.put((kind, shared.state + name), kind, points.sources[kind][at, at])] = effect
            continue
        rotation = result.scene.markers[marker].rotation
        plumb = name.startswith("plumb_")
        # a marker on a string may turn about it between photos: its error is the state's own
        place = shared.state + name if plumb else shared.place(marker)
        for kind, sigma, way in (("sticking", in_plane, rotation[:, :2]), ("stand-off", along, rotation[:, 2:])):
            if sigma > 0:
                effect = np.zeros((n, way.shape[1]))
                effect[3 * k:3 * k + 3] = way
                key = (kind, place, result.notes.standoff_mm.get(name), result.notes.offset_mm.get(name))
                out[roots.put(key, "level" if plumb else kind, np.eye(way.shape[1]) * sigma**2)] = effect
    return out


def _up_forms(result, points, shared, roots):
    """Forms (3, k) of the small turn of up."""
    up, p = result.up, result.points
    if up.by == "card":
        return {roots.put(("level", shared.state), "level", up.sources["level"]): np.eye(3)}
    span = p["plumb_top"] - p["plumb_bottom"]
    pick = np.zeros((3, 3 * len(p.names)))
    for name, sign in (("plumb_top", 1), ("plumb_bottom", -1)):
        k = 3 * p.index(name)
        pick[:, k:k + 3] = sign * np.eye(3)
    turn = hat(up.vector) @ pick / np.linalg.norm(span)
    out = _times(turn, points)
    hangs = up.sources["plumb"] - turn @ p.sources["plumb"] @ turn.T
    if np.abs(hangs).max() > 0:
        out = _plus(out, {roots.put(("hang", shared.state), "level", hangs): np.eye(3)})
    return out


def _level_forms(axes, up, result, shared, roots, horizontal):
    """Forms (3, k) of the small turn of axes that hang on a state's own up.

    horizontal: what besides up keeps the axes from being the chassis's: "floor" (ride), "stands" (roll) or None.
    """
    x, y, z = axes.axes.T
    forward = axes.sources["forward"]
    marks = tuple(shared.place(result.points.marker[n]) if result.points.marker[n] is not None else shared.state + n for n in ("sill_front", "sill_rear", "arm_pivot_front",
                                                                 "arm_pivot_rear") if n in result.points)
    out = dict(up)
    out[roots.put(("forward", marks[:2]), "forward", z @ forward @ z)] = z[:, None]
    if horizontal == "floor":
        floor = axes.sources["floor"]
        out[roots.put(("floor", shared.car), "floor", x @ floor @ x * np.eye(2))] = np.stack([x, y], 1)
    elif horizontal == "stands":
        out[roots.put(("stands", shared.state), "roll on the stands", x @ forward @ x)] = x[:, None]
    return out


def _picked(scene, ids):
    """Matrix (6 m, size) that takes the poses of markers out of the unknowns."""
    out = np.zeros((6 * len(ids), scene.solution.bundle.size))
    for k, i in enumerate(ids):
        body = scene.order.index(i)
        if body:
            out[6 * k:6 * k + 6, scene.solution.bundle.body_slice_of(body)] = np.eye(6)
    return out


def state_forms(result, shared_of, rides, roots):
    """Forms (3 n + 9, k) of all that a state's figures are computed from, as `figures.figure_slopes` orders it.

    Parameters: result: StateResult; shared_of(StateResult) -> Shared; rides: corner -> StateResult of the ride state that the
    chassis axes of the corner's states come from; roots: Roots to note them in.
    """
    shared = shared_of(result)
    scene, points, up = _own_forms(result, shared, roots)
    n = 3 * len(result.points.names)
    turned = _axes_forms(result, shared_of, rides, roots)
    bar = _bar_forms(result, shared, roots)
    out = {}
    for start, stop, forms in ((0, n, points), (n, n + 3, up), (n + 3, n + 6, turned), (n + 6, n + 9, bar)):
        for key, effect in forms.items():
            whole = out.setdefault(key, np.zeros((n + 9, effect.shape[1])))
            whole[start:stop] += effect
    return out


def _own_forms(result, shared, roots):
    """Forms of a state's scene, points and up."""
    scene = scene_forms(result.scene, shared, result.sightings[0].camera, roots)
    points = _point_forms(result, scene, shared, roots)
    return scene, points, _up_forms(result, points, shared, roots) if result.up is not None else {}


def _axes_forms(result, shared_of, rides, roots):
    """Forms (3, k) of the small turn of a state's axes: its chassis axes, or the level ones where it has none."""
    shared = shared_of(result)
    scene, _, up = _own_forms(result, shared, roots)
    if result.axes is None:
        return {} if result.lateral is None else _level_forms(result.lateral, up, result, shared, roots, "stands")
    if result.stance is not None:
        donor = result.stance
        theirs = shared_of(donor)
        spin = result.lateral.axes @ donor.lateral.axes.T
        their_level = _level_forms(donor.lateral, _own_forms(donor, theirs, roots)[2], donor, theirs, roots, None)
        alike = roots.put(("stance", shared.state), "stance", np.eye(3) * math.radians(STANCE_DEG) ** 2)
        return _plus(_level_forms(result.lateral, up, result, shared, roots, None), _times(-spin, their_level),
                     _times(spin, _axes_forms(donor, shared_of, rides, roots)), {alike: np.eye(3)})
    if "level reading" in result.axes.sources:
        return _plus(_level_forms(result.lateral, up, result, shared, roots, "stands"), _level_reading(result, shared, roots))
    ride = rides[result.corner]
    if ride is result:
        return _level_forms(result.axes, up, result, shared, roots, "floor")
    tie, back = result.tie, result.tie.pose.rotation.T
    there = _own_forms(ride, shared_of(ride), roots)[0]
    rest = roots.put(("tie", shared.state, shared_of(ride).state), "tie to ride", tie.rest[:3, :3])
    return _plus(_times(back, _axes_forms(ride, shared_of, rides, roots)),
                 _times(-back @ tie.gain[0][:3] @ _picked(result.scene, tie.shared), scene),
                 _times(-back @ tie.gain[1][:3] @ _picked(ride.scene, tie.shared), there),
                 {rest: -back})


def _level_reading(result, shared, roots):
    """Forms of a pitch that a level read on the wheels: that reading and the floor are the same for all states, what the
    photos saw of the sill is the state's own."""
    axes = result.axes
    seen = axes.sources["level reading"] - math.radians(LEVEL_U_DEG) ** 2 * np.outer(axes.axes[:, 1], axes.axes[:, 1])
    parts = ((("level reading", shared.corner), "level", math.radians(LEVEL_U_DEG) ** 2 * np.diag([0, 1.0, 0])),
             (("floor under the level", shared.car), "floor", axes.axes.T @ axes.sources["floor"] @ axes.axes),
             (("slope seen", shared.state), "level", axes.axes.T @ seen @ axes.axes))
    return {roots.put(key, title, np.round(c, 18)): axes.axes for key, title, c in parts}


def _bar_forms(result, shared, roots):
    """Forms of the turn of the bar's own axis: as built, or as motion showed it."""
    if result.bar_axis is None:
        axes = result.axes or result.lateral
        if axes is None:
            return {}
        key = roots.put(("bar as built", shared.corner), "bar axis", np.eye(3) * math.radians(BAR_AXIS_DEG) ** 2)
        return {key: axes.axes}
    back = result.tie.pose.rotation.T if result.tie is not None else np.eye(3)
    sway = np.eye(3) * min(math.radians(SWAY_DEG) ** 2, np.linalg.eigvalsh(result.bar_axis[1])[0])
    # the axis is one estimate for all states; bushes may sway in each
    seen = roots.put(("bar axis", shared.corner), "bar axis", back.T @ (result.bar_axis[1] - sway) @ back)
    own = roots.put(("sway", shared.state), "bar axis", sway)
    return {seen: back, own: np.eye(3)}
