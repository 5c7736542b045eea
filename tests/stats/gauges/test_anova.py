"""Tables and components of every gauge design against published data, statsmodels and simulation."""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from statsmodels.formula.api import ols

from qc.stats.errors import StatisticsError
from qc.stats.gauges.anova import crossed_design, nested_design, one_person_design

E2 = json.loads((Path(__file__).parents[2] / "published/gauge_studies.json").read_text("utf-8"))["E2"]
Y = np.array(E2["data"]["rows"])  # thermal impedance, Houf and Berman 1988, read in Vidakovic 2011, p. 452
NAMES = {"part": "part", "operator": "person", "interaction": "person_part", "error": "repeatability"}


def test_thermal_impedance_table():
    design = crossed_design(Y)
    for theirs, ours in NAMES.items():
        row = design.row(ours)
        assert row.ss == pytest.approx(E2["published"][f"SS_{theirs}"], abs=0.006)
        assert row.ss == pytest.approx(E2["recomputed"]["SS"][theirs], abs=1e-8)
        assert row.ms == pytest.approx(E2["recomputed"]["MS"][theirs], abs=1e-8)
        if theirs != "error":
            assert row.f == pytest.approx(E2["published"][f"F_{theirs}"], abs=0.006)
            assert row.p_value == pytest.approx(E2["recomputed"]["p"][theirs], rel=1e-8)
    assert [row.df for row in design.rows] == [9, 2, 18, 60, 89]
    assert design.rows[-1].ss == pytest.approx(4054.4, abs=1e-8)


def test_thermal_impedance_components():
    full, pooled = crossed_design(Y), crossed_design(Y, pooled=True)
    for theirs, ours in (
        ("error", "repeatability"),
        ("interaction", "person_part"),
        ("operator", "person"),
        ("part", "part"),
    ):
        expected = E2["recomputed"]["variance_components_full_raw"][theirs]
        assert full.raw(ours) == pytest.approx(expected, abs=1e-8)
        # restricted maximum likelihood agrees for balanced data with components above 0
        short = {"error": "error", "interaction": "po", "operator": "o", "part": "p"}[theirs]
        assert full.raw(ours) == pytest.approx(E2["recomputed"]["mixed_model_REML_check"][short], rel=1e-3)
        if ours != "person_part":
            expected = E2["recomputed"]["variance_components_pooled_raw"][theirs]
            assert pooled.raw(ours) == pytest.approx(expected, abs=1e-8)
    assert full.raw("gauge") == pytest.approx(E2["recomputed"]["summary_full"]["var_grr"], abs=1e-8)
    assert full.raw("total") == pytest.approx(E2["recomputed"]["summary_full"]["var_total"], abs=1e-8)
    assert pooled.raw("gauge") == pytest.approx(E2["recomputed"]["summary_pooled"]["var_grr"], abs=1e-8)
    assert pooled.row("part").f == pytest.approx(E2["recomputed"]["F_pooled"]["part"], rel=1e-10)
    assert pooled.row("person").f == pytest.approx(E2["recomputed"]["F_pooled"]["operator"], rel=1e-10)


def long(readings, names):
    """Readings of a layout as a table with a column for each axis."""
    places = np.indices(readings.shape).reshape(readings.ndim, -1)
    return pd.DataFrame({"y": readings.ravel()} | {n: places[i].astype(str) for i, n in enumerate(names)})


def test_tables_agree_with_statsmodels():
    rng = np.random.default_rng(5)
    y = rng.normal(size=(4, 3, 2)) + rng.normal(size=(4, 1, 1))
    table = sm.stats.anova_lm(ols("y ~ C(a) * C(b)", long(y, ("a", "b", "r"))).fit())
    for theirs, ours in (
        ("C(a)", "part"),
        ("C(b)", "person"),
        ("C(a):C(b)", "person_part"),
        ("Residual", "repeatability"),
    ):
        assert crossed_design(y).row(ours).ss == pytest.approx(table.loc[theirs, "sum_sq"])
    table = sm.stats.anova_lm(ols("y ~ C(a) + C(b)", long(y, ("a", "b", "r"))).fit())
    assert crossed_design(y, pooled=True).row("person").f == pytest.approx(table.loc["C(b)", "F"])
    once = y[:, :, :1]
    table = sm.stats.anova_lm(ols("y ~ C(a) + C(b)", long(once, ("a", "b", "r"))).fit())
    assert crossed_design(once, pooled=True).row("part").p_value == pytest.approx(table.loc["C(a)", "PR(>F)"])
    table = sm.stats.anova_lm(ols("y ~ C(o) + C(o):C(p)", long(y, ("o", "p", "r"))).fit())
    nested = nested_design(y)
    assert nested.row("person").ss == pytest.approx(table.loc["C(o)", "sum_sq"])
    assert nested.row("part").ss == pytest.approx(table.loc["C(o):C(p)", "sum_sq"])
    assert nested.row("part").f == pytest.approx(table.loc["C(o):C(p)", "F"])
    assert nested.row("person").f == pytest.approx(nested.row("person").ms / nested.row("part").ms)
    table = sm.stats.anova_lm(ols("y ~ C(p)", long(y[:, 0, :], ("p", "r"))).fit())
    assert one_person_design(y[:, 0, :]).row("part").f == pytest.approx(table.loc["C(p)", "F"])


@pytest.mark.parametrize("kind", ["crossed", "nested", "once", "one"])
def test_components_are_unbiased(kind):
    """Mean of each component over 2,000 studies: within 4 standard errors of what was put in."""
    rng = np.random.default_rng(len(kind))
    true = {"part": 4.0, "person": 1.0, "person_part": 0.5, "repeatability": 0.25}
    found = {name: [] for name in true}
    for _ in range(2000):
        part = 2.0 * rng.standard_normal((5, 1, 1))
        person = rng.standard_normal((1, 3, 1))
        both = 0.5**0.5 * rng.standard_normal((5, 3, 1))
        error = 0.5 * rng.standard_normal((5, 3, 2))
        if kind == "crossed":
            design = crossed_design(part + person + both + error)
        elif kind == "once":
            design = crossed_design((part + person + error)[:, :, :1], pooled=True)
        elif kind == "one":
            design = one_person_design((part + error)[:, 0, :])
        else:
            own = 2.0 * rng.standard_normal((3, 5, 1))
            design = nested_design(own + person.reshape(3, 1, 1) + error.transpose(1, 0, 2))
        for name in design.weights:
            if name in true:
                found[name].append(design.raw(name))
    for name, draws in found.items():
        if draws:
            assert np.mean(draws) == pytest.approx(true[name], abs=4 * np.std(draws) / len(draws) ** 0.5)


def test_large_offset_costs_no_digits():
    shifted = crossed_design(Y + 1e7)
    for row, plain in zip(shifted.rows, crossed_design(Y).rows, strict=True):
        assert row.ss == pytest.approx(plain.ss, rel=1e-7)


@pytest.mark.parametrize(
    "call",
    [
        lambda: crossed_design(Y[:1]),
        lambda: crossed_design(Y[:, :1]),
        lambda: crossed_design(Y[:, :, :1]),
        lambda: crossed_design(Y[0]),
        lambda: crossed_design(Y[:, :1, :1], pooled=True),
        lambda: nested_design(Y[:1]),
        lambda: one_person_design(Y[:, 0, :1]),
    ],
)
def test_layouts_that_are_too_small_are_named(call):
    with pytest.raises(StatisticsError, match="at least .* is needed"):
        call()
