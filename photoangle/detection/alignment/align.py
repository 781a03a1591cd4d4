"""A tag's corners to the limit of the pixels.

The whole printed pattern is aligned with the picture by Gauss-Newton: eight corner
coordinates, the blur's 2 x 2 covariance (so defocus and motion alike), grey levels with
shading across the tag, a tone curve, a sharpening halo where there is one, corners rounded
by a denoiser, and a slowly varying white level for dirt and shade; pixels that do not fit
count for less.  Blur and exposure move the outline of a black square in or out; they do
not move a pattern whose blur and tone are unknowns.

The covariance that comes with the corners is meant for a phone's pictures, whose noise a
denoiser has smeared over neighbouring pixels: the white-noise figure is multiplied by the
sum of the residuals' autocorrelation, the estimate clustered by the tag's cells is added
(White's sandwich form), and a floor of 0.012 px per coordinate, more for small tags, stands
for what no residual shows.
"""

from __future__ import annotations

import cv2
import numpy as np

from photoangle.detection.alignment.aligned_tag import AlignedTag
from photoangle.detection.alignment.bend import bend_px
from photoangle.detection.alignment.blurred_pattern import BlurredPattern
from photoangle.detection.alignment.pattern_rows import CellMap, PatternRows
from photoangle.detection.alignment.reduced import Reduced
from photoangle.detection.alignment.residual_noise import Neighbours, clustered, step_length, weight_roots
from photoangle.detection.alignment.tag_window import TagWindow
from photoangle.detection.codes import cells_across

FLOOR_PX = 0.012
# Below this side the floor rises, by the third power: then squared errors over their stated variance are
# alike from 15 to 60 px, over nine ways of making a picture (`tests.detection.small_tags`).
_SMALL_SIDE_PX = 25.0
_FIELD_CELLS = 0.2
_FIELD_PRIOR = 0.02
# share of the residuals' squares that the field must leave to be worth it; on clean paper 0.8 to 0.98
_DIRTY = 0.7
_LEAST_BLUR, _MOST_BLUR = 0.12, 14.0  # px^2, eigenvalues of the blur's covariance
_MOST_SHIFT_PX = 60.0
# The first rounds come near enough with a share of the pixels: one in so many, and no more than so many.
_COARSE_ROUNDS, _COARSE, _COARSE_PIXELS = 2, 2.6, 1500
# In large cells most pixels only repeat what black and white are: these slopes, of the contrast per px, and
# each n-th flat pixel, do.
_SMALL_CELL_PX, _EDGE, _FLAT = 8.0, 0.01, 4
# A pattern is blurred anew when the blur has changed by such a share of its variance.
_STALE_COARSE, _STALE = 0.25, 0.15
_SAMPLES_PX = 1.8  # of the pattern, for a pixel
# A step after which the next one would be nothing; pixels on dirt keep on changing theirs.
_LAST_STEP, _LAST_STEP_ON_DIRT = 0.04, 0.012
# Where the lens is not known its own curvature may look like a bend: px, times side^2 over the picture's
# width.
_UNKNOWN_LENS_BEND = 0.01
# A learnt lens is a smooth model of one that has waves: some tenths of a pixel between there and here.
_KNOWN_LENS_BEND = 0.002
# Tags larger than this are aligned on a copy reduced by a whole number, so that they are no larger than that:
# their corners are at the floor anyway, a cell's samples suffice, and a slight bend is less of a pixel.
_LARGE_SIDE_PX, _REDUCED_SIDE_PX = 280, 200


def align_tag(grey, family, tag_id, quad, lens=None, blur_px2=None, most_rounds=15):
    """Align a tag's pattern with the picture.

    Parameters: grey (H, W) uint8; quad (4, 2) px, the corners to a third of a cell or so,
    printed order; lens: parameters of `calib.lens` or None (then curvature inside the tag
    is ignored); blur_px2 (2, 2) a first guess of the blur's covariance.
    Returns AlignedTag, or None where nothing could be aligned (too small, off the
    picture, or it ran away).
    """
    q = np.array(quad, float)
    if not np.isfinite(q).all():
        return None
    side = np.linalg.norm(q - np.roll(q, 1, 0), axis=1).max()
    fold = int(np.ceil(side / _REDUCED_SIDE_PX)) if side > _LARGE_SIDE_PX else 1
    if fold == 1:
        return _align_as_it_is(grey, family, tag_id, q, lens, blur_px2, most_rounds, max(grey.shape))
    small = Reduced.around(grey, q, fold)
    if small is None:
        return None
    aligned = _align_as_it_is(small.grey, family, tag_id, small.into(q), small.lens(lens),
                              None if blur_px2 is None else np.array(blur_px2) / fold**2, most_rounds,
                              max(grey.shape) / fold)
    return None if aligned is None else small.back(aligned)


