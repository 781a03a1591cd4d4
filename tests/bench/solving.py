"""The joint solver beside SciPy and pyceres: the same problem, the same minimum, time as ratios."""

from __future__ import annotations

import time

import numpy as np

from calib.bundle import Bundle
from calib.kit import card_saddles_mm, tag_corners_mm
from calib.lens import project
from calib.poses import Pose, rotation_from_vector
from calib.rows import CardRow, Priors, TagRow, Values
from tests.scenes import KIT, LENS

SIGMA = 0.1


def problem(cameras, tags, seed=0, seen=0.5):
    """A random scene: (bundle with plain squares, start values a little off)."""
    rng = np.random.default_rng(seed)
    saddles = card_saddles_mm(KIT.card)
    reach = 600 if tags < 30 else 1500
    bodies = [Pose.identity()] + [
        Pose(
            rotation_from_vector(rng.normal(0, 0.5, 3)),
            np.array([
                rng.uniform(-reach / 2, reach / 2) + 126,
                rng.uniform(-reach / 2, reach / 2) + 84,
                rng.uniform(-150, 150)
            ])) for _ in range(tags)
    ]
    poses, rows, cards = [], [], []
    for _ in range(cameras):
        aim = np.array([126, 84, 0]) + np.r_[rng.uniform(-reach / 4, reach / 4, 2), 0]
        r = rotation_from_vector(np.r_[rng.uniform(-0.6, 0.6, 2), rng.uniform(-0.5, 0.5)])
        poses.append(Pose(r, np.array([0, 0, rng.uniform(0.8, 1.3) * reach * 1.2]) - r @ aim))
    for c, camera in enumerate(poses):
        for b in range(1, tags + 1):
            if rng.random() < seen or b % cameras == c or (b + 7) % cameras == c:
                px = project(camera.apply(bodies[b].apply(tag_corners_mm(30.0))), LENS)
                rows.append(TagRow(c, b, 30.0, px + rng.normal(0, SIGMA, (4, 2)), np.eye(8) * SIGMA**2))
        if c < 3 or rng.random() < (1.0 if tags < 30 else 0.5):
            px = project(camera.apply(saddles), LENS)
            cards.append(CardRow(c, saddles, px + rng.normal(0, SIGMA, px.shape),
                                 np.tile(np.eye(2) * SIGMA**2, (len(saddles), 1, 1))))
    sigma = np.array([20, 1e-3, 15, 15, 0.02, 0.05, 1e-3, 1e-3, 0.1])
    bundle = Bundle(cameras, tags + 1, rows, cards, Priors(LENS, np.diag(1 / sigma**2)), nu=0.0)
    truth = Values(LENS.copy(), np.zeros(5), np.array([p.rotation for p in poses]),
                   np.array([p.translation_mm for p in poses]), np.zeros((cameras, 3)),
                   np.array([b.rotation for b in bodies]), np.array([b.translation_mm for b in bodies]))
    change = np.zeros(bundle.size)
    turns = np.tile(np.r_[np.full(3, 0.015), np.full(3, 8.0)], cameras + tags)
    change[bundle.common:] = rng.normal(0, 1, bundle.size - bundle.common) * turns
    change[:9] = rng.normal(0, 0.5, 9) * sigma
    return bundle, bundle._moved(truth, change)


def residual_rows(bundle, values, derivatives=True):
    """Whitened residuals (rows,) and dense derivative (rows, size), priors as rows."""
    tag_r, tag_j, card_r, card_j = bundle.whitened(values, derivatives)
    there = bundle.card_there
    lens = np.sqrt(bundle.priors.lens_information.diagonal())
    known = bundle.priors.paper_sigma > 0
    paper = 1 / bundle.priors.paper_sigma[known]
    r = np.concatenate([tag_r.ravel(), card_r[there].ravel(), lens * (values.lens - bundle.priors.lens_mean),
                        paper * (values.paper - bundle.priors.paper_mean)[known]])
    if not derivatives:
        return r, None
    size = bundle.size
    j = np.zeros((len(r), size + 6))
    at = 0
    for group, columns in zip(tag_j, bundle.tag_columns, strict=False):
        j[at:at + 8, columns] = group
        at += 8
    for group, columns, mask in zip(card_j, bundle.card_columns, there, strict=False):
        block = group[mask].reshape(-1, group.shape[-1])
        j[at:at + len(block), columns] = block
        at += len(block)
    n = bundle.lens_size
    j[at + np.arange(n), np.arange(n)] = lens
    j[at + n + np.arange(known.sum()), n + np.flatnonzero(known)] = paper
    return r, j[:, :size]


