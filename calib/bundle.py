"""One least-squares problem for everything seen in one set of photos.

Unknowns, in this order: the lens (`calib.lens` parameters), the paper (tag scale against the
card, the card's bow along x, twist, bow along y, and excess scale along x), each photo's pose (and, where
the phone needs it, a focal scale and principal-point shift of its own, and what an editor did to it, as in
`calib.lens`), and each marker's pose.  The world frame is that of body 0, the card where there is one.

Observations: corners of tags, eight numbers with their joint covariance, and corners of the card, two by
two; priors on lens, paper and the photos' own lens shifts; ties between bodies.
Whole tags are weighted by Student's t (Lange, Little and Taylor 1989), so that one that does not belong
loses its say.

The normal equations are summed block by block from analytic derivatives and solved densely:
an ordinary problem has some hundreds of unknowns.  Small turns act on the left: R <- exp(w) R.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np

from calib.lens import EDITS, distort, edit, edit_derivatives
from calib.poses import rotation_from_vector
from calib.rows import PAPER, BodyTie, CardRow, Priors, TagRow, Values
from calib.running.cancellation import may_leave
from calib.solution import Singular, Solution

NU = 6.0
_SQUARE = np.array([[-1, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0]], float) / 2
# From this round on steps follow the residuals' curvature; where that asks for more than this share of the
# step itself, the step is too long for it to be believed.
_STRAIGHT, _MOST_BENT = 4, 0.75
_FAR_BEHIND = 1.0  # mm; a point nearer the lens than this is treated as this far


def _whitener(covariance: np.ndarray) -> np.ndarray:
    """W with W^T W = inverse of the covariance; covariance (..., k, k)."""
    return np.swapaxes(np.linalg.cholesky(np.linalg.inv(covariance)), -1, -2)


class Bundle:
    """The problem: rows and priors.  Solve with `solve`; nothing here changes after creation."""

    def __init__(self,
                 cameras: int,
                 bodies: int,
                 tags: Iterable[TagRow],
                 cards: Iterable[CardRow],
                 priors: Priors,
                 ties: Iterable[BodyTie] = (),
                 card_size_mm: tuple[float, float] = (252.0, 168.0),
                 nu: float = NU) -> None:
        self.cameras, self.bodies, self.priors, self.ties = cameras, bodies, priors, tuple(ties)
        self.tags, self.cards, self.nu = tuple(tags), tuple(cards), nu
        self.lens_size = len(priors.lens_mean)
        self.common = self.lens_size + PAPER
        self.shifts = 0 if priors.shift_sigma is None else len(priors.shift_sigma)
        self.per_camera = 6 + self.shifts
        self.edits = self.shifts == 3 + EDITS
        self.camera_start = self.common
        self.body_start = self.common + self.per_camera * cameras
        self.size = self.body_start + 6 * (bodies - 1)
        self.half_card = np.array(card_size_mm) / 2
        self._index_rows()
        fixed = self.priors.paper_sigma <= 0
        self.free = np.ones(self.size, bool)
        self.free[self.lens_size + np.flatnonzero(fixed)] = False
        if not self.cards or not self.tags:
            self.free[self.lens_size] = False  # nothing to compare the tags' scale with
        if not self.cards:
            self.free[self.lens_size + 1:self.common] = False

    def _index_rows(self) -> None:
        t, c = len(self.tags), len(self.cards)
        most = max((len(r.points_mm) for r in self.cards), default=0)
        self.tag_camera = np.array([r.camera for r in self.tags], int)
        self.tag_body = np.array([r.body for r in self.tags], int)
        self.tag_points = np.array([_SQUARE * r.size_mm for r in self.tags]).reshape(t, 4, 3)
        self.tag_seen = np.array([r.corners_px for r in self.tags]).reshape(t, 4, 2)
        self.tag_white = _whitener(np.array([r.covariance_px2 for r in self.tags]).reshape(t, 8, 8))
        self.card_camera = np.array([r.camera for r in self.cards], int)
        self.card_points = np.zeros((c, most, 3))
        self.card_seen = np.zeros((c, most, 2))
        self.card_white = np.zeros((c, most, 2, 2))
        self.card_there = np.zeros((c, most), bool)
        for k, row in enumerate(self.cards):
            n = len(row.points_mm)
            self.card_points[k, :n], self.card_seen[k, :n] = row.points_mm, row.pixels
            self.card_points[k, n:] = row.points_mm[0]
            self.card_white[k, :n] = _whitener(row.covariance_px2)
            self.card_there[k, :n] = True
        self.rows = 8 * t + 2 * int(self.card_there.sum())
        # columns of each group's local derivative in the whole; `size` is a bin for body 0
        common = np.arange(self.common)
        own = np.arange(self.per_camera)

        def columns(camera: np.ndarray, body: np.ndarray) -> np.ndarray:
            first = np.where(body > 0, self.body_start + 6 * (body - 1), self.size)
            step = np.where(body > 0, 1, 0)
            return np.concatenate(
                [np.broadcast_to(common, (len(camera), self.common)),
                 self.camera_start + self.per_camera * camera[:, None] + own,
                 first[:, None] + step[:, None] * np.arange(6)], 1)

        self.tag_columns = columns(self.tag_camera, self.tag_body)
        self.card_columns = columns(self.card_camera, np.zeros(c, int))

    def body_slice_of(self, body: int) -> slice:
        """Where body ``body`` >= 1 stands in the vector of unknowns: turn (rad), then place (mm)."""
        k = self.body_start + 6 * (body - 1)
        return slice(k, k + 6)

    # ---- the model ----

    def _shape(self, points: np.ndarray, paper: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Card points bent and stretched, and what that is by the paper's parameters."""
        x = points[..., 0] / self.half_card[0] - 1
        y = points[..., 1] / self.half_card[1] - 1
        by_paper = np.zeros(points.shape + (PAPER,))
        by_paper[..., 2, 1], by_paper[..., 2, 2], by_paper[..., 2, 3] = x * x, x * y, y * y
        by_paper[..., 0, 4] = points[..., 0]
        return points + by_paper @ paper, by_paper

    def _group(self, values: Values, camera: np.ndarray, body: np.ndarray, points: np.ndarray,
               seen: np.ndarray, by_paper: np.ndarray | None,
               derivatives: bool) -> tuple[np.ndarray, Any]:
        """Residuals (g, k, 2) and derivatives (g, k, 2, local) of groups of points."""
        g, k = points.shape[:2]
        if not g:
            local = self.common + self.per_camera + 6
            return np.zeros((0, k, 2)), np.zeros((0, k, 2, local)) if derivatives else None
        on_body = np.einsum("gij,gkj->gki", values.body_rotation[body], points)
        world = on_body + values.body_mm[body][:, None]
        turned = np.einsum("gij,gkj->gki", values.camera_rotation[camera], world)
        at = turned + values.camera_mm[camera][:, None]
        z = np.maximum(at[..., 2], _FAR_BEHIND)
        x, y = (at[..., 0] / z).ravel(), (at[..., 1] / z).ravel()
        lens, shift = values.lens, values.shift[camera]
        fx = (lens[0] * (1 + shift[:, 0]))[:, None]
        fy = fx * (1 + lens[1])
        cx, cy = (lens[2] + shift[:, 1])[:, None], (lens[3] + shift[:, 2])[:, None]
        if not derivatives:
            xd, yd = (a.reshape(g, k) for a in distort(x, y, lens))
            if self.edits:
                xd, yd = edit(x.reshape(g, k), y.reshape(g, k), xd, yd, shift[:, 3:])
            return np.stack([fx * xd + cx, fy * yd + cy], -1) - seen, None
        xd, yd, by_xy, by_lens = distort(x, y, lens, derivatives=True)
        xd, yd = xd.reshape(g, k), yd.reshape(g, k)
        x, y = x.reshape(g, k), y.reshape(g, k)
        by_xy, by_lens = by_xy.reshape(g, k, 2, 2), by_lens.reshape(g, k, 2, -1)
        if self.edits:
            xd, yd, by_xy, by_lens, by_edits = edit_derivatives(x, y, xd, yd, by_xy, by_lens, shift[:, 3:])
        residual = np.stack([fx * xd + cx, fy * yd + cy], -1) - seen
        focal = np.stack([fx, fy], -1)  # (g, 1, 2)
        by_xy = by_xy * focal[..., None]
        by_at = np.empty((g, k, 2, 3))
        by_at[..., :2] = by_xy / z[..., None, None]
        by_at[..., 2] = -(by_xy[..., 0] * x[..., None] + by_xy[..., 1] * y[..., None]) / z[..., None]
        out = np.zeros((g, k, 2, self.common + self.per_camera + 6))
        scale = (1 + shift[:, 0])[:, None]
        out[..., 0, 0], out[..., 1, 0] = scale * xd, scale * (1 + lens[1]) * yd
        out[..., 1, 1] = fx * yd
        out[..., 0, 2] = out[..., 1, 3] = 1
        out[..., 4:self.lens_size] = by_lens * focal[..., None]
        by_world = np.einsum("gkij,gjl->gkil", by_at, values.camera_rotation[camera])
        if by_paper is not None:
            by_point = np.einsum("gkij,gjl->gkil", by_world, values.body_rotation[body])
            out[..., self.lens_size:self.common] = by_point @ by_paper
        c = self.common
        out[..., c:c + 3] = np.cross(turned[..., None, :], by_at)
        out[..., c + 3:c + 6] = by_at
        if self.shifts:
            out[..., 0, c + 6], out[..., 1, c + 6] = lens[0] * xd, lens[0] * (1 + lens[1]) * yd
            out[..., 0, c + 7] = out[..., 1, c + 8] = 1
        if self.edits:
            out[..., c + 9:c + 9 + EDITS] = by_edits * focal[..., None]
        out[..., -6:-3] = np.cross(on_body[..., None, :], by_world)
        out[..., -3:] = by_world
        return residual, out

    def whitened(self, values: Values, derivatives: bool) -> tuple[np.ndarray, Any, np.ndarray, Any]:
        """Whitened residuals and derivatives of tag groups (t, 8) and card groups (c, 2 k)."""
        t, c = len(self.tags), len(self.cards)
        scale = 1 + values.paper[0]
        by_paper = None
        if derivatives:
            by_paper = np.zeros(self.tag_points.shape + (PAPER,))
            by_paper[..., 0] = self.tag_points
        r, j = self._group(values, self.tag_camera, self.tag_body, self.tag_points * scale,
                           self.tag_seen, by_paper, derivatives)
        tag_r = (self.tag_white @ r.reshape(t, 8, 1))[..., 0]
        tag_j = self.tag_white @ j.reshape(t, 8, j.shape[-1]) if derivatives else None
        if not c:
            return tag_r, tag_j, np.zeros((0, 0, 2)), None
        points, by_paper = self._shape(self.card_points, values.paper)
        r, j = self._group(values, self.card_camera, np.zeros(c, int), points, self.card_seen,
                           by_paper, derivatives)
        card_r = np.einsum("gkij,gkj->gki", self.card_white, r)
        card_j = np.einsum("gkij,gkjl->gkil", self.card_white, j) if derivatives else None
        return tag_r, tag_j, card_r, card_j

    def _tie_rows(self, values: Values) -> tuple[np.ndarray, np.ndarray]:
        """Residual and dense derivative rows of the ties."""
        residuals, rows = [], []
        for tie in self.ties:
            total = np.zeros(3)
            row = np.zeros((len(tie.whiten), self.size))
            for body, point, sign in ((tie.body_a, tie.point_a_mm, 1), (tie.body_b, tie.point_b_mm, -1)):
                if body < 0:
                    total += sign * np.asarray(point)
                    continue
                arm = values.body_rotation[body] @ point
                total += sign * (arm + values.body_mm[body])
                if body > 0:
                    k = self.body_start + 6 * (body - 1)
                    row[:, k:k + 3] += sign * np.cross(arm, tie.whiten)
                    row[:, k + 3:k + 6] += sign * tie.whiten
            residuals.append(tie.whiten @ total)
            rows.append(row)
        if not rows:
            return np.zeros(0), np.zeros((0, self.size))
        return np.concatenate(residuals), np.concatenate(rows)

    # ---- robust cost and normal equations ----

    def weights(self, tag_r: np.ndarray, card_r: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Robust weights of tags (t,) and of the card's corners (c, k) by their whitened residuals:
        Student's t, at most one."""
        if not self.nu:
            return np.ones(len(tag_r)), np.ones(card_r.shape[:2])
        tag = (self.nu + 8) / (self.nu + (tag_r**2).sum(-1))
        card = (self.nu + 2) / (self.nu + (card_r**2).sum(-1))
        return np.minimum(tag, 1), np.minimum(card, 1)

    def _cost(self, values: Values, tag_r: np.ndarray, card_r: np.ndarray) -> float:
        total = self.loss((tag_r**2).sum(-1), 8).sum() + self.loss((card_r**2).sum(-1), 2).sum()
        d = values.lens - self.priors.lens_mean
        total += d @ self.priors.lens_information @ d
        known = self.priors.paper_sigma > 0
        total += (((values.paper - self.priors.paper_mean)[known]
                   / self.priors.paper_sigma[known]) ** 2).sum()
        if self.shifts:
            total += ((values.shift / self.priors.shift_sigma) ** 2).sum()
        if self.ties:
            total += (self._tie_rows(values)[0] ** 2).sum()
        return float(total)

    def loss(self, square: np.ndarray, rows: int) -> np.ndarray:
        """Student's t loss of squared whitened residuals, plain up to its expected size."""
        if not self.nu:
            return square
        return np.where(square < rows, square,
                        rows + (self.nu + rows) * np.log((self.nu + square) / (self.nu + rows)))

    def _normal(self, values: Values, tag_r: np.ndarray, tag_j: np.ndarray, card_r: np.ndarray,
                card_j: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        tag_w, card_w = self.weights(tag_r, card_r)
        size = self.size + 6
        matrix, gradient = np.zeros(size * size), np.zeros(size)

        def add(j: np.ndarray, r: np.ndarray, w: np.ndarray, columns: np.ndarray) -> None:
            jw = j * w[..., None]
            block = np.swapaxes(j, -1, -2) @ jw
            slope = (np.swapaxes(jw, -1, -2) @ r[..., None])[..., 0]
            nonlocal matrix, gradient
            flat = columns[:, :, None] * size + columns[:, None, :]
            matrix += np.bincount(flat.ravel(), block.ravel(), size * size)
            gradient += np.bincount(columns.ravel(), slope.ravel(), size)

        if len(tag_r):
            add(tag_j, tag_r, np.repeat(tag_w[:, None], 8, 1), self.tag_columns)
        if len(card_r):
            c = len(card_r)
            add(card_j.reshape(c, -1, card_j.shape[-1]), card_r.reshape(c, -1),
                np.repeat(card_w, 2, 1), self.card_columns)
        matrix = matrix.reshape(size, size)[:self.size, :self.size]
        gradient = gradient[:self.size]
        data = matrix.copy()
        self._add_priors(values, matrix, gradient)
        return matrix, gradient, data

    def _add_priors(self, values: Values, matrix: np.ndarray, gradient: np.ndarray) -> None:
        n = self.lens_size
        matrix[:n, :n] += self.priors.lens_information
        gradient[:n] += self.priors.lens_information @ (values.lens - self.priors.lens_mean)
        for k in np.flatnonzero(self.priors.paper_sigma > 0):
            information = 1 / self.priors.paper_sigma[k] ** 2
            matrix[n + k, n + k] += information
            gradient[n + k] += information * (values.paper[k] - self.priors.paper_mean[k])
        if self.shifts:
            information = 1 / np.asarray(self.priors.shift_sigma) ** 2
            for c in range(self.cameras):
                own = self.camera_start + self.per_camera * c + 6 + np.arange(self.shifts)
                matrix[own, own] += information
                gradient[own] += information * values.shift[c]
        if self.ties:
            r, j = self._tie_rows(values)
            matrix += j.T @ j
            gradient += j.T @ r

    def _moved(self, values: Values, change: np.ndarray) -> Values:
        n = self.lens_size
        camera = change[self.camera_start:self.body_start].reshape(self.cameras, -1)
        body = change[self.body_start:].reshape(-1, 6)
        return Values(
            values.lens + change[:n], values.paper + change[n:self.common],
            rotation_from_vector(camera[:, :3]) @ values.camera_rotation,
            values.camera_mm + camera[:, 3:6],
            values.shift + camera[:, 6:] if self.shifts else values.shift,
            np.concatenate([values.body_rotation[:1],
                            rotation_from_vector(body[:, :3]) @ values.body_rotation[1:]]),
            np.concatenate([values.body_mm[:1], values.body_mm[1:] + body[:, 3:]]))

    # ---- solving ----

    def _slope_of_bend(self, values: Values, change: np.ndarray, tag_r: np.ndarray, tag_j: np.ndarray,
                       card_r: np.ndarray, card_j: np.ndarray) -> np.ndarray:
        """J^T W r'' (size,), r'' being the second derivative along a change of the residuals with derivatives
        J and weights W, by a difference."""
        h = 0.1
        tag, _, card, _ = self.whitened(self._moved(values, h * change), False)
        along = np.append(change, np.zeros(6))
        tag_w, card_w = self.weights(tag_r, card_r)
        out = np.zeros(self.size + 6)
        for r, now, j, w, columns in ((tag, tag_r, tag_j, tag_w, self.tag_columns),
                                      (card, card_r, card_j, card_w, self.card_columns)):
            if not len(r):
                continue
            g = len(r)
            j, w = j.reshape(g, -1, j.shape[-1]), np.repeat(w.reshape(g, -1), r[0].size // w[0].size, 1)
            straight = (j @ along[columns][..., None])[..., 0]
            second = 2 / h * ((r - now).reshape(g, -1) / h - straight)
            slope = (np.swapaxes(j, -1, -2) @ (w * second)[..., None])[..., 0]
            out += np.bincount(columns.ravel(), slope.ravel(), self.size + 6)
        return out[:self.size]

    def solve(self, start: Values, most_rounds: int = 60, tolerance: float = 1e-9,
              hold: np.ndarray | None = None) -> Solution:
        """Levenberg-Marquardt from ``start``, with geodesic acceleration (Transtrum and Sethna 2012): focal
        length, principal point and the card's bow make a narrow, bent valley, along which straight steps
        crawl.

        hold: boolean (size,) of unknowns to keep as they are.  Returns Solution.  Raises
        Singular where the normal equations cannot be solved at any damping.
        """
        from scipy.linalg import LinAlgError, cho_factor, cho_solve

        free = np.flatnonzero(self.free & ~hold if hold is not None else self.free)
        values = start
        tag_r, tag_j, card_r, card_j = self.whitened(values, True)
        cost = self._cost(values, tag_r, card_r)
        damping, rounds = 1e-4, 0
        while rounds < most_rounds:
            matrix, gradient, _ = self._normal(values, tag_r, tag_j, card_r, card_j)
            block, slope = matrix[np.ix_(free, free)], gradient[free]
            diagonal = block.diagonal().copy()
            if not (np.isfinite(diagonal).all() and (diagonal > 0).all()):
                raise Singular("some unknowns are not seen at all")
            accepted = False
            while damping < 1e10:
                may_leave()
                rounds += 1
                block[np.diag_indices(len(free))] = diagonal * (1 + damping)
                change = np.zeros(self.size)
                try:
                    factor = cho_factor(block, check_finite=False)
                    change[free] = -cho_solve(factor, slope, check_finite=False)
                except LinAlgError:
                    damping *= 10
                    continue
                if rounds > _STRAIGHT:
                    bent = np.zeros(self.size)
                    slope2 = self._slope_of_bend(values, change, tag_r, tag_j, card_r, card_j)
                    bent[free] = -cho_solve(factor, slope2[free], check_finite=False) / 2
                    lengths = (np.linalg.norm(np.sqrt(diagonal) * step[free]) for step in (bent, change))
                    if next(lengths) < _MOST_BENT * next(lengths):
                        change = change + bent
                trial = self._moved(values, change)
                trial_tag, _, trial_card, _ = self.whitened(trial, False)
                trial_cost = self._cost(trial, trial_tag, trial_card)
                if np.isfinite(trial_cost) and trial_cost <= cost:
                    accepted = True
                    break
                damping *= 10
            if not accepted:
                break
            gained = cost - trial_cost
            values, cost = trial, trial_cost
            damping = max(damping / 10, 1e-10)
            tag_r, tag_j, card_r, card_j = self.whitened(values, True)
            if gained < tolerance * max(cost, 1.0):
                break
        return Solution(self, values, cost, rounds, tag_r, card_r)
