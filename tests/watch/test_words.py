from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from qc.plan import Characteristic
from qc.stats import capability
from qc.watch import FactorLevels, Points, Question, SignalResult, judge
from qc.watch.words import (
    LEAST_FOR_INDEX,
    STILL_MOVING,
    because_sentence,
    is_few,
    limits_words,
    moved_words,
    pace_words,
    rate_words,
    signal_sentence,
    without_interval,
)

DAY = date(2026, 10, 9)
WRAP = Characteristic(
    id="wrap", name="F wrap", unit="mm", words={"noun": "F wrap", "above": "long", "below": "short"}
)
PLAIN = Characteristic(id="x", name="Mass loss", unit="g")


@pytest.mark.parametrize(
    ("kind", "side", "said"),
    [
        ("shift", "above", "F wrap has come out 23 mm long since S-1 (9 Oct)."),
        ("shift", "below", "F wrap has come out 23 mm short since S-1 (9 Oct)."),
        ("trend", "above", "F wrap has crept 23 mm long since S-1 (9 Oct)."),
        ("spread", "above", "F wrap has scattered more since S-1 (9 Oct)."),
        ("spread", "below", "F wrap has scattered less since S-1 (9 Oct)."),
        ("single", "above", "F wrap: S-1 (9 Oct) stands apart from the rest, 23 mm long."),
        ("count", "above", "F wrap has come more often since S-1 (9 Oct)."),
    ],
)
def test_a_signal_in_one_sentence(kind, side, said):
    assert signal_sentence(WRAP, "all", kind, side, 22.9, "S-1", DAY) == said


@pytest.mark.parametrize(
    ("size", "ends", "said"),
    [
        (22.9, (19.6, 26.2), "F wrap has come out 23 mm long (20 to 26) since S-1 (9 Oct)."),
        (-0.0139, (-0.0171, -0.0108), "F wrap has come out 14 µm short (11 to 17) since S-1 (9 Oct)."),
        (0.3, (-0.1, 0.7), "F wrap has come out 0.3 mm long (−0.1 to 0.7) since S-1 (9 Oct)."),
        (22.9, (None, None), "F wrap has come out 23 mm long since S-1 (9 Oct)."),
    ],
)
def test_a_size_is_told_with_its_interval(size, ends, said):
    side = "above" if size > 0 else "below"
    found = signal_sentence(WRAP, "all", "shift", side, size, "S-1", DAY, ends=ends)
    assert found == said
    # the interval narrows with every piece: taken off, the sentence is that of any other day
    much = "14 µm" if size < 0 else said.split(" out ")[1].split(" long")[0]
    way = "short" if size < 0 else "long"
    assert without_interval(found) == f"F wrap has come out {much} {way} since S-1 (9 Oct)."


def test_a_change_of_the_spread_has_no_side_and_is_told_by_its_size():
    wider = signal_sentence(WRAP, "all", "spread", "both", 1.2, "S-1", DAY)
    narrower = signal_sentence(WRAP, "all", "spread", "both", -0.4, "S-1", DAY)
    assert "scattered more since" in wider and "scattered less since" in narrower


def test_family_is_named_and_plain_words_stand_in():
    said = signal_sentence(PLAIN, "alto", "shift", "below", 2.0, "S-1", DAY)
    assert said == "Mass loss (alto family) has come out 2.0 g lower since S-1 (9 Oct)."


def test_plural_nouns_take_a_plural_verb():
    many = WRAP.model_copy(update={"words": {"noun": "joints", "above": "open"}})
    assert "Joints have come out" in signal_sentence(many, "all", "shift", "above", 1.0, "S", DAY)


@pytest.mark.parametrize(
    ("name", "verb"), [("Leck Korpus", "has"), ("Slide radius", "has"), ("Glass", "has"), ("Joints", "have")]
)
def test_a_name_that_only_ends_in_s_is_no_plural(name, verb):
    said = signal_sentence(PLAIN.model_copy(update={"name": name}), "all", "shift", "above", 1.0, "S-1", DAY)
    assert said.startswith(f"{name} {verb} come out")


def test_a_series_pooled_by_model_names_the_model_not_a_family():
    pooled = PLAIN.model_copy(update={"pool": "model"})
    said = signal_sentence(pooled, "altina", "shift", "below", 2.0, "S-1", DAY)
    assert said == "Mass loss (altina) has come out 2.0 g lower since S-1 (9 Oct)."


