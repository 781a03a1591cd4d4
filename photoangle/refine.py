"""A tag's corners to the limit of the pixels.

The whole printed pattern is aligned with the picture by Gauss-Newton: eight corner
coordinates, the blur's 2 x 2 covariance (so defocus and motion alike), grey levels with
shading across the tag, a tone curve, a sharpening halo where there is one, and a slowly
varying white level for dirt and shade.  Blur and exposure move the outline of a black
square in or out; they do not move a pattern whose blur and tone are unknowns.

The covariance that comes with the corners is meant for a phone's pictures, whose noise a
denoiser has smeared over neighbouring pixels: the white-noise figure is multiplied by the
sum of the residuals' autocorrelation, the estimate clustered by the tag's cells is added
(White's sandwich form), and a floor of 0.012 px per coordinate stands for what no residual
shows.
"""

from __future__ import annotations

import cv2
import numpy as np

from photoangle.aligned import AlignedTag
from photoangle.bend import bend_px
from photoangle.blurred import blur_shortfall, blurred_template, template
from photoangle.codes import apply_homography, cells_across, square_homographies
from photoangle.local_lens import LocalLens
from photoangle.residual_noise import Neighbours, clustered

FLOOR_PX = 0.012
_MARGIN_CELLS = 0.4
_FIELD_CELLS = 0.2
_FIELD_PRIOR = 0.02
_DIRTY = 0.7  # share of the residuals' squares that the field must leave to be worth it; on clean paper 0.8 to 0.98
_HALO_PX = 1.6
_LEAST_BLUR, _MOST_BLUR = 0.12, 14.0  # px^2, eigenvalues of the blur's covariance
_MOST_SHIFT_PX = 60.0
# Where the lens is not known its own curvature may look like a bend: px, times side^2 over the picture's width.
_UNKNOWN_LENS_BEND = 0.01


