"""Chart constants against printed tables, closed forms, simulation and the defining integrals."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from scipy import integrate, stats

from qc.stats.errors import StatisticsError
from qc.stats.numbers.constants import c4, d2, d3, factors, median_range

PUBLISHED = json.loads((Path(__file__).parents[2] / "published" / "charts_constants.json").read_text("utf-8"))
EXACT = PUBLISHED["A1"]["recomputed"]
OUR_NAMES = {"d4_median_range": "median_range"}
PRINTED = [
    (table, int(n), name, value)
    for table in ("A2", "A4")
    for n, row in PUBLISHED[table]["published"].items()
    for name, value in (row | row.get("extra", {})).items()
    if name != "extra"
]
MISPRINTS = {
    (entry["n"], entry["const"], entry["printed"]): entry["exact"]
    for entry in PUBLISHED["A4"]["recomputed"]["misprints"]
}


@pytest.mark.parametrize("n", sorted(EXACT, key=int))
def test_agrees_with_values_computed_from_the_definition(n):
    found = factors(int(n)).to_dict()
    for name, value in EXACT[n].items():
        assert found[OUR_NAMES.get(name, name)] == pytest.approx(value, abs=6e-9), name


@pytest.mark.parametrize("table, n, name, printed", PRINTED)
def test_printed_tables_agree_to_their_last_digit_or_are_known_misprints(table, n, name, printed):
    exact = getattr(factors(n), name)
    if (n, name, printed) in MISPRINTS:
        assert exact == pytest.approx(MISPRINTS[n, name, printed], abs=1e-6)
        return
    text = f"{printed}"
    digits = len(text.split(".")[1]) if "." in text else 0
    assert exact == pytest.approx(printed, abs=0.5 * 10.0 ** -max(digits, 3) + 1e-9)


def test_the_gross_misprint_at_eleven():
    """One teaching table prints D4(11) as 1.774; the exact value is 1.744 (INDEX of the references, A4)."""
    assert factors(11).D4 == pytest.approx(1.744, abs=5e-4)


def test_closed_forms():
    assert d2(2) == pytest.approx(2 / math.sqrt(math.pi), abs=1e-12)
    assert d3(2) == pytest.approx(math.sqrt(2 - 4 / math.pi), abs=1e-11)
    assert d2(3) == pytest.approx(3 / math.sqrt(math.pi), abs=1e-12)
    assert c4(2) == pytest.approx(math.sqrt(2 / math.pi), abs=1e-14)
    assert c4(3) == pytest.approx(math.sqrt(math.pi) / 2, abs=1e-14)  # T109: 0.8862
    assert median_range(2) == pytest.approx(math.sqrt(2) * stats.norm.ppf(0.75), abs=1e-11)
    assert d2(4) == pytest.approx(2.0588, abs=5e-5)  # T108


@pytest.mark.parametrize("n", [2, 7, 25, 60, 100])
def test_second_route_tippetts_integral(n):
    value = integrate.quad(
        lambda x: 1 - stats.norm.sf(x) ** n - stats.norm.cdf(x) ** n, -12, 12, epsabs=1e-12, limit=300
    )[0]
    assert d2(n) == pytest.approx(value, abs=1e-10)


@pytest.mark.parametrize("n", [2, 5, 12, 100])
def test_simulation_stays_within_four_standard_errors(n):
    sample = np.random.default_rng(n).normal(size=(40_000, n))
    ranges, sds = np.ptp(sample, axis=1), sample.std(axis=1, ddof=1)
    root = math.sqrt(len(ranges))
    assert abs(ranges.mean() - d2(n)) < 4 * d3(n) / root
    assert abs(ranges.std(ddof=1) - d3(n)) < 4 * d3(n) / root
    assert abs(sds.mean() - c4(n)) < 4 * math.sqrt(1 - c4(n) ** 2) / root
    below = np.mean(ranges < median_range(n))
    assert abs(below - 0.5) < 4 * 0.5 / root


def test_grow_with_the_sample():
    every = [factors(n) for n in range(2, 101)]
    for name, sign in (
        ("d2", 1),
        ("c4", 1),
        ("median_range", 1),
        ("A2", -1),
        ("B4", -1),
        ("D4", -1),
        ("d3", -1),
    ):
        steps = np.diff([getattr(row, name) for row in every])
        steps = steps[1:] if name == "d3" else steps  # d3 rises once, from two to three
        assert np.all(sign * steps > 0), name


@pytest.mark.parametrize("n", [1, 0, -3, 101, 2.5, True])
def test_sizes_out_of_range_are_refused(n):
    for function in (d2, d3, c4, median_range, factors):
        with pytest.raises(StatisticsError, match="2 to 100 readings"):
            function(n)
