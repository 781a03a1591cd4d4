"""Drawn views of a corner and plots of its travel (matplotlib), as PNG or SVG.

The present link is drawn solid, the proposed one dashed; colours are of Okabe and Ito's palette (2008, made
for colour-blind readers) and never carry a meaning alone.
"""

from __future__ import annotations

import io
import math

import numpy as np

from calib.files import write_whole
from calib.running.cancellation import may_leave
from calib.sheets.palette import BLACK, BLUE, GREEN, GREY, VERMILION
from photoangle.core.findings import ATTENTION, Finding, Refusal
from photoangle.core.roles import (
    ARCH_LIP,
    ARM_BALL_JOINT,
    ARM_PIVOT_FRONT,
    ARM_PIVOT_REAR,
    BAR_BUSH,
    BAR_EYE,
    HOSES,
    HUB,
    LINK_FOOT,
    PIVOTS,
)
from photoangle.linkage.kinematics.hose import hose_places
from photoangle.linkage.kinematics.lengths import other_hole
from photoangle.linkage.kinematics.mechanism import assembled_link_mm, position
from photoangle.linkage.kinematics.turning import turned
from photoangle.linkage.travel import ride_rise
from photoangle.output.drawn.part_colours import BAR_ARM, CONTROL_ARM, LINK, NEAREST
from photoangle.output.wording import INCH, about, length_to_set, signed

_SIZE = 13


