"""The sections of car.toml that belong to one corner: markers, tape, wishes, link, travel."""

from __future__ import annotations

import math
import statistics

from calib.lengths import LengthError, parse_length
from photoangle.carfile.lengths import Reading
from photoangle.carfile.notes import ATTITUDE_NAMES, EXTRA_POINTS, HEIGHTS, ROLE_KEYS, TAPE_NAMES, Corner

_HOSE_BODIES = ("chassis", "between", "knuckle")
_SECTIONS = ("link_foot_on", "stuck_within", "standoff", "offset", "tape", "wanted", "link", "radius", "stands_for",
             "from_bush", "travel", "hose", "joint_limit", "hub_rise_within_percent", "bar_arm_points", "use_tape")
_LINK = ("thread_pitch", "threaded_ends", "opposite_hands", "shortest", "longest", "thread", "thread_in", "thread_out",
         "jam_nut", "least_engagement", "eye_holes")


def read_corner(checks, corner, path):
    """A Corner from its table.  checks: Checks; path: the corner's name.  Raises CarFileError."""
    if not isinstance(corner, dict):
        checks.fail("", f"{path!r} should be a section", f"write it as [{path}]")
    checks.known(corner, _SECTIONS, path)

    def section(name, read):
        return read(checks, checks.table(corner, name, path), f"{path}.{name}")

    standoff, standoff_u = section("standoff", _standoffs)
    tape, attitude = section("tape", _tape)
    within = checks.number(corner, "hub_rise_within_percent", path, None, 0, 50)
    return Corner(
        link_foot_on=checks.choice(corner, "link_foot_on", path, ("control arm", "strut", "knuckle"), "control arm"),
        stuck_within_mm=checks.length(corner, "stuck_within", path, 1.0, least=0, most=20),
        standoff_mm=standoff, standoff_u_mm=standoff_u, offset_mm=section("offset", _offsets), tape=tape,
        wanted=section("wanted", _wanted), link=section("link", _link), radius_mm=section("radius", _radii),
        attitude=attitude, stands_for=section("stands_for", _stands_for), from_bush=section("from_bush", _from_bush),
        travel=section("travel", _travel), hose=section("hose", _hose), joint_limit_deg=section("joint_limit", _limits),
        hub_differs_within=None if within is None else within / 100,
        bar_arm_points=checks.choice(corner, "bar_arm_points", path, ("rear", "front"), "rear"),
        use_tape=checks.yes_or_no(corner, "use_tape", path, False))


def _signed(checks, value, path, key, least, most):
    """A Reading that may be negative.  Returns Reading."""
    sign = -1 if isinstance(value, str) and value.strip().startswith("-") else 1
    body = value.strip()[1:] if sign < 0 else value
    if isinstance(body, (int, float)) and not isinstance(body, bool):
        sign, body = (-1 if body < 0 else 1), abs(body)
    reading = checks.reading(body, path, key, least, most)
    return Reading(sign * reading.value_mm, reading.u_mm, str(value))


def _standoffs(checks, table, path):
    checks.known(table, ROLE_KEYS, path)
    values, sigmas = {}, {}
    for key, value in table.items():
        # a negative stand-off is a joint in front of the marker: rare, but possible
        each = [_signed(checks, v, path, key, 0, 400) for v in checks.some(value, path, key)]
        values[key] = statistics.fmean(r.value_mm for r in each)
        # a rule is set against both ends, the print's face and the joint's middle, and anew each time it is read
        own = [r.u_mm if any(s in r.text for s in ("+-", "±", "+/-")) else max(checks.division / 2, 0.5) * math.sqrt(2 / 3)
               for r in each]
        spread = statistics.stdev(r.value_mm for r in each) if len(each) > 1 else 0.0
        sigmas[key] = math.hypot(max(own), spread) / math.sqrt(len(each))
    return values, sigmas


def _three(checks, value, path, key, how):
    if not (isinstance(value, list) and len(value) == 3):
        checks.fail(path, f"{key} should be three lengths", f"write {key} = {how}")


def _offsets(checks, table, path):
    checks.known(table, ROLE_KEYS, path)
    out = {}
    for key, value in table.items():
        _three(checks, value, path, key, "[right, down, into] as on the marker, such as [\"0 mm\", \"45 mm\", \"16 mm\"]")
        try:
            out[key] = tuple(-parse_length(v.strip()[1:], checks.units) if isinstance(v, str) and
                             v.strip().startswith("-") else parse_length(v, checks.units) for v in value)
        except LengthError as error:
            checks.fail(path, f"{key}: {error}", "numbers without a unit are in " + checks.units)
        if max(abs(v) for v in out[key]) > 500:
            checks.fail(path, f"{key} is more than 500 mm away", "check the numbers and units")
    return out


