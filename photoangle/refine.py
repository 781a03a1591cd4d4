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

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np

from calib.lens import camera_matrix, unproject
from photoangle.bend import bend_px
from photoangle.codes import apply_homography, cell_pattern, cells_across, square_homographies

FLOOR_PX = 0.012
_MARGIN_CELLS = 0.4
_FIELD_CELLS = 0.2
_FIELD_PRIOR = 0.02
_DIRTY = 0.7  # share of the residuals' squares that the field must leave to be worth it; on clean paper 0.8 to 0.98
_HALO_PX = 1.6
_LEAST_BLUR, _MOST_BLUR = 0.12, 14.0  # px^2, eigenvalues of the blur's covariance
_MOST_SHIFT_PX = 60.0
_SEPARABLE = 0.25  # correlation of a blur along rows and columns of the pattern up to which it is laid on so
# Flat tags, clean to dirty, show bends of up to 0.075 px, or 0.18 % of their side and 3.6 u (rendered).
_BEND_SURE, _LEAST_BEND_PX, _LEAST_BEND = 5.0, 0.08, 0.001
# Where the lens is not known its own curvature may look like a bend: px, times side^2 over the picture's width.
_UNKNOWN_LENS_BEND = 0.01


@dataclass(frozen=True)
class AlignedTag:
    """A tag's corners and how well the pattern fits.

    corners_px (4, 2) in the printed order; covariance_px2 (8, 8) for x0, y0, x1, ...;
    blur_px: root mean square width of the blur; noise: residual grey levels; contrast:
    white less black, grey levels; fit: correlation of model and picture; rounds taken; bend_px and its own
    standard uncertainty: how far the paper is from flat, as the picture shows it (`photoangle.bend`).
    """

    corners_px: np.ndarray
    covariance_px2: np.ndarray
    blur_px2: np.ndarray
    noise: float
    contrast: float
    fit: float
    rounds: int
    settled: bool
    bend_px: float = 0.0
    bend_u_px: float = 0.0

    @property
    def blur_px(self):
        return float(np.sqrt(np.trace(self.blur_px2) / 2))

    @property
    def side_px(self):
        return float(np.linalg.norm(self.corners_px - np.roll(self.corners_px, 1, 0), axis=1).mean())

    @property
    def bent(self):
        """Whether the paper is surely not flat."""
        return self.bend_px > max(_BEND_SURE * self.bend_u_px, _LEAST_BEND_PX, _LEAST_BEND * self.side_px)


@lru_cache(maxsize=512)
def _template(family, tag_id, per_cell):
    """The pattern with a white margin of one cell, per_cell samples a cell, float32."""
    padded = np.pad(cell_pattern(family, tag_id), 1, constant_values=1)
    return np.kron(padded, np.ones((per_cell, per_cell), np.float32))


def _blur_image(image, covariance):
    """An image blurred by a Gaussian of a covariance in samples^2, and the covariance that was really laid on.

    Nearly separable ones are laid on along rows and columns; what is missing, the caller corrects.
    """
    values, vectors = np.linalg.eigh(covariance)
    covariance = (vectors * np.maximum(values, 0.09)) @ vectors.T
    a, b, c = covariance[0, 0], covariance[0, 1], covariance[1, 1]
    radius = [min(int(np.ceil(3.2 * np.sqrt(v))) + 1, 40) for v in (a, c)]
    x, y = (np.arange(-r, r + 1) for r in radius)
    if abs(b) < _SEPARABLE * np.sqrt(a * c):
        kx, ky = np.exp(-0.5 * x * x / a), np.exp(-0.5 * y * y / c)
        return cv2.sepFilter2D(image, -1, kx / kx.sum(), ky / ky.sum(),
                               borderType=cv2.BORDER_REPLICATE), np.diag([a, c])
    x, y = np.meshgrid(x, y)
    k = np.exp(-0.5 * (c * x * x - 2 * b * x * y + a * y * y) / (a * c - b * b))
    return cv2.filter2D(image, -1, (k / k.sum()).astype(np.float32), borderType=cv2.BORDER_REPLICATE), covariance


_POWERS = [(i, j) for i in range(4) for j in range(4) if i + j <= 3]


