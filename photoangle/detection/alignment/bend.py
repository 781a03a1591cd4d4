"""Is a tag's paper flat?  What of its picture no flat square explains.

A curled tag's points move in the picture by a quadratic field along the direction in which its depth shows,
and by a cubic one along the curl where it is foreshortened.  These fields join the aligned model's own
derivatives, and what they take up beside the corners is the bend.  A flat tag's bend is noise; one stuck
round a tube shows several per cent of its side.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

_GRID = 9
# A bend larger than this many pixels is no measure any more: the prior that keeps the fit well posed.
_PRIOR_PX = 4.0


def _moved_by(gx, gy, s, t, slant):
    """Change (8, k) of what stands at places s, t in [-1, 1], by each field's coefficient (px), where gx, gy
    (k,) is its slope.

    slant (2, 2): d(pixel)/d(s, t) over the tag, to one half side.
    """
    out = np.empty((8, len(s)), gx.dtype)
    squares = (s * s, s * t, t * t)
    for k, square in enumerate(squares):
        np.multiply(gx, square, out=out[k])
        np.multiply(gy, square, out=out[k + 3])
    for k, (cube, axis) in enumerate(((squares[0] * s, 0), (squares[2] * t, 1))):
        along = (slant[:, axis] / max(np.linalg.norm(slant[:, axis]), 1e-9)).astype(gx.dtype)
        np.multiply(gx * along[0] + gy * along[1], cube, out=out[k + 6])
    return out


@lru_cache(maxsize=1)
def _grid():
    a = np.linspace(-1, 1, _GRID)
    s, t = (g.ravel() for g in np.meshgrid(a, a))
    return s, t


def _flat_part(slant):
    """Orthonormal basis (2 k, 8) of what a moved flat square can do on the grid."""
    s, t = _grid()
    zero, one = np.zeros_like(s), np.ones_like(s)
    columns = [(f, zero) for f in (one, s, t)] + [(zero, f) for f in (one, s, t)]
    moved = slant @ np.stack([s, t])
    columns += [(moved[0] * f, moved[1] * f) for f in (s, t)]
    return np.linalg.qr(np.array(columns).reshape(8, -1).T)[0]


def bend_px(rows, residual, gx, gy, cells, quad, n, noise_of):
    """Root mean square bend of an aligned tag, px, less what its own noise would show.

    Parameters: rows (c, k): the aligned model's derivatives, corners first; residual (k,); gx, gy (k,): grey
    per px of the model; cells: their CellMap; quad (4, 2) px; n cells along a side; noise_of(residual): its
    effective variance, correlation counted.
    Returns (bend px, the bend's own standard uncertainty px).
    """
    s, t = np.float32(2 / n) * cells.u - 1, np.float32(2 / n) * cells.v - 1
    slant = np.stack([(quad[1] - quad[0] + quad[2] - quad[3]) / 4,
                      (quad[3] - quad[0] + quad[2] - quad[1]) / 4], 1)
    extra = _moved_by(-gx, -gy, s, t, slant)
    normal = (rows @ rows.T).astype(float)
    cross, own = (rows @ extra.T).astype(float), (extra @ extra.T).astype(float)
    ridge = normal + np.diag(1e-7 * normal.diagonal() + 1e-12)
    solved = np.linalg.solve(ridge, cross)
    # the corners and the light take what they can; the bend has the rest
    variance = float(residual @ residual) / len(residual)
    rest = own - cross.T @ solved + np.eye(len(own)) * variance / _PRIOR_PX**2
    inverse = np.linalg.inv(rest)
    pull = extra @ residual - solved.T @ (rows @ residual).astype(float)
    coefficients = inverse @ pull
    # noise is what is left beside the bend, else a strong bend would hide in its own misfit
    taken = coefficients.astype(np.float32)
    left = residual - taken @ extra + (solved.astype(np.float32) @ taken) @ rows
    variance = noise_of(left)
    places = _grid()
    one, zero = np.ones(_GRID**2), np.zeros(_GRID**2)
    grid = np.concatenate([_moved_by(one, zero, *places, slant), _moved_by(zero, one, *places, slant)], 1)
    basis = _flat_part(slant)
    shown = grid - (grid @ basis) @ basis.T
    gram = shown @ shown.T / _GRID**2
    return (float(np.sqrt(max(coefficients @ gram @ coefficients, 0.0))),
            float(np.sqrt(max(variance * np.trace(gram @ inverse), 0.0))))
