"""Three-way charts against the gear batches, worked values, simulation and a least-squares library."""

import json
import math
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from qc.stats.charts.measured import individuals, mean_range
from qc.stats.charts.rule_signals import find_signals
from qc.stats.charts.threeway import remove_pattern, three_way, three_way_table
from qc.stats.errors import StatisticsError
from qc.stats.numbers.limits import LimitRule
from qc.stats.numbers.rules import parse_rules
from qc.stats.numbers.setting import Setting

PUBLISHED = Path(__file__).parents[2] / "published"
MEASURED = json.loads((PUBLISHED / "charts_measured.json").read_text("utf-8"))
WORKED = json.loads((PUBLISHED / "charts_worked.json").read_text("utf-8"))
GEAR, EXACT = np.array(MEASURED["gear"]["rows"]), MEASURED["F2"]["recomputed"]
PIECES = [
    [150, 152, 149, 151],
    [158, 157, 160, 157],
    [146, 148, 147, 147],
    [152, 151, 153, 152],
    [144, 146, 145, 145],
    [155, 154, 156, 155],
]  # T095: six instruments, four stations each


@pytest.mark.parametrize("within", ["range", "sd"])
def test_gear_batches(within):
    piece = np.repeat(np.arange(10), 10)
    chart = three_way(GEAR.ravel(), piece, within=within)
    assert chart.center == pytest.approx(EXACT["xbarbar"], abs=1e-12)
    assert (chart.lower, chart.upper) == pytest.approx(EXACT["three_way_limits"], abs=1e-8)
    assert chart.companion.center == pytest.approx(EXACT["MRbar_of_means"], abs=1e-10)
    assert chart.companion.upper == pytest.approx(EXACT["UCL_MR"], abs=1e-8)
    assert chart.sigma == pytest.approx(EXACT["sigma_xbar_from_MR"], abs=1e-9)
    inner = chart.extras["within"]
    limits = EXACT["R_limits"] if within == "range" else EXACT["S_limits"]
    assert (inner["lower"], inner["upper"]) == pytest.approx(limits, abs=1e-8)
    if within == "range":
        sd = chart.extras["sd"]
        assert sd["within"] == pytest.approx(EXACT["sigma_within_R"], abs=1e-8)
        assert sd["between"] == pytest.approx(EXACT["sigma_between"], abs=1e-8)
        assert sd["total"] == pytest.approx(EXACT["sigma_between_wtihin_total"], abs=1e-8)
    table = three_way_table(pl.DataFrame({"value": GEAR.ravel(), "subgroup": piece}))
    assert find_signals(table, parse_rules("limit")) == {}  # while the limits from within flag batch 5


def test_worked_half_widths():
    values, piece = np.ravel(PIECES), np.repeat(np.arange(6), 4)
    chart = three_way(values, piece)
    assert chart.upper - chart.center == pytest.approx(float(WORKED["T095"]["expected"]), abs=0.02)
    trap = mean_range(values, piece)  # what the range within would give
    assert trap.upper - trap.center == pytest.approx(float(WORKED["T096"]["expected"]), abs=0.01)


def test_components_are_recovered():
    rng = np.random.default_rng(1)
    found = []
    for _ in range(120):
        level = np.repeat(rng.normal(0, 3, size=40), 5)
        values = level + rng.normal(0, 1, size=200)
        sd = three_way(values, np.repeat(np.arange(40), 5), within="sd").extras["components"]
        found.append((sd["within"], sd["between"]))
    mean, error = np.mean(found, axis=0), np.std(found, axis=0, ddof=1) / math.sqrt(len(found))
    # the square of an unbiased sigma is a little too large: allow for that share
    assert abs(mean[0] - 1) < 4 * error[0] + 0.01
    assert abs(mean[1] - 9) < 4 * error[1] + 0.4


