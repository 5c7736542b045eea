import math

import numpy as np
import pytest
from scipy import stats

from qc import trade
from qc.trade import Spot, TradeError


def spots(values, area="bell"):
    return [Spot(area, str(index), um) for index, um in enumerate(values)]


def test_readings_become_spots_become_areas():
    readings = [Spot("bell", "1", um) for um in (14, 15, 16)] + [
        Spot("bow", "1", 12.0),
        Spot("bell", "2", 11.0),
    ]
    means = trade.spot_means(readings)
    assert [(s.area, s.spot, s.um, s.readings) for s in means] == [
        ("bell", "1", 15.0, 3),
        ("bow", "1", 12.0, 1),
        ("bell", "2", 11.0, 1),
    ]
    bell, bow = trade.area_thickness(means, 15.0)
    assert (bell.area, bell.n, bell.mean, bell.least, bell.below_nominal) == ("bell", 2, 13.0, 11.0, 1)
    assert bow.n == 1


def test_pieces_are_kept_apart():
    assert len(trade.spot_means([Spot("bell", "1", 14, "A"), Spot("bell", "1", 16, "B")])) == 2


@pytest.mark.parametrize(
    ("values", "failing"),
    [
        ([15.0] * 10, None),
        ([15, 15, 15, 15, 15, 15, 15, 15, 14, 16], None),
        ([14.0] * 10, "mean_reaches_nominal"),
        ([11.9] + [16] * 9, "none_under_80_percent"),
        ([14.9, 14.9] + [16] * 8, "few_below_nominal"),
        ([15] * 9 + [45.1], "none_over_three_nominals"),
    ],
)
def test_house_rule_clause_by_clause(values, failing):
    rule = trade.house_80_20(values, 15.0)
    assert rule.passes is (failing is None)
    if failing:
        assert rule.to_dict()[failing] is False


def test_exactly_a_fifth_below_nominal_fails_and_the_last_bit_does_not_decide():
    assert not trade.house_80_20([14.9] + [16] * 4, 15).few_below_nominal
    assert trade.house_80_20([0.1 + 0.2, 0.3, 0.3], 0.3).passes
    assert trade.house_80_20([12.0] + [16.0] * 9, 15).none_under_80_percent


def test_house_rule_needs_spots():
    with pytest.raises(TradeError):
        trade.house_80_20([], 15)
    with pytest.raises(TradeError):
        trade.house_80_20([15], 0)


@pytest.mark.parametrize("um", [math.nan, math.inf, 2000.0, -50.0])
def test_no_thickness(um):
    with pytest.raises(TradeError, match="no lacquer thickness") as caught:
        trade.spot_means([Spot("bell", "1", 15.0), Spot("bell", "2", um)])
    assert caught.value.index == 1


def test_capability_interval_agrees_with_scipy_and_is_covered():
    """Ends turned back through scipy's noncentral t (the outside witness), then coverage by simulation."""
    for cpl, n in ((0.7368, 15), (1.5, 5), (-0.2, 8), (0.0, 10)):
        low, high = trade.lower_capability_interval(cpl, n)
        root = 3 * math.sqrt(n)
        assert stats.nct.cdf(cpl * root, n - 1, low * root) == pytest.approx(0.975, abs=1e-6)
        assert stats.nct.cdf(cpl * root, n - 1, high * root) == pytest.approx(0.025, abs=1e-6)
        assert low < cpl < high
    rng = np.random.default_rng(3)
    draws = rng.normal(16.0, 2.0, (600, 12))
    true, hits = (16.0 - 12.0) / 6.0, 0
    for row in draws:
        low, high = trade.lower_capability_interval(trade.lower_capability(row, 12.0), 12)
        hits += low <= true <= high
    assert hits / 600 == pytest.approx(0.95, abs=0.027)  # three standard errors of the simulation


def test_no_capability_without_spread():
    with pytest.raises(TradeError, match="without spread"):
        trade.lower_capability([15.0, 15.0], 12)
    with pytest.raises(TradeError):
        trade.lower_capability_interval(1.0, 1)


def test_base_wet_probe_and_defects():
    assert trade.base_drift_um([0.4, 2.0, -0.8]) == pytest.approx(-1.2)
    with pytest.raises(TradeError):
        trade.base_drift_um([])
    with pytest.raises(TradeError):
        trade.dry_from_wet_um(60, 28)
    assert trade.penetration_depth_um(8e6) == pytest.approx(trade.penetration_depth_um(2e6) / 2)
    assert trade.wall_is_thin_for_probe(0.25, 2e6) and not trade.wall_is_thin_for_probe(0.30, 2e6)
    assert trade.defects_per_unit([3], [1.8]) == pytest.approx(3 / 1.8)
    with pytest.raises(TradeError):
        trade.defects_per_unit([3], [])


def test_a_spot_whose_readings_average_the_nominal_is_not_below_it():
    """7.8, 7.8 and 9.3 um have the mean 8.3 um; in binary arithmetic it comes out as 8.299999999999999."""
    readings = [Spot("bell", str(spot), um) for spot in range(5) for um in (7.8, 7.8, 9.3)]
    means = trade.spot_means(readings)
    assert means[0].um < 8.3, "the trap that is set here"
    assert trade.house_80_20([spot.um for spot in means], 8.3).passes
    assert trade.area_thickness(means, 8.3)[0].below_nominal == 0
    assert trade.area_thickness(means, 8.3001)[0].below_nominal == 5
