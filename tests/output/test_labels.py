"""Labels in pictures: over nothing else, as near as can be, with a leader where they had to move."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from photoangle.output.drawn.labels import Labels, leader


def overlap(a, b):
    return min(a[2], b[2]) > max(a[0], b[0]) and min(a[3], b[3]) > max(a[1], b[1])


@given(st.lists(st.tuples(st.integers(100, 880), st.integers(100, 640)), min_size=1, max_size=14, unique=True))
def test_labels_cover_no_tag_and_no_label(places):
    labels = Labels((1000, 750))
    tags = [(x, y, x + 30.0, y + 30.0) for x, y in places]
    for tag in tags:
        labels.keep_off(tag)
    boxes = [labels.place(tag, 70, 18) for tag in tags]
    for k, box in enumerate(boxes):
        assert box[0] >= 0 and box[2] <= 1000 and box[1] >= 0 and box[3] <= 750
        assert not any(overlap(box, tag) for tag in tags)
        assert not any(overlap(box, other) for other in boxes[:k])


def test_the_first_choice_is_beside_it_on_the_right():
    labels = Labels((1000, 750))
    box = labels.place((100.0, 100.0, 130.0, 130.0), 60, 20)
    assert 130 < box[0] < 140 and abs((box[1] + box[3]) / 2 - 115) < 1


def test_a_line_is_kept_off():
    labels = Labels((1000, 750))
    labels.keep_off_line(np.array([140.0, 60.0]), np.array([140.0, 170.0]), 8)
    box = labels.place((100.0, 100.0, 130.0, 130.0), 60, 20)
    assert box[2] < 136 or box[0] > 144


def test_a_leader_is_the_shortest_way():
    a, b = leader((200, 100, 260, 120), (100, 100, 130, 130))
    assert np.hypot(*(b - a)) == 70.0 or abs(np.hypot(*(b - a)) - 70.0) < 1.0