def _from_bush(checks, table, path):
    known = EXTRA_POINTS + ROLE_KEYS
    checks.known(table, known, path)
    out = {}
    for key, value in table.items():
        _three(checks, value, path, key, "[forward, left, up] of the bar's bush, such as [\"-80 mm\", \"120 mm\", \"310 mm\"]")
        out[key] = tuple(_signed(checks, v, path, key, 0, 2000) for v in value)
    return out


def _stands_for(checks, table, path):
    checks.known(table, ROLE_KEYS, path)
    for key, value in table.items():
        checks.choice(table, key, path, EXTRA_POINTS, None)
    if len(set(table.values())) < len(table):
        checks.fail(path, "two markers stand for one point", "name each point once")
    return dict(table)


def _tape(checks, table, path):
    out, attitude = {}, {}
    for state, readings in table.items():
        if not isinstance(readings, dict):
            checks.fail(path, f"{state!r} should name a state", f"write readings under [{path}.droop], "
                        f"[{path}.set], [{path}.ride], ...")
        here = f"{path}.{state}"
        checks.known(readings, TAPE_NAMES + ATTITUDE_NAMES, here)
        out[state] = {key: checks.reading(value, here, key, 0.0 if key in HEIGHTS else 1.0, 3000)
                      for key, value in readings.items() if key not in ATTITUDE_NAMES}
        slopes = {key: checks.number(readings, key, here, None, -20, 20) for key in ATTITUDE_NAMES if key in readings}
        if slopes:
            attitude[state] = slopes
    return out, attitude


def _wanted(checks, table, path):
    checks.known(table, ("bar_arm_angle_deg", "within_deg", "datum", "square_to_link"), path)
    return {"bar_arm_angle_deg": checks.number(table, "bar_arm_angle_deg", path, 0.0, -80, 80),
            "within_deg": checks.number(table, "within_deg", path, 3.0, 0.01, 45),
            "datum": checks.choice(table, "datum", path, ("chassis", "gravity"), "chassis"),
            "square_to_link": checks.yes_or_no(table, "square_to_link", path, False)}


def _link(checks, table, path):
    checks.known(table, _LINK, path)
    out = {"thread_pitch": checks.length(table, "thread_pitch", path, None, 0.3, 5),
           "threaded_ends": int(checks.number(table, "threaded_ends", path, 2, 0, 2)),
           "opposite_hands": checks.yes_or_no(table, "opposite_hands", path, True)}
    for key, least, most in (("shortest", 10, 1500), ("longest", 10, 1500), ("thread", 3, 40), ("thread_in", 0, 200),
                             ("thread_out", 0, 400), ("jam_nut", 0, 40), ("least_engagement", 1, 100)):
        out[key] = checks.length(table, key, path, None, least, most)
    if out["shortest"] and out["longest"] and out["shortest"] >= out["longest"]:
        checks.fail(path, "shortest is not less than longest", "exchange the two, or correct one")
    holes = table.get("eye_holes", [])
    if not isinstance(holes, list) or len(holes) > 8:
        checks.fail(path, "eye_holes should be a list of lengths", "how much nearer to the bush each other hole is,"
                    " as eye_holes = [\"20 mm\", \"40 mm\"]")
    # a hole farther from the bush than the present one is a negative length
    out["eye_holes"] = tuple(_signed(checks, h, path, "eye_holes", 1, 300).value_mm for h in holes)
    return out


def _radii(checks, table, path):
    checks.known(table, ("hose", "bar_eye", "link"), path)
    return {key: checks.length(table, key, path, None, 0, 100) for key in table}


def _travel(checks, table, path):
    checks.known(table, ("droop", "bump", "steps", "damper_free", "damper_ratio"), path)
    out = {key: checks.length(table, key, path, None, 1, 400) for key in ("droop", "bump", "damper_free") if key in table}
    if "bump" in out and "damper_free" in out:
        checks.fail(path, "bump and damper_free both say where the bump stop is", "give one of them")
    return out | {"steps": int(checks.number(table, "steps", path, 61, 3, 501)),
                  "damper_ratio": checks.number(table, "damper_ratio", path, None, 0.2, 1.5)}


def _hose(checks, table, path):
    checks.known(table, ("hose_a_on", "hose_b_on", "hose_c_on", "wanted_gap"), path)
    out = {key[:6]: checks.choice(table, key, path, _HOSE_BODIES, None) for key in table if key.endswith("_on")}
    return out | {"wanted_gap": checks.length(table, "wanted_gap", path, 0.0, 0, 200)}


def _limits(checks, table, path):
    checks.known(table, ("eye_deg", "foot_deg"), path)
    return {key[:-4]: checks.number(table, key, path, None, 1, 90) for key in table}