def _align_as_it_is(grey, family, tag_id, q, lens, blur_px2, most_rounds, picture_px):
    """`align_tag` at the picture's own size; picture_px: the whole picture's longer side."""
    n = cells_across(family)
    window = TagWindow.around(grey, q, n, lens)
    if window is None:
        return None
    q = q_start = window.flattened(q)
    side = np.linalg.norm(q - np.roll(q, 1, 0), axis=1).max()
    per_cell = int(np.clip(np.round(_SAMPLES_PX * side / n), 8, 40))
    blur = np.eye(2) if blur_px2 is None else np.array(blur_px2, float)
    cell_px = np.sqrt(max(cv2.contourArea(q.astype(np.float32)), 1.0)) / n
    pixels = window.pixels
    some = pixels[_spread_out(len(pixels.at))]
    blurred = dirty = None
    stale, step = True, np.inf
    for turn in range(most_rounds):
        coarse = turn < _COARSE_ROUNDS
        if stale:
            blurred, blurred_at = BlurredPattern(family, tag_id, n, per_cell, blur, q), blur
        if turn == _COARSE_ROUNDS and cell_px > _SMALL_CELL_PX:
            pixels = pixels[_telling(window, q, blurred, cell_px)]
        chosen = some if coarse else pixels
        model = PatternRows(chosen, CellMap(chosen, window, q, n), blurred, blur, rough=turn == 0)
        if not coarse and dirty is not False:
            dirty = _takes_dirt(model, pixels, window.shape, cell_px)
        plain = model.derivatives()
        weight = np.float32(1) if coarse else weight_roots(model.residual, model.on_edge())
        rows, residual = plain * weight, model.residual * weight
        normal = (rows @ rows.T).astype(float)
        change = _solved(normal, (rows @ residual).astype(float))
        if change is None:
            return None
        if not coarse:
            change = change * step_length(weight)
        step = np.abs(change[:8]).max()
        change = change * min(1.0, 2.0 / max(step, 1e-12))
        q = q + change[:8].reshape(4, 2)
        if np.abs(q - q_start).max() > _MOST_SHIFT_PX or cv2.contourArea(np.float32(q)) < 60:
            return None
        # the first look takes sharpening for a narrower blur, a few pixels take noise for another: a guess
        # from the same picture is better
        slight = np.abs(change[8:11]).max() < _STALE_COARSE * np.trace(blur)
        if blur_px2 is None or not (turn == 0 or (coarse and slight)):
            blur = _blur_after(blur, *change[8:11])
        stale = np.abs(blur - blurred_at).max() > (_STALE_COARSE if turn +
                                                   1 < _COARSE_ROUNDS else _STALE) * np.trace(blur)
        if not coarse and not stale and step < (_LAST_STEP_ON_DIRT if dirty else _LAST_STEP):
            break
    if coarse or len(residual) - len(rows) < 20:
        return None
    covariance, bend, bend_u = _certainty(model, plain, rows, residual, normal,
                                          Neighbours(pixels.at, window.shape), q)
    bend_u += (_UNKNOWN_LENS_BEND if lens is None else _KNOWN_LENS_BEND) * side**2 / picture_px
    left = model.residual
    return AlignedTag(window.back(q), covariance, blur, float(np.sqrt(left @ left / (len(left) - len(rows)))),
                      model.contrast, _correlation(pixels.grey, pixels.grey - left), turn + 1,
                      bool(step < 0.05), bend, bend_u)