def align_tag(grey, family, tag_id, quad, lens=None, blur_px2=None, most_rounds=15):
    """Align a tag's pattern with the picture.

    Parameters: grey (H, W) uint8; quad (4, 2) px, the corners to a third of a cell or so,
    printed order; lens: parameters of `calib.lens` or None (then curvature inside the tag
    is ignored); blur_px2 (2, 2) a first guess of the blur's covariance.
    Returns AlignedTag, or None where nothing could be aligned (too small, off the
    picture, or it ran away).
    """
    n = cells_across(family)
    q = np.array(quad, float)
    h = square_homographies(q[None], n)[0]
    edge = apply_homography(h, np.array([[-1, -1], [n + 1, -1], [n + 1, n + 1], [-1, n + 1.0]]))
    if not np.isfinite(edge).all():
        return None
    x0, y0 = np.maximum(np.floor(edge.min(0)).astype(int) - 4, 0)
    x1 = min(int(np.ceil(edge[:, 0].max())) + 5, grey.shape[1])
    y1 = min(int(np.ceil(edge[:, 1].max())) + 5, grey.shape[0])
    if x1 - x0 < 8 or y1 - y0 < 8:
        return None
    window = grey[y0:y1, x0:x1].astype(np.float32)
    rows, columns = window.shape
    columns_x, rows_y = np.arange(x0, x1, dtype=float), np.arange(y0, y1, dtype=float)
    local = None
    if lens is not None:
        local = LocalLens(lens, q.mean(0), (x0, y0, x1, y1))
        wx, wy = local.forward_window(columns_x, rows_y)
        q = local.forward(q)
        h = square_homographies(q[None], n)[0]
    else:
        wx, wy = np.meshgrid(columns_x.astype(np.float32), rows_y.astype(np.float32))
    q_start = q.copy()
    m = _MARGIN_CELLS
    outline = apply_homography(h, np.array([[-m, -m], [n + m, -m], [n + m, n + m], [-m, n + m]]))
    mask = np.zeros(window.shape, np.uint8)
    cv2.fillConvexPoly(mask, np.rint((outline - [x0, y0]) * 16).astype(np.int32), 1, shift=4)
    inside = np.flatnonzero(mask)
    if len(inside) < 60:
        return None
    seen = window.ravel()[inside]
    px, py = wx.ravel()[inside], wy.ravel()[inside]
    centre, extent = q.mean(0).astype(np.float32), np.float32(np.abs(q - q.mean(0)).max())
    x, y = (px - centre[0]) / extent, (py - centre[1]) / extent
    side = np.linalg.norm(q - np.roll(q, 1, 0), axis=1)
    per_cell = int(np.clip(np.round(1.8 * side.max() / n), 8, 40))
    pattern = template(family, int(tag_id), per_cell)
    blur = np.eye(2) if blur_px2 is None else np.array(blur_px2, float)
    cell_px = np.sqrt(max(cv2.contourArea(q.astype(np.float32)), 1.0)) / n
    # derivative rows: 8 corners, 3 blur, then the grey levels (black, white, tilts, tone, halo)
    table = np.empty((21, len(inside)), np.float32)
    table[11], table[15], table[16] = 1, x, y
    blurred = blurred_at = None
    step = np.inf
    for turn in range(most_rounds):
        if blurred is None or np.abs(blur - blurred_at).max() > 0.06 * np.trace(blur):
            (blurred, laid), blurred_at = blurred_template(pattern, per_cell, blur, q, n), blur
        exact = np.linalg.inv(h)
        to_cells = exact.astype(np.float32)
        w = to_cells[2, 0] * wx + to_cells[2, 1] * wy + to_cells[2, 2]
        u = (to_cells[0, 0] * wx + to_cells[0, 1] * wy + to_cells[0, 2]) / w
        v = (to_cells[1, 0] * wx + to_cells[1, 1] * wy + to_cells[1, 2]) / w
        shift = np.float32(per_cell - 0.5)
        b_map = cv2.remap(blurred, u * per_cell + shift, v * per_cell + shift, cv2.INTER_LINEAR,
                          borderMode=cv2.BORDER_CONSTANT, borderValue=1.0)
        dx = cv2.Sobel(b_map, cv2.CV_32F, 1, 0, ksize=1, scale=0.5)
        dy = cv2.Sobel(b_map, cv2.CV_32F, 0, 1, ksize=1, scale=0.5)
        dxx, dyy = cv2.Sobel(b_map, cv2.CV_32F, 2, 0, ksize=1), cv2.Sobel(b_map, cv2.CV_32F, 0, 2, ksize=1)
        dxy = cv2.Sobel(dx, cv2.CV_32F, 0, 1, ksize=1, scale=0.5)
        # blur acts as heat does: a small change of its covariance adds half the second derivative
        c00, c11, c01 = blur_shortfall(h, exact, wx, wy, blur, laid)
        b_map = b_map + 0.5 * (c00 * dxx + c11 * dyy) + c01 * dxy
        dx, dy, b = dx.ravel()[inside], dy.ravel()[inside], b_map.ravel()[inside]
        # tone curve: three bumps that vanish at black and at white
        dark = b * (1 - b)
        bend = 1 - 2 * b
        tones = 1 if turn == 0 else 3
        table[12], table[13], table[14] = b, b * x, b * y
        table[17], table[18], table[19] = dark, dark * bend, dark * dark
        slopes = (bend, 1 - 6 * dark, 2 * dark * bend)
        used = 17 + tones
        if turn > 0:
            table[20] = (b_map - cv2.GaussianBlur(b_map, (0, 0), _HALO_PX)).ravel()[inside]
            levels, residual = _linear_fit(table[11:21], seen)
            used = 21
            if levels[-1] <= 0.05 * abs(levels[1]):
                used = 20
        if used < 21:
            levels, residual = _linear_fit(table[11:used], seen)
        gain = levels[1] + levels[2] * x + levels[3] * y
        for k in range(tones):
            gain = gain + levels[6 + k] * slopes[k]
        rows = table[:used]
        if turn >= 2:
            black = levels[0] + levels[4] * x + levels[5] * y
            model = seen - residual - black
            field = _white_field(seen - black, model, b, mask.shape, inside,
                                 _FIELD_CELLS * cell_px, max(abs(levels[1]), 1.0))
            with_field = seen - black - field * model
            # clean paper needs no field, and pays for it: where the edges are blurred, it takes their place
            if with_field @ with_field < _DIRTY * (residual @ residual):
                residual, gain = with_field, gain * field
                rows[12:15] *= field
                rows[17:] *= field
        _fill_corner_rows(rows[:8], h, q, n, dx * gain, dy * gain, px, py,
                          u.ravel()[inside], v.ravel()[inside])
        half = 0.5 * gain
        rows[8], rows[9] = half * dxx.ravel()[inside], half * dyy.ravel()[inside]
        rows[10] = gain * dxy.ravel()[inside]
        normal = (rows @ rows.T).astype(float)
        diagonal = normal.diagonal()
        try:
            change = np.linalg.solve(normal + np.diag(1e-7 * diagonal + 1e-12),
                                     (rows @ residual).astype(float))
        except np.linalg.LinAlgError:
            return None
        if not np.isfinite(change).all():
            return None
        step = np.abs(change[:8]).max()
        change = change * min(1.0, 2.0 / max(step, 1e-12))
        q = q + change[:8].reshape(4, 2)
        if np.abs(q - q_start).max() > _MOST_SHIFT_PX or cv2.contourArea(np.float32(q)) < 60:
            return None
        h = square_homographies(q[None], n)[0]
        values, vectors = np.linalg.eigh(
            blur + np.array([[change[8], change[10]], [change[10], change[9]]]))
        blur = (vectors * np.clip(values, _LEAST_BLUR, _MOST_BLUR)) @ vectors.T
        if step < 4e-3 and turn >= 3:
            break
    free = len(residual) - len(rows)
    if free < 20:
        return None
    variance = float(residual @ residual) / free
    inverse = np.linalg.inv(normal + 1e-9 * np.diag(diagonal) + 1e-12 * np.eye(len(normal)))

    neighbours = Neighbours(inside, mask.shape)

    def noise_of(left):
        square = float(left @ left) / free
        return square * max(1.0, neighbours.correlation_sum(left, square))

    covariance = (inverse[:8, :8] * noise_of(residual)
                  + clustered(inverse[:8], rows, residual, u.ravel()[inside], v.ravel()[inside], n)
                  + FLOOR_PX**2 * np.eye(8))
    bend, bend_u = bend_px(rows, normal, residual, dx * gain, dy * gain, u.ravel()[inside], v.ravel()[inside],
                           q, n, noise_of)
    if lens is None:
        bend_u += _UNKNOWN_LENS_BEND * side.max() ** 2 / max(grey.shape)
    fitted = seen - residual
    fit = float(np.corrcoef(seen, fitted)[0, 1]) if fitted.std() > 0 else 0.0
    return AlignedTag(local.back(q) if local is not None else q, covariance, blur,
                      float(np.sqrt(variance)), float(levels[1]), fit, turn + 1,
                      bool(step < 0.05), bend, bend_u)


