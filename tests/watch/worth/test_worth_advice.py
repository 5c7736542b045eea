"""Settled figures, the change that breaks a limit, the gauge's part, the advice, the answers to what if."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest
from scipy import stats

from qc.plan import Characteristic, DatedLimits
from qc.stats import d2
from qc.watch import FactorLevels, Point, Points, Question, SeriesKey, judge
from qc.watch.pieces import PartUse
from qc.watch.worth import (
    BenchCost,
    Delay,
    FigureWorth,
    FoundByIt,
    GaugePart,
    SettledState,
    courses_for,
    figures_by_piece,
    gauge_part,
    inside_at,
    one_at_a_time,
    said_by_others,
    seen_within,
    settled_pieces,
    settled_state,
    spread_by_checks,
    weigh,
    worth_cells,
    worth_facts,
)
from qc.watch.worth.advising import advise
from qc.watch.worth.results import BreakingChange, SaidByOthers
from qc.watch.worth.settled import breaking_change
from qc.watch.worth.weighing import left

TODAY = date(2026, 6, 1)
RATE = 0.002
COST = BenchCost(20.0, 40.0, 30.0, True, 1.5)
QUIET = FoundByIt(0, 0, 0, 0.4, 0, 200)
NO_CELLS = pl.DataFrame({"serial": [], "guard": []}, schema={"serial": pl.String, "guard": pl.Float64})


@pytest.fixture
def verdict(small_plan, points):
    """Judge figures of the F wrap (limits 12 to either side), or of another characteristic."""

    def make(values, stage="tuning", place=0, family="tenor", **columns):
        where = small_plan.stage(stage)
        question = Question(small_plan, where, where.characteristics[place], family, RATE, TODAY)
        return judge(question, Points(points(values, **columns), centered=False), FactorLevels())

    return make


# --- what is settled


def test_a_steady_series_is_settled_as_it_stands(verdict, rng):
    found = settled_pieces(verdict(rng.normal(size=40)))
    assert [p.ordinal for p in found] == list(range(1, 41))


def test_a_series_that_moved_is_settled_before(verdict, rng):
    values = rng.normal(size=60)
    values[50:] += 12
    found = settled_pieces(verdict(values))
    assert 46 <= len(found) <= 51 and found[0].ordinal == 1
    state = settled_state(verdict(values), found)
    assert not state.now and state.sd == pytest.approx(1.0, abs=0.35)


def test_a_piece_told_as_single_is_not_settled(verdict, rng):
    values = rng.normal(size=40)
    values[30] = 14.0
    found = verdict(values)
    assert [s.kind for s in found.signals] == ["single"]
    assert 31 not in [p.ordinal for p in settled_pieces(found)]


def test_after_the_change_one_piece_in_twenty_lies_outside(verdict, rng):
    found = verdict(rng.normal(2.0, 2.0, size=80))
    state = settled_state(found, found.points)
    change = breaking_change(found, state)
    assert (change.limit, change.size > 0) == (12, True)  # the nearer one, upwards
    assert stats.norm.sf(12, state.mean + change.size, state.sd) == pytest.approx(0.05, abs=1e-4)
    assert change.size_sigma == pytest.approx(change.size / state.sd)
    lower = breaking_change(replace(found, upper=None), state)
    assert lower.limit == -12 and lower.size < 0
    assert stats.norm.cdf(-12, state.mean + lower.size, state.sd) == pytest.approx(0.05, abs=1e-4)
    assert breaking_change(replace(found, lower=None, upper=None), state).size_sigma == 2.0
    assert breaking_change(replace(found, upper=2.0), state).size == 0


def test_a_count_breaks_its_limit_by_the_poisson_law(verdict, rng):
    found = verdict(rng.poisson(1.0, 60), stage="lacquer", family="all")
    state = settled_state(found, found.points)
    doubled = breaking_change(found, state)
    assert (doubled.size, doubled.limit) == (state.mean, None)
    change = breaking_change(replace(found, upper=4.0), state)
    assert stats.poisson.sf(4, state.mean + change.size) == pytest.approx(0.05)


# --- what is the gauge's


def cells(serials, guard, places=4):
    rows = [(serial, guard) for serial in serials for _ in range(places)]
    return pl.DataFrame(rows, schema={"serial": pl.String, "guard": pl.Float64}, orient="row")


def test_the_gauge_of_a_mean_over_places_is_divided_by_their_number(verdict, rng):
    found = verdict(rng.normal(size=40))
    state = settled_state(found, found.points)
    part = gauge_part(found, state, cells([p.serial for p in found.points], 1.2))  # a spread of 0.6, twice
    assert part.sd == pytest.approx(0.6 / 2)
    assert part.share == pytest.approx(0.09 / state.sd**2)
    unknown = gauge_part(found, state, cells([p.serial for p in found.points], None))
    assert (unknown.sd, unknown.share) == (None, None)


def test_reading_more_often_leaves_what_the_pieces_own_scatter_leaves(rng):
    pieces, readings = rng.normal(0, 0.8, 40_000), rng.normal(0, 0.6, (40_000, 3))
    state = SettledState(100, 0.0, 1.0, TODAY, TODAY, True)
    expected = (pieces + readings.mean(axis=1)).std() / (pieces + readings[:, 0]).std()
    assert left(state, GaugePart(0.6, 0.0, 0.36), 3) == pytest.approx(expected, abs=0.01)


def test_repeats_on_a_coarse_gauge_fall_on_the_same_mark():
    state = SettledState(100, 0.0, 1.0, TODAY, TODAY, True)
    coarse = GaugePart(0.1, 0.5, 0.25)
    assert left(state, coarse, 5) == 1.0 and left(state, coarse, None) == pytest.approx(0.75**0.5)


def test_checks_on_the_master_give_the_spread_though_the_zero_wanders(rng):
    wandering = np.cumsum(rng.normal(0, 0.02, 3000)) + rng.normal(0, 1.0, 3000)
    assert spread_by_checks(wandering.tolist()) == pytest.approx(1.0, rel=0.05)
    assert spread_by_checks([0.0] * 30) is None and d2(2) == pytest.approx(2 / np.pi**0.5)


# --- what others say


def test_parts_and_pieces_speak_for_each_other(verdict, rng):
    bore = rng.normal(size=60)
    tubes = verdict(bore, stage="draw", family="all", serial=[f"T-{n}" for n in range(60)])
    horns = verdict(2 * bore + 0.3 * rng.normal(size=60), serial=[f"H-{n}" for n in range(60)])
    uses = [PartUse(f"T-{n}", f"H-{n}", "outer") for n in range(60)]
    known = figures_by_piece([tubes, horns], uses)
    names = {("draw", "od"): "Tube OD", ("tuning", "wrap"): "F wrap"}
    of_horn = said_by_others(horns.key, horns.points, known, [], names)
    assert of_horn.figures == ("Tube OD (outer)",) and of_horn.share > 0.9
    of_tube = said_by_others(tubes.key, tubes.points, known, [], names)
    assert of_tube.figures == ("F wrap (the piece it went into)",) and of_tube.share > 0.9
    assert said_by_others(horns.key, horns.points, known, [("draw", "od")], names) is None


# --- the advice


def worth(**changes):
    bare = FigureWorth(
        SeriesKey("slide", "force", "all"),
        "Slide: Force",
        "Force",
        "N",
        "measured",
        "steady",
        "proven",
        COST,
        QUIET,
        SettledState(80, 1.0, 0.1, TODAY - timedelta(days=300), TODAY, True),
        BreakingChange(0.3, 3.0, 1.5),
        Delay(2, 2, 2, 400, 60),
        told_every_second=Delay(4, 3, 4, 400, 120),
        gauge=GaugePart(0.05, 0.01, 0.25),
    )
    return replace(bare, **changes)


def late(**changes):
    return worth(told=Delay(12, 11, 13, 400, 60), told_every_second=Delay(24, 22, 26, 400, 120), **changes)


FORETOLD = SaidByOthers(0.95, 0.02, 0.96, 80, ("Clearance", "Play"))
NOT_FALSE = replace(QUIET, signals=2, false=1)
CASES = [
    pytest.param(worth(), "every second piece", "saves 45 min a month", id="soon enough by half"),
    pytest.param(worth(capable="unproven"), "keep", "not proven", id="limits not proven"),
    pytest.param(worth(found=replace(QUIET, outside=3)), "keep", "3 pieces of 200 lay outside", id="outside"),
    pytest.param(worth(found=NOT_FALSE), "keep", "found 1 change in a year", id="found something"),
    pytest.param(
        worth(cost=replace(COST, shared_with=("Play",))),
        "keep",
        "also|readings give Play",
        id="shared readings",
    ),
    pytest.param(
        worth(told_every_second=Delay(9, 8, 9, 400, 120)),
        "keep",
        "it is told after 9 (8 to 9): too late",
        id="half late",
    ),
    pytest.param(worth(behaviour="drifting"), "keep", "It has moved", id="drifting"),
    pytest.param(worth(change=BreakingChange(0.0, 0.0, 1.5)), "keep", "one piece in twenty", id="not kept"),
    pytest.param(worth(told_unchanged=0.4), "keep", "settled figures wander by themselves", id="wanders"),
    pytest.param(worth(others=FORETOLD), "drop", "foretell 95 % of its variance", id="known by others"),
    pytest.param(
        worth(others=replace(FORETOLD, error=0.2)), "every second piece", "", id="hardly known by others"
    ),
    pytest.param(
        worth(others=FORETOLD, found=NOT_FALSE), "keep", "", id="known by others, yet found something"
    ),
    pytest.param(late(told_twice=Delay(8, 7, 9, 400, 60)), "measure twice", "1.5 h more a month", id="twice"),
    pytest.param(
        late(told_twice=Delay(11, 10, 12, 400, 60), told_exactly=Delay(7, 6, 7, 400, 60)),
        "finer gauge",
        "the gauge makes up 25 %",
        id="finer gauge",
    ),
    pytest.param(
        late(told_exactly=Delay(7, 6, 7, 400, 60), gauge=GaugePart(None, 0.05, 0.25)),
        "finer gauge",
        "its steps make up 25 %",
        id="coarse steps",
    ),
    pytest.param(
        late(told_twice=Delay(11, 10, 12, 400, 60), told_exactly=Delay(10, 10, 12, 400, 60)),
        "keep",
        "the scatter is the pieces' own",
        id="nothing at the gauge helps",
    ),
    pytest.param(
        late(gauge=GaugePart(None, 0.0, None)), "keep", "a gauge study tells it", id="gauge not known"
    ),
    pytest.param(
        late(gauge=None, change=BreakingChange(0.5, None, None), kind="count"),
        "keep",
        "A doubled rate",
        id="count",
    ),
    pytest.param(
        worth(told=None, settled=None, not_simulated="3 settled pieces of 20."),
        "too early",
        "of 20",
        id="few",
    ),
]


@pytest.mark.parametrize("weighed, advice, because", CASES)
def test_the_advice_follows_from_its_figures(weighed, advice, because):
    found, said = advise(weighed)
    assert found == advice
    assert any(words in said for words in because.split("|"))


def test_the_delay_is_told_in_days_too():
    assert "is told after 2 pieces, about 3 days." in advise(worth())[1]
    assert "is told after 12 pieces (11 to 13), about 3 weeks." in advise(late(gauge=None))[1]
    slow = late(cost=replace(COST, pieces_a_month=2.0), gauge=None)
    assert "is told after 12 pieces (11 to 13), about 6 months." in advise(slow)[1]


# --- one series weighed


def weighed(found, **more):
    given = {"cost": COST, "found": QUIET, "cells": NO_CELLS, "others": None, **more}
    return weigh(found, settled_pieces(found), RATE, **given)


def test_a_series_of_19_pieces_is_too_early(verdict, rng):
    found = weighed(verdict(rng.normal(size=19)))
    assert (found.advice, found.told) == ("too early", None)
    assert found.because == "19 settled pieces of 20: measure every piece until then."


def test_a_series_is_weighed_whole(verdict, rng):
    series = verdict(rng.normal(0, 3.0, size=60))
    serials = [p.serial for p in series.points]
    found = weighed(series, cells=cells(serials, 4.0, places=1))  # the gauge scatters by 2, the pieces by 3
    assert found.gauge.share == pytest.approx(4 / found.settled.sd**2)
    assert found.told_exactly.pieces < found.told_twice.pieces <= found.told.pieces
    assert found.told_every_second.pieces == pytest.approx(2 * found.told.pieces, abs=1)
    plain = found.to_dict()
    assert (plain["stage"], plain["characteristic"], plain["family"]) == ("tuning", "wrap", "tenor")
    assert plain["told"]["pieces"] == found.told.pieces and plain["settled"]["first"] == "2026-01-06"
    assert (
        worth_cells(found)[1] == "1.5 h" and dict(worth_facts(found))["Readings"] == "40 a month on 20 pieces"
    )


def test_settled_figures_that_wander_are_told_without_a_change(verdict, rng):
    still = weighed(verdict(rng.normal(size=60)))
    assert still.told_unchanged < 0.1
    # levels that stay for as long as the runs that are drawn
    wandering = np.repeat([0.0, 1.5, 0.0, 1.5], 10) + 0.3 * rng.normal(size=40)
    series = replace(verdict(rng.normal(size=40)), lower=None, upper=3.0)
    points = tuple(replace(p, value=v) for p, v in zip(series.points, wandering, strict=True))
    found = weigh(series, points, RATE, cost=COST, found=QUIET, cells=NO_CELLS, others=None)
    assert found.told_unchanged > 0.2 and "wander" in found.because


def test_what_wears_is_left_to_its_forecast(verdict, rng):
    columns = {"tool": ["die"] * 40, "tool_count": list(range(1, 41))}
    series = verdict(
        0.01 * np.arange(40) + 0.002 * rng.normal(size=40), stage="draw", family="all", **columns
    )
    found = weighed(series)
    assert found.told is None and "qc wear" in found.because


def test_counts_without_a_fault_have_no_rate_to_double(verdict):
    found = weighed(verdict([0] * 30, stage="lacquer", family="all"))
    assert found.told is None and "no rate that could be doubled" in found.because


# --- what if


def asked(verdict, values, sd, see, within):
    series = verdict(values)
    settled = settled_pieces(series)
    state = settled_state(series, settled)
    share = None if sd is None else sd**2 / state.sd**2
    courses = courses_for(series, settled, RATE)
    return seen_within(state, courses, GaugePart(sd, 0.0, share), "mm", see, within), courses, state


@pytest.mark.slow
def test_reading_three_times_is_advised_where_it_is_enough(verdict, rng):
    values = rng.normal(size=120)
    now, courses, state = asked(verdict, values, None, 1.0, 5)
    share = (
        1 - (1.0 / now.seen_now) ** 2
    )  # the gauge's part of the variance of which 3 readings leave a third
    found, _, _ = asked(verdict, values, (1.5 * share) ** 0.5 * state.sd * 1.001, 1.0, 5)
    assert found.readings == 3 and "read it 3 times" in found.sentence
    # by simulation: with what then is left of the scatter, half of the courses tell the change in time
    assert (courses.told(state.sd, scatter=1 / now.seen_now, within=5) > 0).mean() >= 0.5


@pytest.mark.slow
def test_what_is_seen_already_needs_no_more_readings(verdict, rng):
    found, _, _ = asked(verdict, rng.normal(size=60), None, 4.0, 5)
    assert found.readings == 1 and "measure as now" in found.sentence


@pytest.mark.slow
def test_where_the_pieces_scatter_no_number_of_readings_helps(verdict, rng):
    found, _, _ = asked(verdict, rng.normal(size=60), 0.1, 0.5, 3)
    assert found.readings is None and "not to be had by reading more often" in found.sentence
    unknown, _, _ = asked(verdict, rng.normal(size=60), None, 0.5, 3)
    assert unknown.readings is None and "a gauge study tells it" in unknown.sentence


@pytest.fixture
def lacquered(small_plan, readings):
    """Return a plan with spots of lacquer, readings and the series: ten pieces, of which three are thin."""
    spots = Characteristic(
        id="thickness",
        name="Thickness",
        unit="um",
        places={"spot": ("1", "2")},
        limits=(DatedLimits(lower=10.0),),
        pool="all",
    )
    stage = small_plan.stage("lacquer").model_copy(update={"characteristics": (spots,)})
    plan = small_plan.model_copy(update={"stages": (stage,)})
    rows = []
    for piece in range(10):
        for spot in ("1", "2"):
            thin = {0: 9.0, 1: 10.5, 2: 10.8}.get(piece, 15.0) if spot == "2" else 16.0
            own = {
                "serial": f"S-{piece}",
                "model": "tenor",
                "stage": "lacquer",
                "characteristic": "thickness",
            }
            rows.append(
                {**own, "spot": spot, "value": thin, "unit": "um", "day": TODAY - timedelta(days=piece)}
            )
    series = [Point(n + 1, f"S-{n}", TODAY, "tenor", 14.0, 14.0) for n in range(10)]
    found = judge(
        Question(plan, stage, spots, "all", RATE, TODAY), Points(tuple(series), False), FactorLevels()
    )
    return plan, stage, spots, found, readings(rows)


def test_pieces_are_counted_by_their_worst_place(lacquered):
    plan, stage, spots, series, rows = lacquered
    found = inside_at(rows, plan, stage, spots, series, 11.0, TODAY)
    assert (found.side, found.inside, found.of, found.inside_now) == ("lower", 7, 10, 9)
    exact = stats.binomtest(7, 10).proportion_ci(0.95, "exact")
    assert (found.low, found.high) == pytest.approx((exact.low, exact.high))
    assert found.sentence.startswith("Of the last 10 pieces, 7 are inside at a limit of 11 µm at every place")


def test_where_the_mean_decides_it_is_counted(lacquered):
    plan, stage, spots, series, rows = lacquered
    mean = spots.model_copy(update={"decides": "mean"})
    assert inside_at(rows, plan, stage, mean, series, 11.0, TODAY).inside == 10


def test_models_of_several_targets_are_counted_from_their_own(lacquered):
    plan, stage, spots, series, rows = lacquered
    targets = (DatedLimits(models=("tenor",), target=15.0), DatedLimits(models=("alto",), target=11.0))
    both = spots.model_copy(update={"limits": targets})
    found = inside_at(rows, plan, stage, both, replace(series, centered=True, target=0.0), -4.4, TODAY)
    assert (found.side, found.from_target, found.inside) == (
        "lower",
        True,
        8,
    )  # under 15 - 4.4 lie 9.0 and 10.5
    assert "below target" in found.sentence


def test_of_a_series_without_a_piece_nothing_is_counted(lacquered):
    plan, stage, spots, series, rows = lacquered
    assert inside_at(rows, plan, stage, spots, replace(series, points=()), 11.0, TODAY) is None


def test_of_figures_that_foretell_each_other_one_is_left_out(rng):
    """Two that say the same were both to be dropped: then nobody would know either."""
    mass = worth(
        name="Mass",
        title="Stock: Mass",
        advice="drop",
        others=SaidByOthers(0.99, 0.01, 0.99, 150, ("Collar",)),
    )
    collar = replace(
        mass, name="Collar", title="Stock: Collar", others=SaidByOthers(0.99, 0.01, 0.99, 150, ("Mass",))
    )
    apart = replace(
        mass, name="Leak", title="Stock: Leak", others=SaidByOthers(0.9, 0.01, 0.9, 150, ("Force",))
    )
    found = one_at_a_time([mass, collar, apart])
    assert [one.advice for one in found] == ["drop", "keep", "drop"]
    assert "is Stock: Mass, which is to be left out first" in found[1].because
    assert one_at_a_time([collar, mass])[0].advice == "drop"