def with_scipy(bundle, start, sparse):
    """least_squares with analytic derivatives by small turns about the start: (cost, covariance)."""
    from scipy.optimize import least_squares
    from scipy.sparse import csr_matrix

    free = np.flatnonzero(bundle.free)

    def at(x):
        change = np.zeros(bundle.size)
        change[free] = x
        return bundle._moved(start, change)

    # turns are composed once from the start, so the derivative wants the left Jacobian there
    def jacobian(x):
        _, j = residual_rows(bundle, at(x))
        change = np.zeros(bundle.size)
        change[free] = x
        for k in range(bundle.common, bundle.size, 6):
            j[:, k:k + 3] = j[:, k:k + 3] @ _left_jacobian(change[k:k + 3])
        return csr_matrix(j[:, free]) if sparse else j[:, free]

    found = least_squares(lambda x: residual_rows(bundle, at(x), False)[0], np.zeros(len(free)), jacobian,
                          method="trf", x_scale="jac", xtol=1e-12, ftol=1e-10, gtol=1e-12)
    dense = found.jac.toarray() if sparse else found.jac
    return 2 * found.cost, np.linalg.inv(dense.T @ dense)


def _left_jacobian(w):
    angle = np.linalg.norm(w)
    k = np.array([[0, -w[2], w[1]], [w[2], 0, -w[0]], [-w[1], w[0], 0]])
    if angle < 1e-6:
        return np.eye(3) + k / 2
    return np.eye(3) + (1 - np.cos(angle)) / angle**2 * k + (angle - np.sin(angle)) / angle**3 * (k @ k)


def with_pyceres(bundle, start):
    """The same in Ceres, one cost block per photo and marker, derivatives ours: (cost, None)."""
    import pyceres

    class Group(pyceres.CostFunction):
        def __init__(self, kind, index):
            super().__init__()
            self.kind, self.index = kind, index
            self.columns = bundle.tag_columns[index] if kind == "tag" else bundle.card_columns[index]
            self.rows = 8 if kind == "tag" else 2 * int(bundle.card_there[index].sum())
            self.set_num_residuals(self.rows)
            self.set_parameter_block_sizes([bundle.common, 6] + ([6] if kind == "tag" else []))

        def Evaluate(self, parameters, residuals, jacobians):
            camera = (bundle.tag_camera if self.kind == "tag" else bundle.card_camera)[self.index]
            body = bundle.tag_body[self.index] if self.kind == "tag" else 0
            r, j = _one_group(bundle, start, self.kind, self.index, camera, body, parameters, jacobians
                              is not None)
            residuals[:] = r
            if jacobians is not None:
                parts = (j[:, :bundle.common], j[:, bundle.common:bundle.common + 6], j[:, -6:])
                for out, part, x, turn in zip(
                    jacobians, parts, parameters, (False, True, True), strict=False
                ):
                    if out is not None:
                        if turn:
                            part = part.copy()
                            part[:, :3] = part[:, :3] @ _left_jacobian(np.asarray(x[:3]))
                        out[:] = part.ravel()
            return True

    class Prior(pyceres.CostFunction):
        def __init__(self):
            super().__init__()
            self.set_num_residuals(bundle.common)
            self.set_parameter_block_sizes([bundle.common])
            sigma = bundle.priors.paper_sigma
            self.scale = np.r_[np.sqrt(bundle.priors.lens_information.diagonal()),
                               np.where(sigma > 0, 1 / np.where(sigma > 0, sigma, 1), 0)]
            self.offset = np.r_[start.lens - bundle.priors.lens_mean, start.paper - bundle.priors.paper_mean]

        def Evaluate(self, parameters, residuals, jacobians):
            residuals[:] = self.scale * (parameters[0] + self.offset)
            if jacobians is not None and jacobians[0] is not None:
                jacobians[0][:] = np.diag(self.scale).ravel()
            return True

    common = np.zeros(bundle.common)
    cameras = [np.zeros(6) for _ in range(bundle.cameras)]
    bodies = [np.zeros(6) for _ in range(bundle.bodies)]
    problem_ = pyceres.Problem()
    keep = [Prior()]
    problem_.add_residual_block(keep[0], None, [common])
    for k in range(len(bundle.tags)):
        keep.append(Group("tag", k))
        problem_.add_residual_block(keep[-1], None,
                                    [common, cameras[bundle.tag_camera[k]], bodies[bundle.tag_body[k]]])
    for k in range(len(bundle.cards)):
        keep.append(Group("card", k))
        problem_.add_residual_block(keep[-1], None, [common, cameras[bundle.card_camera[k]]])
    options = pyceres.SolverOptions()
    options.linear_solver_type = pyceres.LinearSolverType.SPARSE_SCHUR
    options.function_tolerance = 1e-10
    options.num_threads = 1
    options.minimizer_progress_to_stdout = False
    options.logging_type = pyceres.LoggingType.SILENT
    summary = pyceres.SolverSummary()
    pyceres.solve(options, problem_, summary)
    return 2 * summary.final_cost, None