class _LocalLens:
    """The lens's curvature inside a small window, as a displacement.

    Near the window's centre the map is made to have unit slope, so that it takes
    out only what a homography cannot follow.  A cubic polynomial in the window's own coordinates.
    """

    def __init__(self, lens, centre, box):
        x0, y0, x1, y1 = box
        self.half = max(x1 - x0, y1 - y0) / 2 + 2
        self.middle = np.array([(x0 + x1) / 2, (y0 + y1) / 2])
        t = np.linspace(-1, 1, 6)
        gx, gy = (a.ravel() for a in np.meshgrid(t, t))
        grid = np.stack([gx, gy], 1) * self.half + self.middle
        near = centre + np.array([[0, 0], [1, 0], [-1, 0], [0, 1], [0, -1]], float)
        matrix, _ = camera_matrix(lens)
        flat = unproject(np.concatenate([grid, near]), lens)
        flat = flat * [matrix[0, 0], matrix[1, 1]] + [matrix[0, 2], matrix[1, 2]]
        at_centre = flat[-5]
        slope = np.stack([(flat[-4] - flat[-3]) / 2, (flat[-2] - flat[-1]) / 2], 1)
        local = (flat[:-5] - at_centre) @ np.linalg.inv(slope).T + centre
        basis = np.stack([gx**i * gy**j for i, j in _POWERS], 1)
        terms = np.linalg.lstsq(basis, local - grid, rcond=None)[0]
        self.table = np.zeros((2, 4, 4))  # coordinate, power of x, power of y
        for (i, j), term in zip(_POWERS, terms):
            self.table[:, i, j] = term

    def forward(self, points):
        """Picture to flattened, (k, 2) px."""
        w = (points - self.middle) / self.half
        px, py = w[:, 0, None] ** np.arange(4), w[:, 1, None] ** np.arange(4)
        return points + np.einsum("ki,cij,kj->kc", px, self.table, py)

    def forward_window(self, x, y):
        """The same for a window's columns x and rows y: two (rows, columns) float32 arrays."""
        px = ((x - self.middle[0]) / self.half)[:, None] ** np.arange(4)
        py = ((y - self.middle[1]) / self.half)[:, None] ** np.arange(4)
        return [(base + py @ self.table[c].T @ px.T).astype(np.float32)
                for c, base in enumerate((x[None, :], y[:, None]))]

    def back(self, points):
        """Flattened to picture, (k, 2) px."""
        x = points.copy()
        for _ in range(4):
            x = x - (self.forward(x) - points)
        return x


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


def _blurred_template(pattern, per_cell, blur_px2, quad, n):
    """The pattern blurred as the picture is, in the tag's own samples, and the covariance laid on, cells^2."""
    h = square_homographies(quad[None], n)[0]
    middle = np.array([[n / 2, n / 2], [n / 2 + 0.5, n / 2], [n / 2 - 0.5, n / 2],
                       [n / 2, n / 2 + 0.5], [n / 2, n / 2 - 0.5]])
    p = apply_homography(h, middle)
    px_per_sample = np.stack([p[1] - p[2], p[3] - p[4]], 1) / per_cell
    to_tag = np.linalg.inv(px_per_sample)
    blurred, laid = _blur_image(pattern, to_tag @ blur_px2 @ to_tag.T)
    return blurred, laid / per_cell**2


_KNOTS = 6


