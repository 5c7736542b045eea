"""Steps and cautions: the same for command and board."""

from dataclasses import replace
from datetime import date

import pytest

from qc.watch.reaction import (
    better_step,
    caution_words,
    first_steps,
    is_again_step,
    is_good_news,
    reaction_steps,
    steps_for,
)
from qc.watch.results import SignalResult


@pytest.mark.parametrize("named", [(), ("A-0418",), ("", ["G-1"]), ("A-0418", ["G-1", "G-2"])])
def test_the_first_three_steps_are_always_the_same(named):
    assert [step.split()[0] for step in first_steps(*named)] == ["Re-measure", "Check", "Check"]


def test_pieces_and_gauges_are_named_where_they_are_known():
    assert first_steps("A-0418", ["G-1", "G-2"])[:2] == (
        "Re-measure A-0418.",
        "Check the zero of G-1 and G-2 on their masters.",
    )
    assert first_steps("")[:2] == (
        "Re-measure the newest piece.",
        "Check the zero of the gauge on its master.",
    )


def test_the_findings_own_step_comes_before_the_plans_and_each_is_said_once():
    first = first_steps()
    assert reaction_steps(("Hold three.", "Look."), "Look.") == (*first, "Look.", "Hold three.")
    assert reaction_steps(("Hold three.",)) == (*first, "Hold three.")
    assert reaction_steps(()) == first


def test_cautions_name_the_local_rules_once():
    assert caution_words(()) == ""
    assert caution_words(("Lead dust.",)).count("Local rules") == 1
    own = caution_words(("Lead dust.", "Local rules decide."))
    assert own.lower().count("local rules") == 1 and own.endswith("a competent person decide too.")


def finding(kind, side, size):
    day = date(2026, 5, 4)
    at = {"raised": 9, "raised_serial": "A-9", "raised_day": day, "start": 5, "start_serial": "A-5"}
    rest = {"start_day": day, "start_low": 5, "start_high": 5, "size_low": None, "size_high": None}
    last = {"size_sigma": None, "unit": "um", "rate": 0.001, "pieces": 5}
    return SignalResult(kind, side, **at, **rest, **last, size=size)


@pytest.mark.parametrize(
    "kind, side, size, figure, better",
    [
        ("spread", "below", None, "measured", True),
        ("spread", "both", -0.4, "measured", True),
        ("spread", "above", 0.4, "measured", False),
        ("shift", "below", -2.0, "measured", False),
        ("count", "below", -0.4, "count", True),
        ("count", "above", 0.4, "count", False),
        ("single", "below", -1.0, "count", False),
    ],
)
def test_less_scatter_and_fewer_faults_are_good_news(kind, side, size, figure, better):
    assert is_good_news(finding(kind, side, size), figure) is better


def test_the_piece_that_shows_a_finding_is_looked_at_again_and_not_the_newest(points):
    """Of a piece apart from the rest, and of a change that has passed, the newest piece says nothing."""
    series = points([1.0] * 12)
    newest, apart = series[-1].serial, replace(finding("single", "above", 9.0), start_serial=series[4].serial)
    lasting = replace(finding("shift", "above", 9.0), start=5)
    asked = {
        None: newest,
        lasting: newest,
        apart: series[4].serial,
        replace(lasting, ended=9): series[7].serial,
    }
    for found, piece in asked.items():
        assert steps_for(series, (), found=found)[0] == f"Re-measure {piece}."


@pytest.mark.parametrize("kind", ["measured", "count", "pass-fail"])
def test_good_news_asks_for_no_mend_and_first_whether_it_is_true(kind):
    trouble = reaction_steps(("Hold three.",), "Look.", "A-9", ["G-1"], kind)
    steps = reaction_steps(("Hold three.",), "Look.", "A-9", ["G-1"], kind, better=True)
    assert "Hold three." not in steps and not any(step.startswith("Re-measure") for step in steps)
    assert any("good news" in step for step in steps) and steps[-1].startswith("Keep it")
    assert ("G-1" in steps[0]) is (kind == "measured") and trouble != steps
    assert is_again_step(better_step("A-9", kind))
