from datetime import date, datetime

import numpy as np
import pytest

from qc.sayings import Said, What
from qc.watch import Decisions, FactorLevels, Points, Question, Span, judge, standing

KEY = "tuning/wrap/tenor"
RARE = 1e-5  # no false alarm in the way of what is looked at


def said(what, first="S-010", last="S-030", day="2026-05-04"):
    when = datetime.fromisoformat(f"{day}T16:00:00+00:00")
    return Said(What(what), "IS", "new jig", first=first, last=last, id=1, about=KEY, when=when)


def ask(plan, series, decisions, rates=()):
    stage = plan.stage("tuning")
    question = Question(
        plan, stage, stage.characteristics[0], "tenor", RARE, date(2026, 6, 1), (), rates, decisions
    )
    return judge(question, Points(series, centered=False), FactorLevels())


def values(*parts, seed=21):
    rng = np.random.default_rng(seed)
    return np.concatenate([level + rng.standard_normal(n) for n, level in parts])


def test_decisions_add_up():
    rows = [said("freeze"), said("leave-out", "S-002", "S-003"), said("freeze", "S-040", "S-060")]
    stands = standing(rows)[KEY]
    assert stands.baseline.first == "S-040" and stands.left_out[0].last == "S-003"
    rows += [said("undo-freeze", "S-040", "S-060"), said("undo-leave-out", "S-002", "S-003")]
    assert standing(rows) == {}


def test_later_decisions_do_not_count_on_an_earlier_day():
    assert standing([said("freeze", day="2026-05-04")], date(2026, 5, 3)) == {}


def test_ends_that_are_not_read_stand_for_the_nearest_piece(points):
    series = points(np.zeros(5))
    assert Span("S-000", "S-002").ordinals(series) == (1, 2)
    assert Span("S-004", "S-999").ordinals(series) == (4, 5)
    assert Span("X-1", "X-2").ordinals(series) is None


def test_pieces_after_a_frozen_state_are_compared_with_it(small_plan, points):
    """The level moved at once after the frozen state: without it the first pieces would be the usual ones."""
    series = points(values((12, 0.0), (30, 8.0)))
    decisions = Decisions(baseline=Span("S-001", "S-010"))
    verdict = ask(small_plan, series, decisions)
    assert verdict.behaviour == "drifting"
    assert verdict.current.start == pytest.approx(13, abs=1)
    assert (verdict.baseline_first, verdict.baseline_last) == (1, 10)


def test_changes_before_the_end_of_a_frozen_state_are_settled(small_plan, points):
    series = points(values((30, 0.0), (20, 8.0)))
    assert ask(small_plan, series, Decisions()).behaviour == "drifting"
    frozen = ask(small_plan, series, Decisions(baseline=Span("S-031", "S-050")))
    assert frozen.behaviour == "steady"
    assert frozen.signals, "history stays"
    assert frozen.rests_on == 20
    middle = (frozen.natural_lower + frozen.natural_upper) / 2
    assert middle == pytest.approx(np.mean([point.value for point in series[30:]]))


def worn(plan, series, decisions):
    stage = plan.stage("draw")
    question = Question(
        plan, stage, stage.characteristics[0], "all", RARE, date(2026, 6, 1), decisions=decisions
    )
    return judge(question, Points(series, centered=False), FactorLevels())


def worn_points(points, off, tools=("D-1",) * 80):
    counts = np.arange(0, 400, 5)
    figures = 14.6 + 2e-5 * counts + 2e-4 * np.random.default_rng(8).standard_normal(80) + off
    return points(figures, tool=list(tools), tool_count=[int(c) for c in counts])


def test_a_line_of_wear_can_be_frozen(small_plan, points):
    """From the 41st piece on the die wears faster; frozen so, that is its settled state."""
    series = worn_points(points, 6e-5 * np.maximum(np.arange(80) - 39, 0))
    free = worn(small_plan, series, Decisions())
    assert free.behaviour == "drifting"
    frozen = worn(small_plan, series, Decisions(baseline=Span("S-041", "S-070")))
    assert frozen.behaviour == "steady" and (frozen.baseline_first, frozen.baseline_last) == (41, 70)
    assert [s.raised for s in frozen.signals] == [s.raised for s in free.signals]
    line = np.polyfit([p.tool_count for p in series[40:70]], [p.value for p in series[40:70]], 1)
    middle = (frozen.natural_lower + frozen.natural_upper) / 2
    assert middle == pytest.approx(np.polyval(line, series[-1].tool_count))
    assert any("about the line through them" in note for note in frozen.notes)


def test_a_frozen_line_serves_its_own_fitting_only(small_plan, points):
    counts = [*range(0, 200, 5), *range(0, 200, 5)]
    figures = 14.6 + 2e-5 * np.array(counts) + 2e-4 * np.random.default_rng(9).standard_normal(80)
    series = points(figures, tool=["D-1"] * 40 + ["D-2"] * 40, tool_count=counts)
    verdict = worn(small_plan, series, Decisions(baseline=Span("S-005", "S-030")))
    assert verdict.baseline_last is None and verdict.behaviour == "steady"
    assert any("earlier fitting" in note for note in verdict.notes)
    across = worn(small_plan, series, Decisions(baseline=Span("S-035", "S-070")))
    assert (across.baseline_first, across.baseline_last) == (41, 70)


def test_a_stretch_left_out_raises_nothing_and_counts_nowhere(small_plan, points):
    series = points(values((30, 0.0), (6, 9.0), (24, 0.0)))
    loud = ask(small_plan, series, Decisions())
    assert any(s.start in range(29, 38) for s in loud.signals)
    quiet = ask(small_plan, series, Decisions(left_out=(Span("S-031", "S-036"),)))
    assert not quiet.signals and quiet.rests_on == 54 and quiet.pieces == 60
    assert [p.ordinal for p in quiet.points if p.left_out] == list(range(31, 37))
    assert quiet.stretches[0].mean == pytest.approx(np.mean([p.value for p in series if p.value < 5]))
    assert any("Left out of judging: S-031 to S-036" in note for note in quiet.notes)


def test_ordinals_of_signals_count_the_pieces_left_out(small_plan, points):
    series = points(values((30, 0.0), (6, 9.0), (14, 0.0), (20, 9.0)))
    verdict = ask(small_plan, series, Decisions(left_out=(Span("S-031", "S-036"),)))
    assert verdict.current.start == 51 and verdict.current.start_serial == "S-051"


def test_each_point_is_judged_at_its_own_rate_and_a_signal_tells_it(small_plan, points):
    series = points(values((30, 0.0), (20, 3.0)))
    rates = [RARE] * 30 + [0.02] * 20
    verdict = ask(small_plan, series, Decisions(), rates)
    assert verdict.current.rate == 0.02
    strict = ask(small_plan, series, Decisions(), [RARE] * 50)
    assert not strict.signals or strict.signals[0].raised > verdict.signals[0].raised
