"""One-way tables against certified values, scipy and statsmodels' mixed model in spirit: by hand."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from qc.stats.errors import StatisticsError
from qc.stats.samples.anova import anova_row, one_way_anova

PUBLISHED = Path(__file__).parents[2] / "published"
E1 = json.loads((PUBLISHED / "gauge_studies.json").read_text("utf-8"))["E1"]
B14 = json.loads((PUBLISHED / "capability_checks.json").read_text("utf-8"))["B14"]


def test_silicon_resistivity_is_certified():
    """E1, NIST StRD SiRstv: certified to 13 digits, with an offset of 196 that costs careless sums digits."""
    found = one_way_anova(E1["data"])
    between, within, _ = found.rows
    certified = E1["published"]
    assert (between.df, within.df) == (4, 20)
    assert between.ss == pytest.approx(certified["SSB"], rel=1e-10)
    assert between.ms == pytest.approx(certified["MSB"], rel=1e-10)
    assert within.ss == pytest.approx(certified["SSW"], rel=1e-10)
    assert between.f == pytest.approx(certified["F"], rel=1e-10)
    assert found.r_squared == pytest.approx(certified["R2"], rel=1e-10)
    assert found.within_sd == pytest.approx(certified["resid_sd"], rel=1e-10)
    assert between.p_value == pytest.approx(E1["recomputed"]["p"], rel=1e-10)
    assert found.between_variance == pytest.approx(E1["recomputed"]["instrument_variance"], rel=1e-9)


def test_gears():
    """B14, NIST 1.3.5.4."""
    found = one_way_anova(B14["data"]["rows"])
    between, within, total = found.rows
    assert between.ss == pytest.approx(B14["published"]["SSB"], abs=5e-7)
    assert within.ss == pytest.approx(B14["published"]["SSW"], abs=5e-7)
    assert total.ss == pytest.approx(B14["published"]["SST"], abs=5e-7)
    assert between.f == pytest.approx(B14["recomputed"]["F"], rel=1e-10)
    assert between.p_value == pytest.approx(B14["published"]["p"], abs=5e-5)
    assert found.within_sd == pytest.approx(B14["published"]["resid_sd"], abs=5e-10)
    assert found.between_variance == pytest.approx(B14["recomputed"]["var_between_component"], rel=1e-9)


@settings(max_examples=50, deadline=None)
@given(
    st.lists(st.lists(st.integers(-99, 99), min_size=2, max_size=6), min_size=2, max_size=5),
    st.integers(-1000, 1000), st.randoms(use_true_random=False),
)  # fmt: skip
def test_agrees_with_scipy_and_does_not_feel_shift_or_order(groups, shift, random):
    moved = [[x + shift for x in random.sample(g, len(g))] for g in groups]
    found = one_way_anova(moved)
    if found.rows[1].ss < 1e-9:
        assert found.rows[0].f is None or found.rows[0].f > 1e6
        return
    f, p = stats.f_oneway(*groups)
    assert found.rows[0].f == pytest.approx(f, rel=1e-8, abs=1e-12)
    if f > 1e-9:  # scipy gives no p-value where all means are equal
        assert found.rows[0].p_value == pytest.approx(p, rel=1e-7, abs=1e-12)


def test_component_of_unequal_groups_is_unbiased():
    """Mean over 3,000 sets of groups of 2, 3 and 7: within 4 standard errors of the true 2.0."""
    rng = np.random.default_rng(3)
    draws = [
        one_way_anova(
            [rng.normal(2**0.5 * rng.standard_normal(), 1.0, n) for n in (2, 3, 7)]
        ).between_variance
        for _ in range(3000)
    ]
    assert np.mean(draws) == pytest.approx(2.0, abs=4 * np.std(draws) / 3000**0.5)


def test_no_error_leaves_no_test():
    row = anova_row("part", 2, 8.0, 0.0, 10)
    assert row.f is None and row.p_value is None
    assert row.to_dict() == {"source": "part", "df": 2, "ss": 8.0, "ms": 4.0, "f": None, "p_value": None}
    assert one_way_anova([[1.0, 1.0], [1.0, 1.0]]).r_squared == 0.0


@pytest.mark.parametrize(
    "groups, said",
    [([[1.0, 2.0]], "1 groups given"), ([[1.0], [2.0]], "no group holds two"), ([[1.0, 2.0], []], "group 2")],
)
def test_bad_questions_are_named(groups, said):
    with pytest.raises(StatisticsError, match=said):
        one_way_anova(groups)