def _one_group(bundle, start, kind, index, camera, body, parameters, derivatives):
    common = np.asarray(parameters[0])
    n = bundle.lens_size
    c, b = np.asarray(parameters[1]), np.asarray(parameters[2]) if kind == "tag" else np.zeros(6)
    lens, paper = start.lens + common[:n], start.paper + common[n:]
    values = Values(lens, paper, (rotation_from_vector(c[:3]) @ start.camera_rotation[camera])[None],
                    (start.camera_mm[camera] + c[3:])[None], start.shift[camera][None],
                    (rotation_from_vector(b[:3]) @ start.body_rotation[body])[None],
                    (start.body_mm[body] + b[3:])[None])
    zero = np.zeros(1, int)
    if kind == "tag":
        by = np.zeros((1, 4, 3, 5))
        by[..., 0] = bundle.tag_points[index]
        r, j = bundle._group(values, zero, zero, bundle.tag_points[index:index + 1] * (1 + paper[0]),
                             bundle.tag_seen[index:index + 1], by if derivatives else None, derivatives)
        w = bundle.tag_white[index]
        return w @ r.ravel(), (w @ j.reshape(8, -1) if derivatives else None)
    points, by = bundle._shape(bundle.card_points[index:index + 1], paper)
    r, j = bundle._group(values, zero, zero, points, bundle.card_seen[index:index + 1], by, derivatives)
    mask, w = bundle.card_there[index], bundle.card_white[index]
    r = np.einsum("kij,kj->ki", w, r[0])[mask].ravel()
    return r, (np.einsum("kij,kjl->kil", w, j[0])[mask].reshape(len(r), -1) if derivatives else None)


def _timed(function):
    start = time.perf_counter()
    result = function()
    return time.perf_counter() - start, result


def run():
    """Print times with covariance as ratios to ours, the costs' agreement, and how time grows."""
    for cameras, tags, seen in ((6, 12, 0.5), (60, 60, 0.25)):
        bundle, start = problem(cameras, tags, seen=seen)

        def ours(bundle=bundle, start=start):
            solution = bundle.solve(start, tolerance=1e-10)
            return solution.cost, solution.covariance(), solution.rounds

        ours()
        spent = sorted(_timed(ours) for _ in range(3))[1]
        cost, covariance, rounds = spent[1]
        print(
            f"{cameras} photos, {tags} markers, {bundle.rows} rows, {bundle.size} unknowns: ours"
            f" {1e3 * spent[0]:.0f} ms"
            f" with covariance, {rounds} rounds"
        )
        others = {"SciPy, analytic": lambda b=bundle, s=start, sp=tags > 30: with_scipy(b, s, sp)}
        try:
            import pyceres  # noqa: F401

            others["pyceres"] = lambda b=bundle, s=start: with_pyceres(b, s)
        except ImportError:
            pass
        for name, function in others.items():
            try:
                t, (other, other_covariance) = _timed(function)
            except Exception as error:  # an optional library of another version must not stop the bench
                print(f"  {name}: not comparable here ({type(error).__name__}: {error})")
                continue
            line = f"  {name:16s} {t / spent[0]:6.1f} x ours; cost differs by {abs(other - cost) / cost:.1e} relative"
            if other_covariance is not None:
                # the lens's: poses are parametrised otherwise there
                n = bundle.lens_size
                ratio = np.sqrt(covariance.diagonal()[:n] / bundle_scale(bundle, cost) /
                                other_covariance.diagonal()[:n])
                line += f"; the lens's standard deviations {ratio.min():.5f} to {ratio.max():.5f} of its"
            print(line)
    _growth()


def _growth():
    """Time with covariance from the same start distance, and what it grows by for each doubling of the
    photos."""
    print("growth with photos and markers (each marker in about ten photos):")
    last = None
    for cameras, tags in ((6, 12), (20, 30), (60, 60)):
        bundle, start = problem(cameras, tags, seen=min(0.5, 10 / cameras))

        def ours(bundle=bundle, start=start):
            solution = bundle.solve(start, tolerance=1e-10)
            solution.covariance()
            return solution.rounds

        ours()
        spent, rounds = sorted(_timed(ours) for _ in range(3))[1]
        line = (
            f"  {cameras:3d} photos, {tags} markers, {bundle.rows} rows: {1e3 * spent:.0f} ms, {rounds}"
            f" rounds,"
            f" {1e3 * spent / cameras:.1f} ms a photo"
        )
        if last is not None:
            photos, before = cameras / last[0], spent / last[1]
            line += f"; {before:.1f} x the time for {photos:.1f} x the photos: exponent {np.log(before) / np.log(photos):.2f}"
        print(line)
        last = cameras, spent


def bundle_scale(bundle, cost):
    """What `Solution.covariance` multiplied by, for plain squares."""
    priors = bundle.lens_size + int((bundle.priors.paper_sigma > 0).sum())
    dof = max(bundle.rows + priors - int(bundle.free.sum()), 4)
    return max(0.25 if dof >= 40 else 1.0, cost / dof)
