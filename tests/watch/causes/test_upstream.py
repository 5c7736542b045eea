import re
from datetime import date

import numpy as np
import polars as pl
import pytest

from qc.plan import Characteristic, DatedLimits, Stage
from qc.watch import FactorLevels, Figure, FigureTable, Points, Question, judge
from qc.watch.causes.upstream import figure_name, find_step

DAY = date(2026, 1, 5)


def noise(n, seed=1):
    return np.random.default_rng(seed).standard_normal(n)


def test_a_step_inside_the_set_is_found_with_place_and_size():
    values = noise(80)
    values[50:] += 3
    step = find_step(values, 48, 52, 80)
    assert step.at == pytest.approx(50, abs=1)
    assert step.size == pytest.approx(3, abs=1)
    assert step.separation > 0.9 and step.rarity < 0.05


def test_a_step_elsewhere_only_reaches_into_the_set():
    values = noise(80)
    values[57:] += 3
    assert find_step(values, 48, 52, 80) is None
    assert find_step(values, 20, 22, 80) is None


def test_gaps_are_stepped_over_and_nothing_known_says_nothing():
    values = noise(80)
    values[50:] += 4
    values[::3] = np.nan
    assert find_step(values, 47, 53, 80) is not None
    assert find_step([np.nan] * 80, 47, 53, 80) is None
    assert find_step([1.0] * 80, 47, 53, 80) is None
    assert find_step([1.0, 2.0], 1, 1, 2) is None


def test_chance_seldom_passes_for_a_step():
    """300 series without any step (seed 4): at most the 5 % asked for, and its simulation error."""
    rng = np.random.default_rng(4)
    hits = sum(find_step(rng.standard_normal(60), 38, 42, 60, 3) is not None for _ in range(300))
    assert hits / 300 < 0.05 + 3 * (0.05 * 0.95 / 300) ** 0.5


def test_the_more_figures_are_compared_the_clearer_a_step_must_be():
    values = noise(80, 8)
    values[50:] += 2
    assert find_step(values, 48, 52, 80, 1) is not None
    assert find_step(values, 48, 52, 80, 10**9) is None


def means(rows):
    schema = {"serial": pl.String, "model": pl.String, "stage": pl.String, "characteristic": pl.String}
    schema |= {"day": pl.Date, "mean": pl.Float64}
    return pl.DataFrame([(*row[:4], DAY, row[4]) for row in rows], schema=schema, orient="row")


def test_figures_of_parts_go_into_their_instrument(small_plan, events):
    parts = events([{"kind": "part", "serial": "S-1", "subject": "T-9", "code": "inner-upper", "day": DAY}])
    rows = [("T-9", "tenor", "draw", "od", 14.9), ("S-1", "tenor", "slide", "force", 3.0)]
    found = FigureTable(means(rows), small_plan).figures(parts, 2)
    assert found[Figure("draw", "od", "inner-upper")].keys() == {"S-1"}
    assert found[Figure("slide", "force")] == {"S-1": 0.0}
    assert Figure("slide", "force") not in FigureTable(means(rows), small_plan).figures(parts, 1)
    assert figure_name(small_plan, Figure("draw", "od"))[1].name == "Tube OD"


def test_models_are_levelled_by_target_or_by_their_own_middle(small_plan, events):
    rows = [("S-1", "tenor", "slide", "force", 3.0), ("S-2", "tenor", "slide", "force", 5.0)]
    rows += [("S-3", "alto", "slide", "force", 9.0)]
    found = FigureTable(means(rows), small_plan).figures(events([]), 2)[Figure("slide", "force")]
    assert found == {"S-1": -1.0, "S-2": 1.0, "S-3": 0.0}
    limits = (DatedLimits(models=("tenor",), target=4.0), DatedLimits(models=("alto",), target=8.0))
    force = Characteristic(id="force", name="Force", unit="N", limits=limits)
    stages = tuple(
        Stage(id=s.id, name=s.name, characteristics=(force,)) if s.id == "slide" else s
        for s in small_plan.stages
    )
    plan = small_plan.model_copy(update={"stages": stages})
    assert FigureTable(means(rows), plan).figures(events([]), 2)[Figure("slide", "force")]["S-3"] == 1.0


def judged(plan, series, factors):
    stage = plan.stage("tuning")
    question = Question(plan, stage, stage.characteristics[0], "tenor", 1e-5, date(2026, 6, 1))
    return judge(question, Points(series, centered=False), factors).current


def test_an_upstream_figure_that_stepped_there_is_a_suspect(small_plan, points):
    values, bore = noise(70, 11), noise(70, 12)
    values[50:] += 5
    bore[50:] += 4
    series = points(values)
    figures = {Figure("slide", "force"): {p.serial: b for p, b in zip(series, bore, strict=True)}}
    signal = judged(small_plan, series, FactorLevels(figures=figures))
    first = signal.suspects[0]
    assert (first.kind, first.name, first.serial) == ("upstream", "force", "S-051")
    assert "force at slide" in first.sentence and "higher on the same pieces since S-051" in first.sentence
    assert "Coincides with force at slide" in signal.because


def test_what_was_measured_earlier_and_did_not_step_is_said(small_plan, points):
    values = noise(70, 11)
    values[50:] += 5
    series = points(values, air_c=list(20 + noise(70, 13)))
    still = {Figure("slide", "force"): {p.serial: b for p, b in zip(series, noise(70, 14), strict=True)}}
    signal = judged(small_plan, series, FactorLevels(figures=still))
    assert signal.suspects == ()
    assert {"air temperature", "earlier figures of the same pieces"} <= set(signal.unchanged)


def test_air_that_turned_warm_is_a_suspect(small_plan, points):
    values, air = noise(70, 11), 20 + 0.5 * noise(70, 15)
    values[50:] += 5
    air[50:] += 3
    signal = judged(small_plan, points(values, air_c=list(air)), FactorLevels())
    assert signal.suspects[0].kind == "air"
    said = re.search(r"the air ([\d.]+) °C warmer", signal.suspects[0].sentence)
    assert float(said[1]) == pytest.approx(3.0, abs=0.5)  # scatter 0.5 °C, twenty pieces since


def test_a_step_found_by_its_jitter_pays_for_the_places_of_the_jitter():
    """Coin-toss figures (seed 6): a step within the jitter of a set of one or two places stays rare."""
    rng = np.random.default_rng(6)
    found = [find_step(rng.standard_normal(80), 48, 49, 80) for _ in range(600)]
    hits = sum(step is not None for step in found)
    assert hits / 600 < 0.05 + 2.6 * (0.05 * 0.95 / 600) ** 0.5
    values = rng.standard_normal(80)
    values[50:] += 4.0
    near, within = find_step(values, 48, 49, 80), find_step(values, 46, 52, 80)
    assert near.at == within.at == 50
    assert near.rarity <= within.rarity