def _fill_corner_rows(out, h, quad, n, gx, gy, x, y, u, v):
    """Derivative of the model by the eight corner coordinates into out (8, k) float32.

    The model's grey moves with -(gradient) . d(position)/d(corner); the position's derivative
    follows from the homography's linear equations.  x, y: flattened px; u, v: cells.
    """
    d = (h[2, 0] * u + h[2, 1] * v + 1).astype(np.float32)
    gx, gy = -gx / d, -gy / d
    t = -(gx * x + gy * y)
    by_h = np.empty((8, len(x)), np.float32)
    for k, (value, factor) in enumerate(((gx, u), (gx, v), (gx, None), (gy, u), (gy, v), (gy, None),
                                         (t, u), (t, v))):
        by_h[k] = value if factor is None else value * factor
    a, r = np.zeros((8, 8)), np.zeros((8, 8))
    for k, ((cu, cv), (cx, cy)) in enumerate(zip([(0, 0), (n, 0), (n, n), (0, n)], quad)):
        a[2 * k] = [cu, cv, 1, 0, 0, 0, -cu * cx, -cv * cx]
        a[2 * k + 1] = [0, 0, 0, cu, cv, 1, -cu * cy, -cv * cy]
        r[2 * k, 2 * k] = r[2 * k + 1, 2 * k + 1] = 1 + h[2, 0] * cu + h[2, 1] * cv
    np.matmul(np.linalg.solve(a, r).T.astype(np.float32), by_h, out=out)


def _linear_fit(rows, seen):
    """Least squares of grey (k,) on rows (c, k): (coefficients (c,), residual (k,))."""
    normal = (rows @ rows.T).astype(float)
    normal[np.diag_indices(len(normal))] *= 1 + 1e-9
    levels = np.linalg.solve(normal, (rows @ seen).astype(float)).astype(np.float32)
    return levels, seen - levels @ rows


def _white_field(above_black, model, b, shape, inside, sigma_px, contrast):
    """A slowly varying factor on the paper's white: dirt, crease, the edge of a shadow."""
    weight = np.clip(b, 0, 1) ** 6 / contrast**2
    top, bottom = np.zeros(shape, np.float32), np.zeros(shape, np.float32)
    top.ravel()[inside] = weight * above_black * model
    bottom.ravel()[inside] = weight * model * model
    top = cv2.GaussianBlur(top, (0, 0), sigma_px, borderType=cv2.BORDER_CONSTANT)
    bottom = cv2.GaussianBlur(bottom, (0, 0), sigma_px, borderType=cv2.BORDER_CONSTANT)
    factor = ((top + _FIELD_PRIOR) / (bottom + _FIELD_PRIOR)).ravel()[inside]
    return np.clip(factor, 0.15, 4.0)
