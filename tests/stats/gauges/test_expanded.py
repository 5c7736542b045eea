"""Expanded uncertainty against the Guide's end-gauge example, limiting cases and simulation."""

import math

import numpy as np
import pytest

from qc.stats import StatisticsError, expanded_uncertainty


def test_end_gauge_of_the_guide():
    """JCGM 100:2008, H.1 (from memory): 32 nm, 16 degrees of freedom, factor 2.92, 93 nm from 32 nm."""
    found = expanded_uncertainty(
        {"standard": (25.0, 18), "comparison": (9.7, 25.6), "expansion": (2.9, 50), "temperature": (16.6, 2)},
        0.99,
    )
    assert round(found.combined) == 32 and math.floor(found.df) == 16
    assert found.factor == pytest.approx(2.92, abs=0.005)
    assert found.factor * round(found.combined) == pytest.approx(93, abs=0.5)
    assert sum(found.shares.values()) == pytest.approx(1.0)


def test_known_components_have_the_normal_factor_and_one_estimated_keeps_its_own():
    known = expanded_uncertainty({"a": 3.0, "b": 4.0})
    assert (known.combined, known.df) == (5.0, math.inf) and known.factor == pytest.approx(1.959964, abs=1e-6)
    one = expanded_uncertainty({"a": (2.0, 9.0)})
    assert one.df == pytest.approx(9.0) and one.factor == pytest.approx(2.262157, abs=1e-6)


def test_the_interval_holds_the_truth_as_often_as_it_says():
    """Two sds estimated from few readings and one known: 4,000 readings, 95 % within 1.5 points."""
    rng = np.random.default_rng(3)
    inside = 0
    for _ in range(4000):
        a, b = 1.0 * np.sqrt(rng.chisquare(8) / 8), 0.7 * np.sqrt(rng.chisquare(12) / 12)
        error = rng.normal(0, 1.0) + rng.normal(0, 0.7) + rng.normal(0, 0.5)
        inside += abs(error) <= expanded_uncertainty({"a": (a, 8), "b": (b, 12), "c": 0.5}).expanded
    assert inside / 4000 == pytest.approx(0.95, abs=0.015)


@pytest.mark.parametrize(
    "components, said",
    [
        ({}, "no component given"),
        ({"a": -1.0}, "expanded uncertainty: a"),
        ({"a": 0.0}, "every component is 0"),
        ({"a": (1.0, 0.5)}, "a has 0.5 degrees of freedom"),
    ],
)
def test_bad_components_are_named(components, said):
    with pytest.raises(StatisticsError, match=said):
        expanded_uncertainty(components)
