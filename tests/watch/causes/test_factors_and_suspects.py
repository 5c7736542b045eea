from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from qc.plan import Gauge
from qc.watch import Factor, FactorLevels, FactorTable, Points, Question, judge
from qc.watch.causes.suspects import find_suspects

RNG_SEED = 11
FACTORS = FactorLevels()


def shifted(n=40, at=28, size=4.0):
    values = np.random.default_rng(RNG_SEED).standard_normal(n)
    values[at:] += size
    return values


def judged(plan, series, factors):
    stage = plan.stage("tuning")
    question = Question(plan, stage, stage.characteristics[0], "tenor", 1e-5, date(2026, 6, 1))
    return judge(question, Points(series, centered=False), factors)


def by_serial(series, levels):
    return {p.serial: level for p, level in zip(series, levels, strict=True)}


@pytest.fixture
def series(points):
    return points(shifted())


def test_the_tool_changed_at_the_start_is_the_first_suspect(small_plan, series):
    mandrel = Factor("tool", "mandrel")
    people = Factor("person", "tuning")
    factors = FactorLevels(
        {
            mandrel: by_serial(series, ["M-6"] * 28 + ["M-7"] * 12),
            people: by_serial(series, ["AB", "CD"] * 20),
        },
        {mandrel: 0, people: 2},
    )
    signal = judged(small_plan, series, factors).current
    assert signal.start == 29
    assert [s.name for s in signal.suspects] == ["M-7"]
    assert "fitted 20 Feb" in signal.suspects[0].sentence
    assert "tool" not in signal.unchanged and "person" not in signal.unchanged  # who takes turns changes
    assert "Coincides with" in signal.because


def test_people_who_take_turns_are_no_suspects(small_plan, series):
    people = Factor("person", "tuning")
    factors = FactorLevels({people: by_serial(series, ["AB", "CD"] * 20)}, {people: 2})
    signal = judged(small_plan, series, factors).current
    assert signal.suspects == ()
    assert signal.because.startswith("Nothing recorded explains it.")


def test_before_a_lot_was_the_last_one_and_not_the_one_of_most_pieces(small_plan, series):
    lots = ["W-1"] * 6 + ["W-2"] * 16 + ["W-3"] * 6 + ["W-4"] * 12
    lots[25] = ""  # nobody wrote it down
    brass, people = Factor("batch", "brass"), Factor("person", "tuning")
    turns = [*["AB", "AB", "CD"] * 9, "CD", *["EF"] * 12]
    factors = FactorLevels(
        {brass: by_serial(series, lots), people: by_serial(series, turns)}, {brass: 0, people: 2}
    )
    found = {s.name: s.before for s in judged(small_plan, series, factors).current.suspects}
    assert found == {"W-4": "W-3", "EF": "AB"}, "people take turns: of them it is the one with most pieces"


def test_a_change_elsewhere_is_no_suspect(small_plan, series):
    die = Factor("tool", "die")
    factors = FactorLevels({die: by_serial(series, ["D-1"] * 10 + ["D-2"] * 30)}, {die: 0})
    assert judged(small_plan, series, factors).current.suspects == ()


def test_a_later_stage_cannot_be_a_cause(small_plan, series):
    booth = Factor("tool", "booth")
    factors = FactorLevels({booth: by_serial(series, ["B-1"] * 28 + ["B-2"] * 12)}, {booth: 3})
    assert judged(small_plan, series, factors).current.suspects == ()


def test_a_rare_change_outranks_a_frequent_one(small_plan, series):
    rare, frequent = Factor("tool", "mandrel"), Factor("batch", "wire")
    batches = [f"W-{n // 3}" for n in range(28)] + ["W-99"] * 12
    factors = FactorLevels(
        {
            frequent: by_serial(series, batches),
            rare: by_serial(series, ["M-6"] * 28 + ["M-7"] * 12),
        },
        {rare: 0, frequent: 0},
    )
    assert [s.name for s in judged(small_plan, series, factors).current.suspects][0] == "M-7"


def test_missed_morning_checks_are_named(small_plan, points, series, readings, events):
    gauge = Gauge(
        id="BG-1", name="bore gauge", gauge_class="bore gauge", resolution=0.001, unit="mm", daily_check=True
    )
    plan = small_plan.model_copy(update={"gauges": (gauge,)})
    rows = [
        {"serial": p.serial, "stage": "slide", "characteristic": "outer_bore", "gauge": "BG-1", "day": p.day}
        for p in series
    ]
    checks = [{"kind": "gauge-check", "subject": "BG-1", "day": p.day, "value": 0.0} for p in series[:28]]
    factors = FactorTable(readings(rows), plan).factors(events(checks))
    stage = plan.stage("tuning")
    question = Question(plan, stage, stage.characteristics[0], "tenor", 1e-5, date(2026, 6, 1))
    signal = judge(question, Points(series, centered=False), factors).current
    assert (signal.suspects[0].kind, signal.suspects[0].name) == ("gauge-check", "BG-1")
    assert "no morning check of bore gauge BG-1 since" in signal.suspects[0].sentence