def test_a_check_that_fails_more_often_is_no_good_news():
    clean = Characteristic(id="clean", name="Joint clean", kind="pass-fail", unit="fault")
    said = signal_sentence(clean, "all", "count", "above", 0.2, "S-1", DAY)
    assert said == "Joint clean has failed more often since S-1 (9 Oct)."
    named = clean.model_copy(update={"words": {"noun": "dirty joints"}})
    said = signal_sentence(named, "all", "count", "above", 0.2, "S-1", DAY)
    assert said == "Dirty joints have come more often since S-1 (9 Oct)."


def test_a_trend_is_told_with_its_pace():
    pace = pace_words(-0.012, 30, 28, "mm")
    said = signal_sentence(PLAIN, "all", "trend", "below", -0.012, "S-1", DAY, pace=pace)
    assert said.endswith("lower since S-1 (9 Oct): 0.4 µm a piece, about 3.0 µm a week.")
    assert pace_words(None, 3, 3, "mm") == "" and "week" not in pace_words(1.0, 3, 6, "mm")


@pytest.mark.parametrize(
    ("kind", "side", "size", "figure", "said"),
    [
        ("shift", "below", -0.9, "measured", "−0.9 N"),
        ("trend", "above", 3.0, "measured", "3.0 N, climbing,"),
        ("spread", "both", -0.9, "measured", "scatters less"),
        ("count", "below", -0.4, "pass-fail", "fails less often"),
        ("count", "above", 1.2, "count", "1.2 N a piece more"),
        ("shift", "above", None, "measured", ""),
    ],
)
def test_a_list_says_what_moved(kind, side, size, figure, said):
    start = {"start": 9, "start_serial": "S", "start_day": DAY, "start_low": 9, "start_high": 9}
    raised = {"raised": 9, "raised_serial": "S", "raised_day": DAY, "rate": 0.004, "pieces": 3}
    sizes = {"size": size, "size_low": None, "size_high": None, "size_sigma": None, "unit": "N"}
    signal = SignalResult(kind=kind, side=side, **start, **raised, **sizes)
    assert moved_words(signal, figure) == said


def test_what_is_over_is_told_by_how_long_it_lasted():
    said = because_sentence([], ["gauge"], 3, "S-9 (9 Oct)")
    assert said.endswith("It lasted 3 pieces and is over since S-9 (9 Oct); gauge did not change.")


def test_because_says_what_was_checked():
    assert (
        because_sentence([], ["person"], 1)
        == "Nothing recorded explains it. 1 piece since; person did not change."
    )
    said = because_sentence(["die D-2, fitted 1 Apr", "x"], ["person", "gauge", "batch"], 5)
    assert (
        said
        == "Coincides with die D-2, fitted 1 Apr. 5 pieces since; person, gauge and batch did not change."
    )


def test_no_sentence_claims_a_cause():
    said = because_sentence(["die D-2"], [], 5)
    assert "cause" not in said.lower()


def test_a_rate_is_said_in_pieces():
    assert rate_words(0.00381) == "once in 260 pieces" and rate_words(1 / 14251) == "once in 14 000 pieces"
    assert rate_words(0.0) == "never"


def test_too_few_pieces_are_not_called_limits_that_cannot_be_told(small_plan, points):
    stage = small_plan.stage("tuning")
    question = Question(small_plan, stage, stage.characteristics[0], "tenor", 0.004, DAY)
    values = [0.5, -1.0, 2.0, 0.0, -0.5, 1.5, -2.0, 0.3, 1.0]
    few = judge(question, Points(points(values), centered=False), FactorLevels())
    assert few.capable == "unproven" and is_few(few) and limits_words(few) == "too few pieces"
    assert limits_words(replace(few, present=tuple(range(25)))) == "limits unproven"
    assert limits_words(replace(few, ppk=1.1)) == "limits unproven"
    assert limits_words(replace(few, capable="no")) == "limits not kept"
    assert limits_words(replace(few, capable="", ppk=None)) == "too few pieces"
    assert limits_words(replace(few, pieces=0)) == "nothing measured yet"
    assert limits_words(replace(few, ppk_reason=STILL_MOVING)) == "limits unproven"
    assert limits_words(replace(few, capable="", kind="count")) == "limits not judged"
    assert limits_words(replace(few, capable="", lower=None, upper=None)) == "no limits set"


def test_an_index_is_withheld_below_as_many_pieces_as_the_words_take_for_few():
    values = np.random.default_rng(3).normal(10.0, 1.0, LEAST_FOR_INDEX)
    assert capability(values[1:], lower=5.0, upper=15.0).ppk is None
    assert capability(values, lower=5.0, upper=15.0).ppk is not None