def new_figure(width, height, rows, columns):
    """(matplotlib Figure of width x height inches, its axes (rows, columns))."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width, height), layout="constrained", dpi=110)
    FigureCanvasAgg(figure)
    return figure, figure.subplots(rows, columns, squeeze=False)


def picture_bytes(figure, kind):
    """A Figure as the bytes of a "png" or "svg"; the same figure gives the same bytes."""
    import matplotlib

    out = io.BytesIO()
    # fixed ids and no date: the same input gives the same bytes
    with matplotlib.rc_context({"svg.hashsalt": "photoangle", "svg.fonttype": "none"}):
        figure.savefig(out, format=kind, metadata={"Date": None} if kind == "svg" else {"Software": None})
    return out.getvalue()


def write_drawings(answers, results, report, progress, units="mm"):
    """Views and travel of each answered corner into ``results``/corner; what cannot be written is told, not
    fatal."""
    try:
        for answer in progress([a for a in answers if a.base is not None], "drawings"):
            target = results / answer.corner
            target.mkdir(parents=True, exist_ok=True)
            for name, draw in (("link-views.png", draw_views), ("link-travel.png", draw_travel)):
                may_leave()
                picture = draw(answer, units=units)
                if picture is not None:
                    write_whole(target / name, picture)
                    report.pictures.append(target / name)
    except OSError as error:
        report.tell(Finding(ATTENTION, str(results), f"drawings cannot be written ({error.strerror})",
                            "make the folder writable, or use --no-pictures"))


def corner_at(answer, bump_mm, change_mm=0.0, hole_mm=0.0):
    """Points of the corner with every input at its estimate, at a wheel travel from ride height.

    Returns name -> (3,) mm, chassis frame, NaN where the link does not close; hose points where known.
    """
    layout = answer.base.nominal()
    rise = ride_rise(layout, answer.travel) + bump_mm
    link = assembled_link_mm(layout) + change_mm
    at_hole = other_hole(layout, hole_mm) if hole_mm else layout
    place = position(at_hole, rise, link)
    out = {n: at_hole.at[n] for n in (BAR_BUSH, ARM_PIVOT_FRONT, ARM_PIVOT_REAR, ARCH_LIP) if n in at_hole.at}
    out |= {
        BAR_EYE: place.eye, LINK_FOOT: place.foot, HUB: place.hub,
        ARM_BALL_JOINT: turned(at_hole.at[ARM_BALL_JOINT], at_hole.arm_origin, at_hole.arm_axis,
                               place.arm_turn)
    }
    out |= hose_places(at_hole, place, rise, at_hole.hose) if at_hole.hose is not None else {}
    return {k: np.asarray(v, float).reshape(-1, 3)[0] for k, v in out.items()}


def _heights(answer):
    steps = answer.travel.steps_mm
    return (("droop", steps[0]), ("ride height", 0.0), ("bump stop", steps[-1]))


def draw_views(answer, kind="png", units="mm"):
    """Side and front views at droop, ride height and bump, with the bar's angle and the least gap there.
    Returns bytes of a picture, or None without an
    answer."""
    if answer.base is None or isinstance(answer.present, Refusal):
        return None
    figure, axes = new_figure(13, 8.2, 2, 3)
    proposed = answer.proposed is not None and not isinstance(answer.proposed, Refusal)
    left = answer.corner.endswith("left")
    places = {
        name: [corner_at(answer, bump)] +
        ([corner_at(answer, bump, answer.change_mm, answer.hole_mm)] if proposed else [])
        for name, bump in _heights(answer)
    }
    for column, (name, bump) in enumerate(_heights(answer)):
        for row, (view, across) in enumerate((("from the side", 0), ("from the front", 1))):
            ax = axes[row, column]
            # as one stands there: the side view from outside the car, the front view looking back at it
            sign = (-1 if left else 1) if row == 0 else 1
            for points, style in zip(places[name], ("-", (0, (4, 2))), strict=False):
                _draw(ax, points, across, sign, style, first=style == "-")
            _gap(ax, places[name][-1], across, sign)
            if row == 0:
                ax.set_title((f"{name}, {signed(bump, units, 0)}" if bump else name)
                             + f"\n{_told(answer, bump, units)}", fontsize=_SIZE - 2, fontweight="bold")
            if column == 0:
                ax.set_ylabel(view, fontsize=_SIZE, fontweight="bold")
            ax.set_aspect("equal", adjustable="box")
            ax.grid(color="#dddddd", linewidth=0.6)
            ax.tick_params(labelsize=9, colors=GREY)
    _frame(axes)
    front = "front of the car " + ("to the left" if left else "to the right")
    length = getattr(answer.advice, "figures", {}).get("link_length")
    present, new = ("", "") if length is None else (
        f" {length_to_set(mm, units)}" for mm in (length.value, length.value + answer.change_mm))
    words = f"solid: present link{present}" + (
        f"   dashed: link{new or ' ' + signed(answer.change_mm, units)}" if proposed else "")
    figure.suptitle(
        f"{answer.corner}: {words}\nside view: {front};  front view: the car's left on the right;  mm from"
        f" the bar's bush",
        fontsize=_SIZE,
    )
    return picture_bytes(figure, kind)


def _told(answer, bump, units):
    """The bar arm's angle, now and with the proposed link, and the least gap to the hose, at a wheel's
    travel."""
    found = [r for r in (answer.present, answer.proposed) if r is not None and not isinstance(r, Refusal)]
    if not found:
        return ""

    def at(result, name):
        course = result.courses.get(name)
        if course is None:
            return math.nan
        return float(np.interp(bump, result.steps_mm, course.value))

    angles = [at(r, "bar_arm_angle") for r in found]
    words = "bar arm " + " to ".join(f"{round(a, 1) + 0.0:+.1f}°" for a in angles if math.isfinite(a))
    gaps = [g for g in (at(found[-1], f"gap_{k}") for k in ("eye", "link", "arm")) if math.isfinite(g)]
    return words + (f", hose {about(min(gaps), units)}" if gaps else "")


def _frame(axes):
    """One window for all of a row, with a margin."""
    for row in axes:
        low = np.min([(a.dataLim.x0, a.dataLim.y0) for a in row], axis=0) - 45
        high = np.max([(a.dataLim.x1, a.dataLim.y1) for a in row], axis=0) + (110, 45)
        for a in row:
            a.set_xlim(low[0], high[0])
            a.set_ylim(low[1], high[1])


def _draw(ax, points, across, sign, style, first):
    def flat(name):
        return sign * points[name][across], points[name][2]

    pivots = [points[n] for n in PIVOTS if n in points]
    pivot = np.mean(pivots, axis=0)
    middle = (sign * pivot[across], pivot[2])
    lines = [("control arm", middle, flat(ARM_BALL_JOINT), CONTROL_ARM, 5, BLUE),
             ("bar arm", flat(BAR_BUSH), flat(BAR_EYE), BAR_ARM, 5, "#8a5a00"),
             ("link", flat(LINK_FOOT), flat(BAR_EYE), LINK, 4, "#006b4e")]
    for words, a, b, colour, width, ink in lines:
        if words == "control arm" and not first:
            continue
        ax.plot([a[0], b[0]], [a[1], b[1]],
                linestyle=style,
                color=colour,
                linewidth=width if first else width - 1.5,
                solid_capstyle="round",
                zorder=3)
        if first:
            at = (a[0] + b[0]) / 2, (a[1] + b[1]) / 2
            ax.annotate(words,
                        at,
                        xytext=(7, 7),
                        textcoords="offset points",
                        fontsize=10,
                        color=ink,
                        fontweight="bold",
                        zorder=6)
    if first:
        for name, marker, words in ((BAR_BUSH, "s", "bush"), (HUB, "o", HUB), (ARM_BALL_JOINT, "o",
                                                                               "ball joint")):
            x, y = flat(name)
            ax.plot(x, y, marker, color=BLACK, markersize=6, zorder=4)
            ax.annotate(words, (x, y),
                        xytext=(6, -13),
                        textcoords="offset points",
                        fontsize=9,
                        color=BLACK,
                        zorder=6)
        hose = [flat(n) for n in HOSES if n in points]
        if hose:
            ax.plot(*zip(*hose, strict=False),
                    linestyle=":",
                    marker="o",
                    markersize=4,
                    color=BLACK,
                    linewidth=3.5,
                    zorder=4)
            ax.annotate("hose",
                        hose[0],
                        xytext=(6, 6),
                        textcoords="offset points",
                        fontsize=10,
                        color=BLACK,
                        zorder=6)
    for name in (BAR_EYE, LINK_FOOT):
        x, y = flat(name)
        ax.plot(x, y, "o", color="white", markeredgecolor=BLACK, markersize=7, zorder=5)


def _gap(ax, points, across, sign):
    """The nearest hose marker to the eye, as a thin line with its centre distance."""
    hose = [n for n in HOSES if n in points]
    if not hose or np.isnan(points[BAR_EYE]).any():
        return
    name = min(hose, key=lambda n: np.linalg.norm(points[n] - points[BAR_EYE]))
    a, b = points[BAR_EYE], points[name]
    ax.plot([sign * a[across], sign * b[across]], [a[2], b[2]],
            linestyle=(0, (1, 1)),
            color=NEAREST,
            linewidth=1.5,
            zorder=2)


_PLOTS = (("bar_arm_angle", "bar arm angle, deg"), ("gap_eye", "bar eye to the hose, mm"),
          ("gap_link", "link to the hose, mm"), ("gap_arm", "bar arm to the hose, mm"),
          ("joint_tilt_eye", "eye joint tilt, deg"),
          ("joint_tilt_foot", "foot joint tilt, deg"), ("line_up", "arm and link from one line, deg"),
          ("motion_ratio", "bar eye over wheel"), ("link_lean_side", "link lean from the side, deg"),
          ("link_lean_front", "link lean from the front, deg"))


def draw_travel(answer, kind="png", units="mm"):
    """Courses over the travel with their 95 % bands.  Returns bytes of a picture, or None without an
    answer."""
    results = [(r, words, colour, style)
               for r, words, colour, style in ((answer.present, "present link", BLUE, "-"),
                                               (answer.proposed, f"link {signed(answer.change_mm, units)}",
                                                VERMILION, "--"))
               if r is not None and not isinstance(r, Refusal)]
    if not results:
        return None
    shown = [(n, t) for n, t in _PLOTS if n in results[0][0].courses]
    columns = min((3, 2), key=lambda c: -len(shown) % c)  # as few empty places as can be
    rows = -(-len(shown) // columns)
    figure, axes = new_figure(13, 2.9 * rows, rows, columns)
    across = INCH if units == "in" else 1.0
    steps_mm = answer.travel.steps_mm
    ends = steps_mm[0] / across, steps_mm[-1] / across
    for ax, (name, title) in zip(axes.flat, shown, strict=False):
        for result, words, colour, style in results:
            course = result.courses[name]
            scale = across if course.unit == "mm" else 1.0
            ax.fill_between(result.steps_mm / across,
                            course.low95 / scale,
                            course.high95 / scale,
                            color=colour,
                            alpha=0.18,
                            linewidth=0)
            ax.plot(result.steps_mm / across, course.value / scale, style, color=colour, linewidth=2.2,
                    label=words)
        ax.axvline(0, color=BLACK, linewidth=0.8)
        _limits(ax, answer, name, ends[0])
        measured = answer.travel.measured_mm
        if measured is not None:
            for a, b in ((answer.travel.steps_mm[0], measured[0]), (measured[1], answer.travel.steps_mm[-1])):
                if b - a > 1:
                    ax.axvspan(a / across, b / across, facecolor="none", edgecolor="#bbbbbb", hatch="//",
                               linewidth=0)
        ax.set_title(title.replace(", mm", f", {units}").replace(", deg", ", °"), fontsize=_SIZE - 1,
                     fontweight="bold")
        ax.set_xlim(*ends)
        ax.margins(y=0.12)
        ax.grid(color="#dddddd", linewidth=0.6)
        ax.tick_params(labelsize=10)
    for ax in axes.flat[len(shown):]:
        ax.set_axis_off()
    axes.flat[0].legend(fontsize=10, framealpha=0.9)
    hatched = ";  hatched: beyond what was measured" if answer.travel.measured_mm is not None else ""
    figure.supxlabel(f"wheel travel from ride height, {units} (droop left, bump right);  bands: 95 %"
                     f"{hatched}", fontsize=_SIZE)
    figure.suptitle(f"{answer.corner}: over the travel", fontsize=_SIZE + 1, fontweight="bold")
    return picture_bytes(figure, kind)


def _limits(ax, answer, name, left):
    """What must not be crossed: contact with the hose, a joint's limit, the wanted angle's band."""
    if name.startswith("gap"):
        ax.axhline(0, color=BLACK, linewidth=2)
        ax.annotate("touches", (left, 0),
                    xytext=(4, 3),
                    textcoords="offset points",
                    fontsize=9)
    if name == "bar_arm_angle" and not answer.wanted.square:
        ax.axhspan(answer.wanted.angle_deg - answer.wanted.within_deg,
                   answer.wanted.angle_deg + answer.wanted.within_deg,
                   facecolor="none",
                   edgecolor=GREEN,
                   hatch="..",
                   linewidth=1)
        ax.annotate("wanted", (left, answer.wanted.angle_deg + answer.wanted.within_deg),
                    xytext=(4, 3),
                    textcoords="offset points",
                    fontsize=9)
    limit = answer.joint_limit_deg.get(name.rsplit("_", 1)[-1]) if name.startswith("joint_tilt") else None
    if limit is not None:
        ax.axhline(limit, color=BLACK, linewidth=2)
        ax.annotate(f"limit {limit:g}°", (left, limit),
                    xytext=(4, -12),
                    textcoords="offset points",
                    fontsize=9)
