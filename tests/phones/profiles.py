"""Is a learnt lens as good as it says?

    python -m tests.phones.profiles --phones 40

Ten photos of the card by phones as they are; over the picture the error of the learnt lens that no photo's pose
can hide, over its stated standard uncertainty.
"""

from __future__ import annotations

import argparse

import numpy as np

from calib.calibrate import projection_sigma
from calib.lens import BROWN, SPLINE_SIZE, project, unproject
from tests.phones.sightings import HEIGHT, WIDTH, phone, profile_of

_GRID = (9, 7)


def whole_lens(lens):
    """A lens with the spline's terms, which are nought where it has none."""
    return np.r_[lens, np.zeros(BROWN + SPLINE_SIZE - len(lens))]


def unhidden_px(true, learnt, moving, size=(WIDTH, HEIGHT)):
    """Error (rows, columns) px of a learnt lens that a turn of the camera (and, moving, a focal length and a
    principal point of its own) cannot hide: as `calib.calibrate.projection_sigma` takes them out."""
    width, height = size
    u, v = np.linspace(0, width - 1, _GRID[0]), np.linspace(0, height - 1, _GRID[1])
    pixels = np.stack(np.meshgrid(u, v), -1).reshape(-1, 2)
    away = np.c_[unproject(pixels, learnt), np.ones(len(pixels))]
    error = (project(away, whole_lens(true)) - pixels).ravel()
    columns = []
    for axis in range(3):
        w = np.zeros(3)
        w[axis] = 1e-6
        columns.append(((project(away + np.cross(w, away), learnt) - project(away, learnt)) / 1e-6).ravel())
    if moving:
        for k, step in ((0, 1e-2), (2, 1e-2), (3, 1e-2)):
            other = learnt.copy()
            other[k] += step
            columns.append(((project(away, other) - project(away, learnt)) / step).ravel())
    hidden = np.stack(columns, -1)
    weight = np.repeat(np.exp(-0.5 * (((pixels - [width / 2, height / 2]) / [width / 2, height / 2])**2).sum(1)), 2)
    fit = np.linalg.lstsq(hidden * weight[:, None], error * weight, rcond=None)[0]
    left = (error - hidden @ fit).reshape(-1, 2)
    return np.sqrt((left**2).mean(1)).reshape(_GRID[1], _GRID[0])


def run(phones, seed=3):
    """(error px, stated px), each (phones, rows, columns)."""
    errors, stated = [], []
    for k in range(phones):
        rng = np.random.default_rng([seed, k])
        used = phone(rng)
        profile = profile_of(used, rng)
        moving = profile.shift_sigma is not None
        errors.append(unhidden_px(used.lens, profile.lens, moving))
        stated.append(projection_sigma(profile.lens, profile.covariance, WIDTH, HEIGHT, _GRID, moving))
    return np.array(errors), np.array(stated)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--phones", type=int, default=20)
    parser.add_argument("--seed", type=int, default=3)
    given = parser.parse_args()
    errors, stated = run(given.phones, given.seed)
    z = errors / stated
    inner = (slice(None), slice(1, -1), slice(1, -1))
    for name, at in (("whole picture", slice(None)), ("without its rim", inner)):
        print(f"{name:16s} error {np.sqrt(np.mean(errors[at]**2)):.3f} px, stated {np.sqrt(np.mean(stated[at]**2)):.3f}"
              f" px, z {np.sqrt(np.mean(z[at]**2)):.2f}; by phone, median {np.median(np.sqrt((z[at]**2).mean((1, 2)))):.2f}")


if __name__ == "__main__":
    main()
