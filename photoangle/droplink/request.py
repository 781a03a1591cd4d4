"""What car.toml and the command line say of the wanted place, the link's adjuster and the travel."""

from __future__ import annotations

from calib.lengths import LengthError, parse_length
from photoangle.core.errors import CannotUse
from photoangle.core.findings import ATTENTION, NOTE, Finding
from photoangle.core.options import Asked, LinkRequest
from photoangle.core.states import DROOP, RIDE
from photoangle.linkage.adjuster import Adjuster
from photoangle.linkage.kinematics.lengths import Wanted
from photoangle.linkage.travel import Travel

# Where nothing is said: wheel travel from ride height to the bump stop, and droop (common practice, no
# source).
BUMP_MM, DROOP_MM = 50.0, 60.0
# A state whose hub to arch was taped with the wheel on its bump stop.
_BUMP = "bump"
# A bar's arm steeper than this, or a tolerance wider, is a slip of the finger; so is a link shorter than
# this.
_STEEPEST_DEG, _FINEST_DEG, _WIDEST_DEG, SHORTEST_LINK_MM = 80.0, 0.01, 45.0, 20.0


def wanted_of(notes, wishes):
    """Wanted: the command line before the file before the defaults."""
    file = notes.wanted
    return Wanted(file.bar_arm_angle_deg if wishes.angle_deg is None else wishes.angle_deg, wishes.within_deg
                  or file.within_deg, wishes.square or (file.square_to_link and wishes.angle_deg is None))


def adjuster_of(notes, where):
    """(Adjuster, findings)."""
    link = notes.link
    if not link.threaded_ends:
        return Adjuster(shortest_mm=link.shortest_mm, longest_mm=link.longest_mm), [
            Finding(NOTE, where, "the link has no adjuster: lengths are in millimetres", "")]
    least = {"engagement_diameters": link.least_engagement_mm /
             link.thread_mm} if link.least_engagement_mm and link.thread_mm else {}
    findings = []
    if link.thread_in_mm is not None and link.thread_mm is None:
        findings.append(
            Finding(ATTENTION, f"car.toml, {where}.link",
                    "thread_in says nothing without the thread's diameter",
                    "write thread = \"10 mm\" as well"))
    return Adjuster(link.thread_pitch_mm, link.threaded_ends, link.opposite_hands, link.shortest_mm,
                    link.longest_mm, link.thread_mm, link.thread_in_mm, link.thread_out_mm, link.jam_nut_mm
                    or 0.0, **least), findings


def travel_of(base, corners, notes):
    """The travel about ride height.

    base: linkage Corner; corners: state -> Corner, whose hub to arch says what was measured; notes: carfile
    Corner.
    Returns (Travel, findings).
    """
    arch, asked = _arch(corners, notes), notes.travel
    ride = arch.get(RIDE)
    seen = [ride - arch[s] for s in corners if s in arch] if ride is not None else []
    droop = asked.droop_mm or (max(0.0, arch[DROOP] - ride) if ride is not None and DROOP in arch else None)
    bump, findings = bump_known(corners, notes), []
    if asked.damper_free_mm is not None and asked.damper_ratio is None:
        findings.append(
            Finding(NOTE, f"car.toml, {base.name}.travel", "the damper is taken to move as far as the wheel",
                    "write damper_ratio, the damper's travel over the wheel's"))
    if not droop or bump is None:
        unknown = [w for w, v in ((DROOP, droop), ("the bump stop", bump)) if not v]
        findings.append(
            Finding(
                NOTE, base.name, f"how far the wheel goes to {' and '.join(unknown)} is not given:"
                f" {DROOP_MM:.0f} mm down and {BUMP_MM:.0f} mm up stand for what is missing",
                "write droop and bump (mm of wheel travel from ride height) under travel, or damper_free"))
    droop, bump = droop or DROOP_MM, BUMP_MM if bump is None else bump
    measured = (min(seen + [0.0]), max(seen + [0.0])) if seen else None
    return Travel(-droop, bump, asked.steps, measured), findings


def _arch(corners, notes):
    """State -> hub to arch, mm: by tape, and as the corners have it."""
    arch = {s: r["hub_to_arch"].value_mm for s, r in notes.tape.items() if "hub_to_arch" in r}
    return arch | {state: t.value_mm for c in corners.values() for state, t in c.hub_to_arch_mm.items()}


def bump_known(corners, notes):
    """Wheel travel from ride height to the bump stop as it was given, mm; None where nothing gives it.

    corners, notes: as in `travel_of`.
    """
    arch, asked = _arch(corners, notes), notes.travel
    if asked.bump_mm is not None:
        return asked.bump_mm
    if RIDE in arch and _BUMP in arch and arch[_BUMP] < arch[RIDE]:
        return arch[RIDE] - arch[_BUMP]
    return None if asked.damper_free_mm is None else asked.damper_free_mm / (asked.damper_ratio or 1.0)


def request_from(asked: Asked, units: str = "mm") -> LinkRequest:
    """LinkRequest from what was asked; numbers without a unit are in ``units``.  Raises InputError."""
    if asked.length is not None and asked.change is not None:
        raise CannotUse("--length", "--length and --change both say what the link is to be",
                        "give one of them")

    if asked.square and asked.angle is not None:
        raise CannotUse("--square", "--square and --angle both say where the bar is to be",
                        "give one of them")
    if asked.angle is not None and not abs(asked.angle) <= _STEEPEST_DEG:
        raise CannotUse("--angle", f"{asked.angle:g} deg is no angle for a bar's arm",
                        f"give {-_STEEPEST_DEG:g} to {_STEEPEST_DEG:g}")
    if asked.within is not None and not _FINEST_DEG <= asked.within <= _WIDEST_DEG:
        raise CannotUse("--within", f"{asked.within:g} deg is no tolerance for a bar's arm",
                        f"give {_FINEST_DEG:g} to {_WIDEST_DEG:g}; 3 is usual")

    def mm(text, option):
        if text is None:
            return None
        try:
            value = parse_length(text.strip().removeprefix("+"), units, signed=True)
        except LengthError as error:
            raise CannotUse(option, error.what, "write it like \"-7 mm\" or 3/8in") from error
        if abs(value) > 2000:
            raise CannotUse(option, f"{text} is far too much", "check the number and its unit")
        return value

    length = mm(asked.length, "--length")
    if length is not None and not length >= SHORTEST_LINK_MM:
        raise CannotUse("--length", f"{asked.length} is no length of a link",
                        "from centre to centre, such as 120 mm")
    return LinkRequest(asked.state,
                  mm(asked.lowered, "--lowered") or 0.0, length,
                  mm(asked.change, "--change"),
                  mm(asked.hole, "--hole") or 0.0, asked.angle, asked.within, asked.square)
