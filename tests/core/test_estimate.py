"""Estimates against the package ``uncertainties`` (an independent implementation of JCGM 100), and by
sampling."""

import math

import numpy as np
import pytest
from uncertainties import correlated_values, umath

from calib.differences import jacobian
from photoangle.core.agreement import e_n, e_n_of
from photoangle.core.estimate import MOST_DOF, Estimate, Source, added

ROOM = np.array([[0.04, 0.01, 0.0], [0.01, 0.09, -0.02], [0.0, -0.02, 0.16]])


@pytest.fixture
def pair():
    """Three lengths with a covariance of their own, and two readings that share a scale with them."""
    own = Source(("own",), "own", ROOM)
    scale = Source(("scale",), "scale", np.array([[0.01**2]]))
    lengths = Estimate.stated(("a", "b", "c"), [30.0, 40.0, 60.0],
                              own).also(scale, np.array([[30.0], [40.0], [60.0]]))
    rule = Source(("rule",), "rule", np.eye(2) * 0.25**2, dof=8)
    readings = Estimate.stated(("d", "e"), [31.0, 59.0], rule).also(scale, np.array([[31.0], [59.0]]))
    return lengths, readings


def reference(*estimates):
    """The same as correlated numbers of the reference package."""
    whole = estimates[0].join(*estimates[1:])
    return correlated_values(whole.values, whole.covariance())


def triangle(v):
    """Angle opposite c, and perimeter: functions that bend."""
    a, b, c = v[:3]
    return np.array([math.acos((a * a + b * b - c * c) / (2 * a * b)), a + b + c])


def test_a_mapped_estimate_is_the_reference_packages(pair):
    a, b, c, *_ = reference(*pair)
    angle = umath.acos((a * a + b * b - c * c) / (2 * a * b))
    mapped = pair[0].map(triangle, ("angle", "perimeter"), 1e-4)
    assert mapped.values[0] == pytest.approx(angle.n, abs=1e-12)
    assert mapped.u("angle") == pytest.approx(angle.s, rel=1e-7)
    assert mapped.u("perimeter") == pytest.approx((a + b + c).s, rel=1e-9)


def test_what_two_estimates_share_cancels_in_their_difference(pair):
    lengths, readings = pair
    a, _, c, d, e = reference(lengths, readings)
    difference = readings.minus(lengths.pick(("a", "c")).named(("d", "e")))
    assert difference.u("d") == pytest.approx((d - a).s, rel=1e-9) and difference.u("e") == pytest.approx(
        (e - c).s, rel=1e-9)
    # a millimetre of scale on 31 and on 30 is all but the same millimetre
    assert difference.budget("d").get("scale", 0.0) < 0.002
    assert readings.minus(readings).u("d") == 0
    total = added(readings, readings, readings)
    assert total.u("e") == pytest.approx((e + e + e).s, rel=1e-9)


def test_joining_keeps_correlation_and_picking_keeps_order(pair):
    whole = pair[0].join(pair[1])
    again = whole.pick(("e", "a"))
    here = [whole.names.index(n) for n in ("e", "a")]
    assert np.allclose(again.covariance(), whole.covariance()[np.ix_(here, here)], rtol=1e-12)
    assert again.covariance()[0, 1] == pytest.approx(59 * 30 * 1e-4)
    with pytest.raises(KeyError):
        whole.pick(("z",))
    with pytest.raises(ValueError):
        whole.join(pair[0])
    with pytest.raises(ValueError):
        pair[0].minus(pair[1])


def test_budget_and_degrees_of_freedom():
    scatter = Source("scatter", "scatter", np.array([[3.0**2]]), dof=5)
    stated = Source("stated", "stated", np.array([[4.0**2]]))
    value = Estimate.stated(("x",), [0.0], scatter).also(stated, np.eye(1))
    assert value.u("x") == pytest.approx(5.0)
    assert value.budget("x") == pytest.approx({"stated": 16 / 25, "scatter": 9 / 25})
    # JCGM 100, G.2b: 5^4 / (3^4 / 5)
    assert value.dof("x") == pytest.approx(5.0**4 / (3.0**4 / 5))