def test_factors_follow_a_part_into_its_instrument(small_plan, readings, events):
    rows = [
        {"serial": "T-9", "stage": "draw", "characteristic": "od", "tool": "D-1", "batch": "AN-3"},
        {"serial": "S-1", "stage": "slide", "characteristic": "force", "person": "AB"},
    ]
    parts = [
        {"kind": "part", "serial": "S-1", "subject": "T-9", "code": "inner-upper", "day": date(2026, 1, 9)},
        {
            "kind": "part",
            "serial": "S-1",
            "subject": "L-4",
            "code": "leadpipe",
            "batch": "LP-1",
            "day": date(2026, 1, 9),
        },
    ]
    factors = FactorTable(readings(rows), small_plan).factors(events(parts))
    levels = {(f.kind, f.source): factors.levels[f].get("S-1") for f in factors.levels}
    assert levels["batch", "leadpipe"] == "LP-1"
    assert levels["tool", "draw of inner-upper"] == "D-1"
    assert levels["batch", "draw of inner-upper"] == "AN-3"
    assert levels["person", "slide"] == "AB"


def test_no_series_of_coin_tosses_makes_many_suspects(small_plan, points):
    """200 simulated shifts (seed 12) with an unrelated factor changing about every ninth piece.

    A window of the start's set, one or two pieces wide, holds such a change by chance in one or two cases of
    nine; a factor that changes more seldom is blamed more seldom still.
    """
    rng = np.random.default_rng(12)
    batch = Factor("batch", "wire")
    blamed = signals = 0
    for _ in range(200):
        values = rng.standard_normal(40)
        values[28:] += 4.0
        series = points(values)
        levels = np.cumsum(rng.random(40) < 1 / 9)
        factors = FactorLevels({batch: by_serial(series, [f"W-{n}" for n in levels])}, {batch: 0})
        current = judged(small_plan, series, factors).current
        if current is not None and current.start == 29:
            signals += 1
            blamed += bool(current.suspects)
    assert signals > 150
    assert blamed / signals < 0.3


def asked_of(small_plan, series, factors, **told):
    """Suspects of a signal whose start and set are given."""
    signal = judged(small_plan, series, factors).current
    plain = {"kind": "shift", "ended": None} | told
    return find_suspects(series, replace(signal, **plain), factors, small_plan, 2)[0]


def test_of_two_like_changes_the_one_nearer_the_start_comes_first(small_plan, series):
    """Both change three times in all; the set of the start holds one change of each."""
    near, far = Factor("tool", "mandrel"), Factor("tool", "die")
    factors = FactorLevels(
        {
            far: by_serial(series, ["D-1"] * 6 + ["D-2"] * 9 + ["D-3"] * 12 + ["D-4"] * 13),
            near: by_serial(series, ["L-1"] * 6 + ["L-2"] * 9 + ["L-3"] * 13 + ["L-4"] * 12),
        },
        {near: 2, far: 2},
    )
    found = asked_of(small_plan, series, factors, start=29, start_low=26, start_high=31)
    assert found[0].name == "L-4"
    assert all(s.weight < found[0].weight for s in found[1:])


def test_nothing_coincides_with_a_start_that_lies_anywhere(small_plan, series):
    mandrel = Factor("tool", "mandrel")
    factors = FactorLevels({mandrel: by_serial(series, ["M-6"] * 28 + ["M-7"] * 12)}, {mandrel: 2})
    assert asked_of(small_plan, series, factors, start_low=28, start_high=31)
    assert asked_of(small_plan, series, factors, start_low=5, start_high=31) == ()


def test_a_suspect_begins_within_a_few_days_of_the_set(small_plan, points):
    """The new mandrel is used on two pieces; the first of them comes weeks before the change, or with it."""
    values = shifted(60, 40)
    series = points(values)
    for first, named in ((40, True), (25, False)):
        levels = ["M-6"] * first + ["M-7"] * (60 - first)
        mandrel = Factor("tool", "mandrel")
        factors = FactorLevels({mandrel: by_serial(series, levels)}, {mandrel: 2})
        found = judged(small_plan, series, factors).current.suspects
        assert bool(found) == named
        assert all(abs(s.day - series[40].day).days <= 7 for s in found)


def test_pieces_without_the_figure_accuse_nobody(small_plan, series):
    """A level that stands on no piece of the series is no suspect, whatever it began with elsewhere."""
    mandrel = Factor("tool", "mandrel")
    levels = by_serial(series, ["M-6"] * 40) | {f"X-{n}": "M-7" for n in range(20)}
    factors = FactorLevels({mandrel: levels}, {mandrel: 2})
    assert judged(small_plan, series, factors).current.suspects == ()