def _solved(normal, pull):
    """The change of the unknowns (c,), or None where they cannot be told."""
    try:
        change = np.linalg.solve(normal + np.diag(1e-7 * normal.diagonal() + 1e-12), pull)
    except np.linalg.LinAlgError:
        return None
    return change if np.isfinite(change).all() else None


def _blur_after(blur, xx, yy, xy):
    """The blur's covariance (2, 2) px^2 after a change, kept possible."""
    values, vectors = np.linalg.eigh(blur + np.array([[xx, xy], [xy, yy]]))
    return (vectors * np.clip(values, _LEAST_BLUR, _MOST_BLUR)) @ vectors.T


def _correlation(a, b):
    a, b = a - a.mean(), b - b.mean()
    return float(a @ b / np.sqrt(max((a @ a) * (b @ b), 1e-12)))


def _certainty(model, plain, rows, residual, normal, neighbours, quad):
    """Covariance (8, 8) px^2 of the corners, the paper's bend and its standard uncertainty, px.

    plain (c, k): the model's derivatives; rows (c, k), residual (k,), normal (c, c): weighted.
    """
    free = len(residual) - len(rows)
    n = model.cells.n
    inverse = np.linalg.inv(normal + np.diag(1e-9 * normal.diagonal() + 1e-12))

    def noise_of(left):
        square = float(left @ left) / free
        return square * max(1.0, neighbours.correlation_sum(left, square))

    covariance = (inverse[:8, :8] * noise_of(residual) +
                  clustered(inverse[:8], rows, residual, model.cells, n) + floor_px(quad)**2 * np.eye(8))
    # a bend is what does not fit: for it the pixels that don't must count
    return covariance, *bend_px(plain, model.residual, *model.slopes_px(), model.cells, quad, n, noise_of)


def floor_px(quad):
    """What no residual shows, px of each coordinate of a tag at quad (4, 2) px.

    In cells of two or three pixels a denoiser's rounding and a demosaicer's guesses look like the pattern
    itself, and what is left over says too little of them.
    """
    side = np.linalg.norm(quad - np.roll(quad, 1, 0), axis=1).mean()
    return FLOOR_PX * (1 + (_SMALL_SIDE_PX / side)**3)


def _spread_out(count):
    """Some of so many pixels, (k,): no whole number apart, so that they do not line up in columns."""
    apart = max(_COARSE, count / _COARSE_PIXELS)
    return (np.arange(int(count / apart)) * apart).astype(int)


def _telling(window, quad, blurred, cell_px):
    """Which of a window's pixels tell of the corners, (k,) bool: those on edges, and some between for the
    light."""
    edge = blurred.on_edge(quad - window.first, window.shape, _EDGE * cell_px).ravel()[window.pixels.at] > 0
    edge[::_FLAT] = True
    return edge


def _takes_dirt(model, pixels, shape, cell_px):
    """Lay a white field under the model where that tells of dirt, and say whether it does.

    Clean paper needs none, and pays for it: where the edges are blurred, it takes their place.
    """
    field = _white_field(model, pixels.at, shape, _FIELD_CELLS * cell_px)
    left = model.misfit_under(field)
    dirty = bool(left @ left < _DIRTY * (model.residual @ model.residual))
    if dirty:
        model.put_under(field, left)
    return dirty


def _white_field(model, at, shape, sigma_px):
    """A slowly varying factor on the paper's white: dirt, crease, the edge of a shadow; (k,) for pixels at
    (k,) of a window."""
    # nothing darker than a twentieth has a say, and next to nothing makes slow sums
    weight = np.clip(model.value, 0.05, 1) ** 6 / max(abs(model.contrast), 1.0)**2
    top, bottom = np.zeros(shape, np.float32), np.zeros(shape, np.float32)
    top.ravel()[at] = weight * (model.seen - model.black) * model.light
    bottom.ravel()[at] = weight * model.light**2
    top = cv2.GaussianBlur(top, (0, 0), sigma_px, borderType=cv2.BORDER_CONSTANT)
    bottom = cv2.GaussianBlur(bottom, (0, 0), sigma_px, borderType=cv2.BORDER_CONSTANT)
    factor = ((top + _FIELD_PRIOR) / (bottom + _FIELD_PRIOR)).ravel()[at]
    return np.clip(factor, 0.15, 4.0)
