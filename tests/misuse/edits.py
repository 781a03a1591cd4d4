"""What an editor, a phone or a screen does to a photo, as a map of its pixels."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from calib.lens import project, unproject
from calib.poses import Pose, rotation_from_vector
from tests.invented_car import HEIGHT, WIDTH, phone

_MIDDLE = np.array([(WIDTH - 1) / 2, (HEIGHT - 1) / 2])


def edited(sighting, change):
    """A Detections whose pixels were moved by change((n, 2) px) -> (n, 2); what left the picture is gone."""
    tags = {}
    for i, tag in sighting.tags.items():
        corners = change(tag.corners_px)
        if _inside(corners).all():
            tags[i] = replace(tag, corners_px=corners)
    card = sighting.card
    if card is not None:
        pixels = change(card.pixels)
        there = _inside(pixels)
        card = replace(card, index=card.index[there], pixels=pixels[there],
                       covariance_px2=card.covariance_px2[there]) if there.sum() > 8 else None
    return replace(sighting, tags=tags, card=card)


def _inside(pixels):
    return ((pixels > 4) & (pixels < [WIDTH - 5, HEIGHT - 5])).all(-1)


def zoomed(factor):
    """The middle of the picture, made as large as the picture again."""
    return lambda px: (px - _MIDDLE) * factor + _MIDDLE


def keystone(share):
    """Upright lines made parallel: the top wider by this share than the bottom."""
    def change(px):
        x, y = ((px - _MIDDLE) / _MIDDLE).T
        w = 1 + share / 2 * y
        return np.stack([x / w, y / w], 1) * _MIDDLE + _MIDDLE
    return change


def squeezed(share):
    """Taller than it was by this share."""
    return lambda px: (px - _MIDDLE) * [1 - share / 2, 1 + share / 2] + _MIDDLE


def straightened(degrees):
    """Turned about its middle, and enlarged so that no corner is empty."""
    a = np.radians(degrees)
    turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]]) * (1 + 1.2 * abs(np.sin(a)))
    return lambda px: (px - _MIDDLE) @ turn.T + _MIDDLE


def corrected():
    """The lens's distortion taken out."""
    lens = phone()[0]
    plain = np.r_[lens[:4], np.zeros(len(lens) - 4)]
    return lambda px: project(np.c_[unproject(px, lens), np.ones(len(px))], plain)


def on_screen(rng, width_mm=480.0):
    """Shown on a screen and photographed from there by the same phone."""
    turn = rotation_from_vector(rng.normal(0, 0.12, 3) * [1, 1, 0.3])
    pose = Pose(turn, np.array([rng.normal(0, 10), rng.normal(0, 10), 0.8 * width_mm * rng.uniform(1.0, 1.15)]))
    lens = phone()[0]
    scale = width_mm / WIDTH
    return lambda px: project(pose.apply(np.c_[(px - _MIDDLE) * scale, np.zeros(len(px))]), lens)
