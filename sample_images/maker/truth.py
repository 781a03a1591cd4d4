"""The exact truth of states and photos as plain data for truth.json."""
import numpy as np

from .mechanics.car import (
    CORNERS,
    HUB_TO_ARCH_DROOP_MM,
    HUB_TO_ARCH_RIDE_MM,
    NEW_LINK_LENGTH_MM,
    hub_to_arch_mm,
    pose_at_hub_to_arch,
)
from .mechanics.states import CARD_BOW_MM, DOT_DIAMETER_MM, PLUMB_APART_MM
from .picture import prints
from .picture.lens import HEIGHT_PX, WIDTH_PX
from .picture.phone import FOCAL_35_MM, FOCAL_MM, LENS_MODEL, MAKE, MODEL

CONVENTIONS = (
    "mm and deg. Pixels: OpenCV, an integer coordinate is a pixel's centre, in STORED pixels (EXIF"
    " Orientation not "
    "applied). X_cam = R X_world + t, camera x right, y down, z forward; Brown distortion k1 k2 p1 p2 k3 in"
    " OpenCV's "
    "order. World: z up against gravity; each state has its own world frame (origin on the floor under the"
    " middle of "
    "the front axle). chassis_axes_world: x forward, y left, z up. Tag frame: origin centre, x right, y"
    " down, z into "
    "the sheet; corners TL TR BR BL. joints are the true joint centres; joints_marker_defined is the tag's"
    " centre (for "
    "plates, ids 301 and 302: the cross at (0, 45)) + standoff_true_mm along the tag's z, which misses the"
    " joint by the "
    "sticking error (+-1 mm rectangular in the print's x and y, +-0.5 for plates; hose wraps +-0.5 across"
    " the hose). "
    "Card frame: origin the board's top-left outer corner, x right, y down, z into the sheet; the card's"
    " paper is bowed: "
    "z = bow_mm * ((x - 126) / 126)^2. The plumb strip turns about the vertical: its R is per photo. "
    "figures: against gravity or chassis, or plain values; hub_to_arch along the datum's vertical."
)


def corners_world(marker):
    """The black square's corners TL TR BR BL (4, 3), world, mm."""
    h = marker.size_mm / 2
    local = np.array([(-h, -h, 0), (h, -h, 0), (h, h, 0), (-h, h, 0)])
    return marker.centre + local @ marker.R.T


def card_saddles_world(card):
    """The card's 40 inner corners on the bowed paper (40, 3), mm."""
    p = prints.card_saddles().copy()
    p[:, 2] = CARD_BOW_MM * ((p[:, 0] - 126) / 126) ** 2
    return card(p)


def _r(a, digits=6):
    return np.round(np.asarray(a, float), digits).tolist()


def state_truth(state):
    """One state's truth."""
    out = {
        "gravity_down": [0.0, 0.0, -1.0],
        "chassis_axes_world": {"x_forward": _r(state.world.R[:, 0], 9), "y_left": _r(state.world.R[:, 1], 9),
                               "z_up": _r(state.world.R[:, 2], 9)},
        "chassis_origin_world": _r(state.world.t),
        "link_length_mm": round(state.pose.link_length_mm, 6),
        "bar_axis_world": _r(state.bar_axis, 9),
        "joints": {k: _r(v) for k, v in state.joints.items()},
        "joints_marker_defined": {k: _r(v) for k, v in state.marker_joints.items()},
        "figures": state.figures(state.joints),
        "figures_marker_defined": state.figures(state.marker_joints),
        "tags": [{"id": m.id, "role": m.role, "body": m.body, "size_mm": m.size_mm, "centre": _r(m.centre),
                  "R_tag_to_world": _r(m.R, 9), "corners_world": _r(corners_world(m)),
                  "standoff_true_mm": round(m.standoff_mm, 4), "joint_name": m.joint or None,
                  "plate": bool(m.cross)} for m in state.markers],
    }
    if state.card is not None:
        out["card"] = {
            "origin": _r(state.card.t), "R_card_to_world": _r(state.card.R, 9), "bow_mm": CARD_BOW_MM
        }
    if state.plumb_top is not None:
        out["plumb"] = {
            "top_110": _r(state.plumb_top), "bottom_111": _r(state.plumb_top - (0, 0, PLUMB_APART_MM)),
            "apart_mm": PLUMB_APART_MM, "size_mm": 30.0
        }
    if state.dots:
        back = lambda p: (p - state.card.t) @ state.card.R
        out["dots"] = {k: {"centre": _r(p), "in_card_mm": _r(back(p)), "diameter_mm": DOT_DIAMETER_MM}
                       for k, p in state.dots.items()}
        out["markers_note"] = "no tags: plain round stickers, all in the card's plane z = 0"
    return out