def test_the_end_gauge_of_jcgm_100_h1():
    """JCGM 100, H.1: u_c of the length and its effective degrees of freedom (H.1.6: 32 nm, 16), in nm."""
    rows = [("standard", 25.0, 18), ("difference", 9.7, 25.6), ("expansion", 2.9, 50),
            ("temperature", 16.6, 2)]
    parts = [
        Estimate.stated(("l",), [0.0], Source(name, name, np.array([[u * u]]), dof)) for name, u, dof in rows
    ]
    total = added(*parts)
    assert total.u("l") == pytest.approx(31.7, abs=0.05) and round(total.u("l")) == 32
    assert int(total.dof("l")) == 16


def test_errors_that_come_to_one_key_are_one_error(pair):
    two = pair[1].rekeyed(lambda s: Source("one", s.title, np.eye(1) * 0.1**2) if s.key == ("scale",) else s)
    assert {s.key for s in two.effects} == {"one", ("rule",)}
    apart = Estimate.stated(("x",), [1.0], Source(
        ("left",), "place", np.eye(1))).also(Source(("right",), "place", np.eye(1)), -np.eye(1))
    assert apart.u("x") == pytest.approx(math.sqrt(2))
    merged = apart.rekeyed(lambda s: Source("same", s.title, s.covariance))
    assert merged.u("x") == 0
    with pytest.raises(ValueError):
        pair[0].join(Estimate.stated(("x", "y"), [0, 0], Source(("own",), "own", np.eye(2))))


def test_the_covariance_by_sampling(pair):
    whole = pair[0].join(pair[1])
    rng = np.random.default_rng(3)
    count = 40_000
    samples = np.tile(whole.values, (count, 1))
    for source, effect in whole.effects.items():
        samples += rng.multivariate_normal(np.zeros(effect.shape[1]), source.covariance, count) @ effect.T
    # principal axes rather than elements; a variance of 40,000 samples is uncertain by 0.7 %
    values, vectors = np.linalg.eigh(whole.covariance())
    assert np.allclose(np.var(samples @ vectors, axis=0) / values, 1, atol=4 * 0.007)


def test_differences_skip_what_does_not_vary():
    got = jacobian(lambda v: np.array([v[0] ** 2 * v[1], math.sin(v[1])]), np.array([3.0, 0.5]), [1e-4, 0])
    assert np.allclose(got, [[2 * 3 * 0.5, 0], [0, 0]], atol=1e-8)
    assert jacobian(lambda v: v, np.zeros(2), 0).tolist() == [[0, 0], [0, 0]]


def test_e_n():
    # ISO 13528: difference over the root sum of squares of the expanded uncertainties, k = 2
    assert e_n(10 - 7.0, math.hypot(1.0, 0.5)) == pytest.approx(3 / math.hypot(2.0, 1.0))
    assert e_n(0.0, 0.0) == 0 and e_n(1.0, 0.0) == math.inf
    shared = Source("shared", "shared", np.eye(1))
    own = Source("own", "own", np.eye(1) * 0.01)
    one = Estimate.stated(("x",), [5.0], shared)
    assert e_n_of(one.also(own, np.eye(1)), one) == 0.0
    other = Estimate(("x",), np.array([4.0]), one.effects).also(own, np.eye(1))
    assert e_n_of(one, other) == pytest.approx(1 / (2 * 0.1))


def test_two_errors_of_one_title_are_one_line_of_the_budget():
    """Without any error there is a covariance all the same; shares under a thousandth are left out."""
    pixels, more, little = (Source((k,), title, np.eye(1) * v) for k, title, v in
                            (("a", "pixels", 3.0), ("b", "pixels", 1.0), ("c", "print", 1e-4)))
    value = Estimate.stated(("x",), [2.0], pixels).also(more, np.ones((1, 1))).also(little, np.ones((1, 1)))
    assert value.covariances()["pixels"][0, 0] == pytest.approx(4.0)
    assert value.u("x") == pytest.approx(2.0, rel=1e-4)
    assert set(value.budget("x")) == {"pixels"}
    assert value.dof("x") == MOST_DOF
    assert Estimate.stated(("x", "y"), [1.0, 2.0]).covariance().shape == (2, 2)
