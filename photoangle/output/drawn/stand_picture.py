"""A small picture of where to stand for the next photo: from above and from the side."""

from __future__ import annotations

import numpy as np

from calib.sheets.palette import BLACK, BLUE, GREY, VERMILION
from photoangle.core.roles import HUB
from photoangle.output.drawn.drawings import new_figure, picture_bytes


def draw_stand(result, advice, kit, kind="png"):
    """The markers, the photos there are, and where to stand.  Returns bytes, or None where no stand point is
    advised."""
    if advice.camera is None:
        return None
    axes = result.axes or result.lateral
    up = result.up.vector if result.up is not None else np.array([0, -1.0, 0])
    ahead = axes.axes[:, 0] if axes is not None else np.cross(up, [0, 0, 1.0])
    ahead = ahead - up * (ahead @ up)
    ahead /= np.linalg.norm(ahead)
    basis = np.stack([ahead, np.cross(up, ahead), up], 1)
    centre = np.mean([p.translation_mm for p in result.scene.markers.values()], axis=0)

    def at(points):
        return (np.atleast_2d(points) - centre) @ basis

    markers = {kit.slot(i).role.title: at(p.translation_mm)[0] for i, p in result.scene.markers.items()}
    taken = at([-c.rotation.T @ c.translation_mm for c in result.scene.cameras])
    stand = at(-advice.camera.rotation.T @ advice.camera.translation_mm)[0]
    left = result.corner is None or result.corner.endswith("left")
    figure, (row,) = new_figure(9, 4.8, 1, 2)
    for ax, across, upright, title in ((row[0], 0, 1, "from above"), (row[1], 0, 2, "from the side")):
        # front of the car to the left, as one sees it from outside its left side; the other side mirrored
        sign = -1 if left else 1
        flip = (-1 if left else 1) if upright == 1 else 1

        def flat(p, across=across, upright=upright, sign=sign, flip=flip):
            return sign * p[across], flip * p[upright]

        for name, p in markers.items():
            ax.plot(*flat(p), "s", color=BLACK, markersize=4)
            if name in ("bar eye", "bar bush", HUB, "sill rear", "plumb top"):
                ax.annotate(name, flat(p), xytext=(4, 4), textcoords="offset points", fontsize=8)
        for k, p in enumerate(taken):
            ax.plot(*flat(p), "o", color=BLUE, markersize=9, markerfacecolor="white", markeredgewidth=2)
            ax.annotate(str(k + 1), flat(p), ha="center", va="center", fontsize=7, color=BLUE)
        ax.plot(*flat(stand), "*", color=VERMILION, markersize=20, markeredgecolor=BLACK)
        ax.annotate("stand here",
                    flat(stand),
                    xytext=(10, -4),
                    textcoords="offset points",
                    fontsize=11,
                    fontweight="bold")
        x, y = flat(stand)
        ax.plot([x, 0], [y, 0], linestyle=":", color=VERMILION, linewidth=2)
        ax.set_title(title, fontweight="bold")
        ax.set_aspect("equal")
        ax.margins(0.18)
        ax.grid(color="#dddddd", linewidth=0.6)
        ax.tick_params(labelsize=8, colors=GREY)
    figure.supxlabel(
        f"mm; front of the car to the {'left' if left else 'right'}; squares: markers; circles: photos there"
        f" are",
        fontsize=10,
    )
    return picture_bytes(figure, kind)