def alternating(n=60, at=36, size=3.0, seed=5):
    """Two people in turns of a piece each; those of the second lie apart from a place on."""
    rng = np.random.default_rng(seed)
    people = [str(rng.choice(["AB", "CD"])) for _ in range(n)]
    values = rng.standard_normal(n)
    values += size * np.array([who == "CD" and i >= at for i, who in enumerate(people)])
    return values, people


def test_a_person_whose_own_pieces_are_off_is_named_by_the_readings_own_card(small_plan, points):
    """Somebody else filled another card of the stage, first; he has nothing to do with it."""
    values, people = alternating()
    series = points(values, person=people)
    other = Factor("person", "tuning", "tuning", ("force",))
    factors = FactorLevels({other: by_serial(series, ["EF"] * 60)}, {other: 2})
    (signal,) = judged_all(small_plan, series, factors)
    assert (signal.suspects[0].kind, signal.suspects[0].name) == ("person", "CD")
    assert signal.suspects[0].sentence.startswith("person CD: only those pieces, first on ")
    assert "person" not in signal.unchanged


def test_what_the_own_card_says_takes_the_place_of_the_stage(small_plan, points):
    """The factor of the figure itself is dropped: its points say who, piece by piece."""
    values, people = alternating()
    series = points(values, person=people)
    entered = Factor("person", "tuning", "tuning", ("note",))
    wrong = FactorLevels({entered: by_serial(series, ["AB"] * 60)}, {entered: 2})
    known = wrong.beside(series, small_plan, 2, ("note",))
    assert known.levels[Factor("person", "tuning")] == by_serial(series, people)
    assert entered not in known.levels
    assert entered in wrong.beside(series, small_plan, 2, ("force",)).levels


def test_a_batch_is_named_by_its_begin_and_its_end(small_plan, points):
    """Batches of six change inside nearly every set; the bad one ends where the excursion does."""
    rng = np.random.default_rng(9)
    values = rng.standard_normal(90)
    values[60:66] += 3.0
    batches = [f"W-{n // 6}" for n in range(90)]
    signal = next(s for s in judged_all(small_plan, points(values, batch=batches)) if s.kind == "shift")
    assert [s.name for s in signal.suspects] == ["W-10"]
    lasting = rng.standard_normal(90)
    lasting[61:] += 2.0
    for found in judged_all(small_plan, points(lasting, batch=batches)):
        assert found.suspects == ()


def judged_all(plan, series, factors=FACTORS):
    stage = plan.stage("tuning")
    question = Question(plan, stage, stage.characteristics[0], "tenor", 0.003, date(2026, 6, 1))
    return judge(question, Points(series, centered=False), factors).signals


def test_the_gauge_of_another_figure_is_no_suspect(small_plan, points):
    """A micrometer that came new at another card has not touched what the rule reads."""
    series = points(shifted(), gauge=["RU-1"] * 40)
    other = Factor("gauge-check", "MIC-2")
    factors = FactorLevels({other: by_serial(series, ["checked"] * 28 + ["not checked"] * 12)}, {other: 2})
    signal = judged(small_plan, series, factors).current
    assert signal.suspects == ()
    assert signal.unchanged == ("the same gauge",)  # nobody checked it since


def test_unchanged_needs_nearly_every_piece_recorded(small_plan, points):
    for gaps, said in ((1, True), (4, False)):
        gauges = ["RU-1"] * 40
        for n in range(gaps):
            gauges[20 + 4 * n] = ""
        signal = judged(small_plan, points(shifted(), gauge=gauges), FactorLevels()).current
        assert ("the same gauge" in signal.unchanged) == said


def test_one_piece_apart_is_explained_by_that_piece_alone(small_plan, points):
    values = np.random.default_rng(RNG_SEED).standard_normal(40)
    values[29] += 9.0
    series = points(values)
    tool, batch = Factor("tool", "mandrel"), Factor("batch", "wire")
    factors = FactorLevels(
        {
            tool: by_serial(series, ["M-6"] * 29 + ["M-9"] + ["M-6"] * 10),
            batch: by_serial(series, ["W-1"] * 12 + ["W-2"] * 28),
        },
        {tool: 0, batch: 0},
    )
    single = next(s for s in judged(small_plan, series, factors).signals if s.kind == "single")
    assert (single.start, single.start_low, single.start_high) == (30, 30, 30)
    assert [s.name for s in single.suspects] == ["M-9"]


def test_a_batch_on_record_of_too_few_pieces_is_named_as_not_weighed(small_plan, series):
    batch = Factor("batch", "bell")
    levels = by_serial(series, [""] * 20 + ["B-1"] * 8 + ["B-2"] * 12)
    signal = judged(small_plan, series, FactorLevels({batch: levels}, {batch: 0})).current
    assert signal.suspects == ()
    assert "Bell batch B-2 begins there too, on" in signal.because and "is not weighed" in signal.because
    none = judged(small_plan, series, FactorLevels({batch: by_serial(series, [""] * 40)}, {batch: 0})).current
    assert "not weighed" not in none.because