def linkage_truth(name):
    """Joint places in the chassis frame at ride height and what moves about what."""
    corner = CORNERS[name]
    length = corner.link_length_mm
    heights = np.arange(285.0, 392.0, 6.625)
    from .mechanics.figures import figures
    travel = []
    for h in heights:
        row = {"hub_to_arch_mm": round(float(h), 4)}
        for label, link in (("", length), ("_new_link", NEW_LINK_LENGTH_MM)):
            if link == NEW_LINK_LENGTH_MM and corner.side < 0:
                continue
            pose = pose_at_hub_to_arch(corner, h, link)
            f = figures(pose.joints, np.array([0, 0, 1.0]), corner.rest["bar_axis"])
            row["bar_arm_angle_deg" + label] = f["bar_arm_angle"]["chassis"]
            row["control_arm_angle_deg"] = f["control_arm_angle"]["chassis"]
            row["bar_eye" + label] = _r(pose.joints["bar_eye"])
            row["arm_ball_joint"] = _r(pose.joints["arm_ball_joint"])
            row["hub"] = _r(pose.joints["hub"])
        travel.append(row)
    ride = pose_at_hub_to_arch(corner, HUB_TO_ARCH_RIDE_MM)
    points = {k: _r(v) for k, v in ride.joints.items()}
    return {
        "frame": "chassis at ride: x forward, y left, z up, origin on the floor under the front axle's middle",
        "joints_at_ride": points,
        "bar_axis": {"point": _r(corner.rest["bar_bush"]), "direction": _r(corner.rest["bar_axis"], 9)},
        "link_length_mm": length,
        "new_link_length_mm": NEW_LINK_LENGTH_MM if corner.side > 0 else None,
        "hub_to_arch_mm": {
            "droop": HUB_TO_ARCH_DROOP_MM,
            "set": HUB_TO_ARCH_RIDE_MM,
            "ride": hub_to_arch_mm(ride),
        },
        "travel": travel,
    }


def seen_part(scene, camera, marker, index):
    """Share (0..1) of a marker's square, white rim included, that the photo shows."""
    h = marker.size_mm / 2 * 1.12
    g = np.linspace(-h, h, 15)
    u, v = np.meshgrid(g, g)
    p = marker.centre + np.column_stack([u.ravel(), v.ravel(), 0 * u.ravel()]) @ marker.R.T
    px = camera.project(p)
    inside = np.isfinite(px).all(1) & (px > -0.5).all(1) & (px[:, 0] < WIDTH_PX - 0.5) & (px[:, 1]
                                                                                          < HEIGHT_PX - 0.5)
    hit = np.zeros(len(p), bool)
    facing = (p - camera.place) @ marker.R[:, 2] > 0
    ok = inside & facing
    if ok.any():
        hit[ok] = scene.print_at(camera, px[ok]) == index
    return float(hit.mean())


def photo_truth(shot, state, scene, camera, markers, taking):
    """One photo's truth: camera, EXIF, and where each marker and the card are in it."""
    tags = []
    for k, m in enumerate(markers):
        c = camera.project(corners_world(m))
        ray = m.centre - camera.place
        tilt = np.degrees(np.arccos(np.clip(ray @ m.R[:, 2] / np.linalg.norm(ray), -1, 1)))
        if not np.isfinite(c).all() or tilt > 88:
            continue
        in_frame = bool((c >= 0).all() and (c[:, 0] <= WIDTH_PX - 1).all()
                        and (c[:, 1] <= HEIGHT_PX - 1).all())
        if not ((c[:, 0] > 0) & (c[:, 0] < WIDTH_PX) & (c[:, 1] > 0) & (c[:, 1] < HEIGHT_PX)).any():
            continue
        side = np.linalg.norm(np.roll(c, -1, 0) - c, axis=1)
        row = {
            "id": m.id, "visible_frac": round(seen_part(scene, camera, m, k), 3), "in_frame": in_frame,
            "obliquity_deg": round(float(tilt), 2), "side_px": round(float(side.mean()),
                                                                     1), "corners_px": _r(c, 4)
        }
        if m.body == "plumb":
            row["R_tag_to_world"] = _r(m.R, 9)
        tags.append(row)
    out = {
        "state": shot.state, "width": WIDTH_PX, "height": HEIGHT_PX, "K": _r(camera.K, 5),
        "dist_k1k2p1p2k3": list(camera.distortion), "R_world_to_cam": _r(camera.R, 10),
        "t_world_to_cam": _r(camera.t), "exif": {
            "make": MAKE, "model": MODEL, "lens_model": LENS_MODEL, "focal_mm": FOCAL_MM, "f35": FOCAL_35_MM,
            "orientation": 6 if shot.portrait else 1, "datetime": shot.when, "iso": taking.iso,
            "exposure_s": round(taking.exposure_s, 6)
        }, "blur_px": round(taking.blur_px, 3), "motion_px": round(taking.motion_px, 3), "tags": tags
    }
    card = state.card if state is not None else None
    if state is None:
        from .picture.bench import CARD as card
    if card is not None and not shot.without_card:
        px = camera.project(card_saddles_world(card))
        inside = np.isfinite(px).all(1) & (px > 2).all(1) & (px[:, 0] < WIDTH_PX - 3) & (px[:, 1]
                                                                                         < HEIGHT_PX - 3)
        visible = np.zeros(40, bool)
        if inside.any():
            visible[inside] = scene.print_at(camera, px[inside]) == len(markers)
        centre = card((126, 84, 0)) - camera.place
        out["card"] = {
            "obliquity_deg": round(
                float(np.degrees(np.arccos(centre @ card.R[:, 2] / np.linalg.norm(centre)))), 2),
            "corner_px": _r(np.where(np.isfinite(px), px, -1e4), 4), "visible": visible.tolist()
        }
    if state is not None and state.dots:
        out["dots_px"] = {k: _r(camera.project(p), 4) for k, p in state.dots.items()}
    return out
