"""Average and range by hand: published forms."""

import json
import math
from pathlib import Path

import numpy as np
import pytest

from qc.stats.errors import StatisticsError
from qc.stats.gauges.anova import crossed_design
from qc.stats.gauges.ranges import average_range, one_person_ranges

PUBLISHED = json.loads((Path(__file__).parents[2] / "published/gauge_studies.json").read_text("utf-8"))
E3, E6 = PUBLISHED["E3"], PUBLISHED["E6"]


def test_filled_form():
    """E3: data, averages and ranges read on a filled copy of the trade manual's form; sds from memory."""
    found = average_range(E3["data"]["rows"])
    form = E3["published"]
    assert found.person_means == pytest.approx(form["appraiser_means"], abs=6e-5)
    assert found.person_ranges == pytest.approx(form["range_means"], abs=6e-5)
    assert found.mean_range == pytest.approx(form["Rbar"], abs=6e-5)
    assert found.person_difference == pytest.approx(form["Xdiff"], abs=6e-5)
    assert found.part_range == pytest.approx(form["Rp"], abs=6e-4)
    for ours, theirs in (
        ("repeatability", "EV"),
        ("person", "AV"),
        ("gauge", "GRR"),
        ("part", "PV"),
        ("total", "TV"),
    ):
        assert getattr(found, ours) == pytest.approx(form[theirs], abs=6e-5)
        assert getattr(found, ours) == pytest.approx(E3["recomputed"][theirs], abs=1e-9)
        if ours != "total":
            assert 100 * found.shares[ours] == pytest.approx(form["pct"][theirs], abs=0.011)
    assert found.categories == form["ndc"]
    # the form prints 0.8815 with D4 2.58; with the exact D4 it is 0.880
    assert found.range_limit == pytest.approx(0.8797, abs=5e-4)
    assert set(found.to_dict()["sd"]) == {"repeatability", "person", "gauge", "part", "total"}


def test_one_operator():
    """E6: Montgomery, table 8.6 (from memory): mean 22.3, mean range 1.0, gauge sd 0.887 with d2 1.128."""
    found = one_person_ranges(E6["data"])
    assert found.mean == pytest.approx(E6["published"]["xbarbar"])
    assert found.mean_range == pytest.approx(E6["published"]["Rbar"])
    assert found.gauge_sd == pytest.approx(E6["published"]["sigma_gauge"], abs=1e-3)
    assert found.gauge_sd == pytest.approx(E6["recomputed"]["sigma_gauge"], rel=1e-8)
    assert found.total_sd == pytest.approx(E6["recomputed"]["s_total"], abs=1e-9)
    assert found.part_variance == pytest.approx(E6["recomputed"]["var_product"], rel=1e-8)
    assert found.limits == pytest.approx(E6["recomputed"]["xbar_limits"], abs=1e-7)
    means = np.array(E6["data"]).mean(axis=1)
    assert found.outside == np.sum(np.abs(means - 22.3) > E6["recomputed"]["xbar_limits"][1] - 22.3) >= 10


def test_agrees_with_the_table_of_variance_on_the_average():
    """Second route: over 400 studies the two ways estimate the same sds within 4 standard errors and bias."""
    rng = np.random.default_rng(2)
    ratios = []
    for _ in range(400):
        y = 2 * rng.standard_normal((10, 1, 1)) + rng.standard_normal((10, 3, 3))
        ratios.append(average_range(y).repeatability / math.sqrt(crossed_design(y).raw("repeatability")))
    assert np.mean(ratios) == pytest.approx(1.0, abs=4 * np.std(ratios) / 20 + 0.005)


def test_equal_persons_get_no_negative_variance():
    y = np.array([[[1.0, 3.0], [3.0, 1.0]], [[5.0, 7.0], [7.0, 5.0]]])
    found = average_range(y)
    assert found.person == 0.0 and found.gauge == found.repeatability
    alone = average_range(y[:, :1])
    assert alone.person == 0.0


def test_no_range_at_all():
    found = average_range(np.ones((3, 2, 2)))
    assert found.categories is None and found.shares["gauge"] == 0.0


@pytest.mark.parametrize(
    "call",
    [
        lambda: average_range([[[1.0, 2.0]]]),
        lambda: average_range([[[1.0], [2.0]], [[1.0], [2.0]]]),
        lambda: average_range([[[1.0, 2.0], [1.0]]]),
        lambda: average_range([[[1.0, math.nan]], [[1.0, 2.0]]]),
        lambda: one_person_ranges([[1.0, 2.0]]),
        lambda: one_person_ranges([["a", "b"], ["c", "d"]]),
        lambda: average_range(np.ones((101, 1, 2))),
    ],
)
def test_bad_layouts_are_named(call):
    with pytest.raises(StatisticsError, match="average and range"):
        call()