def test_no_difference_between_pieces_is_floored_and_said():
    values = [1.0, 9.0, 9.1, 1.1, 1.0, 9.0, 8.9, 1.1]
    chart = three_way(values, [1, 1, 2, 2, 3, 3, 4, 4])
    assert chart.extras["components"]["between"] == 0.0
    assert any("set to 0" in warning for warning in chart.warnings)


def test_shared_pattern_is_no_spread():
    rng = np.random.default_rng(2)
    pattern = np.array([-6.0, 0.0, 2.0, 4.0])
    readings = rng.normal(0, 2, size=(12, 1)) + pattern + rng.normal(0, 0.3, size=(12, 4))
    piece, place = np.repeat(np.arange(12), 4), np.tile(["a", "b", "c", "d"], 12)
    plain, clean = three_way(readings.ravel(), piece), three_way(readings.ravel(), piece, place)
    assert plain.extras["sd"]["within"] > 3 and clean.extras["sd"]["within"] < 0.5
    for name, effect in zip("abcd", pattern - pattern.mean(), strict=True):
        assert clean.extras["pattern"][name] == pytest.approx(effect, abs=0.4)
    # a full table: taking the pattern out moves no mean
    np.testing.assert_allclose(plain.values, clean.values, atol=1e-12)


def test_pattern_with_missing_cells_against_least_squares():
    rng = np.random.default_rng(3)
    piece = np.repeat(np.arange(8), 5)
    place = np.tile(np.arange(5), 8)
    values = piece * 1.5 + place**2 + rng.normal(0, 0.2, size=40)
    keep = rng.random(40) > 0.2
    keep &= (np.bincount(piece[keep], minlength=8) > 2)[piece]  # pieces with few places take no part
    found = remove_pattern(values[keep], piece[keep], place[keep])
    assert found.kept.all() and keep.sum() < 40
    present = np.unique(piece[keep])
    dummies = np.zeros((keep.sum(), present.size + 4))
    dummies[np.arange(keep.sum()), np.searchsorted(present, piece[keep])] = 1
    rest = place[keep]
    dummies[np.flatnonzero(rest > 0), present.size - 1 + rest[rest > 0]] = 1
    solved = np.linalg.lstsq(dummies, values[keep], rcond=None)[0]
    effects = np.concatenate([[0], solved[present.size :]])
    np.testing.assert_allclose(list(found.effects.values()), effects - effects.mean(), atol=1e-9)


def test_pieces_with_few_places_give_no_point():
    values = [1.0, 2.0, 3.0, 4.0, 1.2, 2.1, 3.1, 4.2, 9.0]
    piece = ["p"] * 4 + ["q"] * 4 + ["r"]
    place = [1, 2, 3, 4, 1, 2, 3, 4, 1]
    assert remove_pattern(values, piece, place).kept.tolist() == [True] * 8 + [False]
    chart = three_way(values, piece, place)
    assert chart.values.size == 2 and any("left out" in warning for warning in chart.warnings)


def test_limits_for_few_pieces():
    values, piece = np.ravel(PIECES), np.repeat(np.arange(6), 4)
    setting = Setting(limits=LimitRule("guaranteed"))
    means = np.mean(PIECES, axis=1)
    assert three_way(values, piece, setting=setting).upper == pytest.approx(individuals(means, setting).upper)


def test_one_reading_a_piece_has_no_spread_within():
    chart = three_way([1.0, 3.0, 2.0], ["a", "b", "c"])
    assert chart.extras["sd"]["within"] is None
    assert any("no spread within" in warning for warning in chart.warnings)


def test_bad_input():
    with pytest.raises(StatisticsError, match="at least 2 are needed"):
        three_way([1.0, 2.0], ["a", "a"])
    with pytest.raises(StatisticsError, match="every reading needs its piece"):
        three_way([1.0, 2.0], ["a"])
    with pytest.raises(StatisticsError, match="a piece and a place"):
        remove_pattern([1.0, 2.0], ["a", "b"], ["x"])
