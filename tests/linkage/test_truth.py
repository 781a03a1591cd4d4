"""Stated intervals against the truth, over random corners of fixed seeds; and the closure against one-by-one
solving."""


from tests.linkage.bench import closure_speed, coverage_of_motion, coverage_of_travel


def test_intervals_carried_to_ride_height_and_over_the_travel_are_true():
    # 40 corners here, 200 in the bench command; 15 quantities a corner share its errors, so that 600
    # intervals count as about 120: sigma 2 of 100
    got = coverage_of_travel(corners=40, samples=600)
    assert 0.90 <= got.share <= 0.99
    assert 0.85 <= got.u_over_error <= 1.2


def test_intervals_of_joints_by_motion_are_true():
    got = coverage_of_motion(corners=40)
    assert 0.90 <= got.share <= 0.99
    assert 0.85 <= got.u_over_error <= 1.2


def test_closed_form_and_root_finder_agree_in_the_bench():
    got = closure_speed(samples=500, subset=400)
    assert got.worst_rad < 1e-9