def _blur_shortfall(h, to_cells, wx, wy, blur, laid):
    """How much the wanted blur exceeds the one laid into the template, at every pixel.

    The template was blurred as the picture is at the tag's middle; in perspective the near side is
    larger and got too much.  Parameters: h, to_cells: homography from cells to px and back; wx, wy: flattened px
    of the window; blur: wanted, px^2; laid: what the template got, cells^2.
    Returns three arrays like wx: xx, yy and xy of the missing covariance, px^2.  It is smooth: a cubic through a few places.
    """
    rows, columns = wx.shape
    r, c = np.linspace(0, rows - 1, _KNOTS).astype(int), np.linspace(0, columns - 1, _KNOTS).astype(int)
    x, y = wx[np.ix_(r, c)].astype(float), wy[np.ix_(r, c)].astype(float)
    w = to_cells[2, 0] * x + to_cells[2, 1] * y + to_cells[2, 2]
    # d(pixel)/d(cell) = (h[:2, :2] - pixel h[2, :2]) * w, since w = 1 / (h[2] . cell)
    j = np.array([[(h[0, 0] - x * h[2, 0]) * w, (h[0, 1] - x * h[2, 1]) * w],
                  [(h[1, 0] - y * h[2, 0]) * w, (h[1, 1] - y * h[2, 1]) * w]])
    missing = blur[:, :, None, None] - np.einsum("ikrc,kl,jlrc->ijrc", j, laid, j)
    down, across = (np.vander(2 * a / max(n - 1, 1) - 1.0, 4) for a, n in ((r, rows), (c, columns)))
    terms = np.linalg.pinv(down) @ missing @ np.linalg.pinv(across).T
    whole = [np.vander(np.linspace(-1, 1, n), 4).astype(np.float32) for n in (rows, columns)]
    return tuple(whole[0] @ terms[k].astype(np.float32) @ whole[1].T for k in ((0, 0), (1, 1), (0, 1)))


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
        local = _LocalLens(lens, q.mean(0), (x0, y0, x1, y1))
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
    pattern = _template(family, int(tag_id), per_cell)
    blur = np.eye(2) if blur_px2 is None else np.array(blur_px2, float)
    cell_px = np.sqrt(max(cv2.contourArea(q.astype(np.float32)), 1.0)) / n
    # derivative rows: 8 corners, 3 blur, then the grey levels (black, white, tilts, tone, halo)
    table = np.empty((21, len(inside)), np.float32)
    table[11], table[15], table[16] = 1, x, y
    blurred = blurred_at = None
    step = np.inf
    for turn in range(most_rounds):
        if blurred is None or np.abs(blur - blurred_at).max() > 0.06 * np.trace(blur):
            (blurred, laid), blurred_at = _blurred_template(pattern, per_cell, blur, q, n), blur
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
        c00, c11, c01 = _blur_shortfall(h, exact, wx, wy, blur, laid)
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

    neighbours = _Neighbours(inside, mask.shape)

    def noise_of(left):
        square = float(left @ left) / free
        return square * max(1.0, neighbours.correlation_sum(left, square))

    covariance = (inverse[:8, :8] * noise_of(residual)
                  + _clustered(inverse[:8], rows, residual, u.ravel()[inside], v.ravel()[inside], n)
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


def _clustered(inverse, rows, residual, u, v, n):
    """Sandwich covariance (8, 8) clustered by the tag's cells (White 1980, Liang & Zeger 1986)."""
    cell = ((np.clip(np.floor(u), -1, n) + 1) * (n + 2)
            + np.clip(np.floor(v), -1, n) + 1).astype(int)
    score = (inverse.astype(np.float32) @ rows) * residual
    sums = np.stack([np.bincount(cell, score[k], (n + 2) ** 2) for k in range(8)], 1)
    used = (np.bincount(cell, minlength=(n + 2) ** 2) > 0).sum()
    return sums.T @ sums * used / max(used - len(rows), 0.3 * used)


class _Neighbours:
    """Sums of products of a mask's pixels with their neighbours, up to ``reach`` px each way."""

    def __init__(self, inside, shape, reach=3):
        # rows are padded so that no neighbour is reached round a corner
        self.width = shape[1] + reach
        rows, columns = np.divmod(inside, shape[1])
        self.at = rows * self.width + columns
        self.size = (shape[0] + reach) * self.width
        self.lags = [dy * self.width + dx for dy in range(reach + 1) for dx in range(-reach, reach + 1)
                     if dy > 0 or dx > 0]
        there = np.zeros(self.size, np.float32)
        there[self.at] = 1
        self.pairs = np.array([there[:-k] @ there[k:] for k in self.lags])

    def correlation_sum(self, residual, variance):
        """Sum of the residual's autocorrelation over all lags."""
        values = np.zeros(self.size, np.float32)
        values[self.at] = residual
        products = np.array([values[:-k] @ values[k:] for k in self.lags])
        enough = self.pairs > 30
        return 1 + 2 * float((products[enough] / self.pairs[enough]).sum()) / max(variance, 1e-9)
