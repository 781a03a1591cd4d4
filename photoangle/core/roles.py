"""What each marker of this kit stands for on a car: the table of roles, printed and read by everybody."""

from __future__ import annotations

from calib.kit import SPARE, Role

# The rigid bodies that markers ride on; of a spare marker it is yet to be told.
BODIES = ("chassis", "bar", "link", "arm", "knuckle", "hose", "plumb", SPARE)

# The keys of the roles that the program itself speaks of: joints and marks of a corner, the plumb, the brake
# hose.
BAR_BUSH, BAR_EYE, LINK_FOOT = "bar_bush", "bar_eye", "link_foot"
ARM_PIVOT_FRONT, ARM_PIVOT_REAR, ARM_BALL_JOINT = "arm_pivot_front", "arm_pivot_rear", "arm_ball_joint"
HUB, ARCH_LIP, SILL_FRONT, SILL_REAR = "hub", "arch_lip", "sill_front", "sill_rear"
PLUMB_TOP, PLUMB_BOTTOM = "plumb_top", "plumb_bottom"
HOSE_A, HOSE_B, HOSE_C = "hose_a", "hose_b", "hose_c"
JOINTS = (BAR_BUSH, BAR_EYE, LINK_FOOT, ARM_PIVOT_FRONT, ARM_PIVOT_REAR, ARM_BALL_JOINT)
PIVOTS = (ARM_PIVOT_FRONT, ARM_PIVOT_REAR)
SILLS = (SILL_FRONT, SILL_REAR)
# The marker itself marks the place: nothing lies behind it.
ON_BODY = (ARCH_LIP, *SILLS)
PLUMB = (PLUMB_TOP, PLUMB_BOTTOM)
HOSES = (HOSE_A, HOSE_B, HOSE_C)

# key, title, where it goes, body; the line's number is the role's.
_TABLE = (
    ("bar_bush", "bar bush", "over the centre of the bush that the bar turns in", "chassis"),
    ("bar_eye", "bar eye", "over the joint at the end of the bar's arm", "bar"),
    # The foot sits on the control arm unless the user's own file says strut or knuckle.
    ("link_foot", "link foot", "over the drop link's other joint", "arm"),
    ("arm_pivot_front", "arm pivot, front", "over the control arm's front inner bush", "chassis"),
    ("arm_pivot_rear", "arm pivot, rear", "over the control arm's rear inner bush", "chassis"),
    ("arm_ball_joint", "arm ball joint", "over the control arm's outer ball joint", "arm"),
    ("hub", "hub", "over the wheel centre", "knuckle"),
    ("arch_lip", "arch lip", "on the arch lip, straight above the hub", "chassis"),
    ("sill_front", "sill front", "on the sill, 100 mm or more from the front jacking point", "chassis"),
    ("sill_rear", "sill rear", "on the sill, 100 mm or more from the rear jacking point", "chassis"),
    ("plumb_top", "plumb top", "on the plumb string, the upper one", "plumb"),
    ("plumb_bottom", "plumb bottom", "on the plumb string, straight below", "plumb"),
    ("hose_a", "hose A", "round the brake hose: soft wrap, never a stiff plate", "hose"),
    ("hose_b", "hose B", "round the brake hose: soft wrap, never a stiff plate", "hose"),
    ("hose_c", "hose C", "round the brake hose: soft wrap, never a stiff plate", "hose"),
    ("bar", "bar", "anywhere on the bar's arm, fixed firmly", "bar"),
    ("link", "link", "anywhere on the drop link", "link"),
    ("arm", "arm", "anywhere on the control arm", "arm"),
    ("knuckle", "knuckle", "anywhere on the knuckle or caliper", "knuckle"),
    ("chassis", "chassis", "anywhere on the chassis or subframe", "chassis"),
    *((f"spare_{n}", f"spare {n}", "anything else: write where it sits", SPARE) for n in range(10)),
)
ROLES: tuple[Role, ...] = tuple(Role(number, *row) for number, row in enumerate(_TABLE))
ROLE_BY_KEY: dict[str, Role] = {role.key: role for role in ROLES}
