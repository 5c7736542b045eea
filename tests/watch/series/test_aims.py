"""A new target in the plan moves no metal: what is taken off goes by what the pieces did."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.plan import DatedLimits
from qc.watch import FactorLevels, Question, SeriesVerdict, judge, limit_lines
from qc.watch.series import series_points
from qc.watch.words import not_kept_words

BEGIN = date(2026, 1, 5)
TURN = BEGIN + timedelta(days=40)
OLD, NEW = 10.0, 9.0
RARE = 1e-5


def force_of(plan, *limits):
    stage = plan.stage("slide")
    return stage, stage.characteristics[1].model_copy(update={"pool": "all", "limits": limits})


def made(readings, values, models=("tenor",)):
    """Return one piece a day, the 41st on the day from which the plan has its new target."""
    rows = [
        {"serial": f"S-{n}", "model": models[n % len(models)], "stage": "slide", "characteristic": "force"}
        | {"value": float(value), "day": BEGIN + timedelta(days=n)}
        for n, value in enumerate(values)
    ]
    return readings(rows)


def changed(lower=None, upper=None):
    """Return the limits of a plan whose target went from 10 to 9, with other limits before."""
    return (
        DatedLimits(target=OLD, lower=8.0, upper=12.0),
        DatedLimits(target=NEW, lower=lower, upper=upper, since=TURN),
    )


def ask(plan, stage, force, frame, **given):
    question = Question(plan, stage, force, "all", RARE, date(2026, 6, 1), **given)
    return judge(question, series_points(frame, plan, stage, force, "all"), FactorLevels())


def test_pieces_that_stay_as_they_were_are_charted_as_they_are(small_plan, readings):
    stage, force = force_of(small_plan, *changed())
    values = OLD + 0.2 * np.random.default_rng(11).standard_normal(60)
    found = series_points(made(readings, values), small_plan, stage, force, "all")
    assert not found.centered
    assert [p.value for p in found.points] == pytest.approx(values.tolist())
    [change] = found.aims.changes
    assert (change.since, change.old, change.new, change.met) == (TURN, OLD, NEW, False)
    verdict = ask(small_plan, stage, force, made(readings, values))
    assert verdict.signals == ()
    note = "Since 14 Feb the target is 9 N (10 N before): the pieces have stayed as they were."
    assert note in verdict.notes


def test_pieces_that_go_with_the_target_are_charted_as_deviations(small_plan, readings):
    stage, force = force_of(small_plan, *changed())
    noise = 0.2 * np.random.default_rng(12).standard_normal(60)
    values = np.where(np.arange(60) < 40, OLD, NEW) + noise
    found = series_points(made(readings, values), small_plan, stage, force, "all")
    assert found.centered and found.aims.changes[0].met
    assert [p.value for p in found.points] == pytest.approx(noise.tolist())
    assert [p.measured for p in found.points] == pytest.approx(values.tolist())
    assert ask(small_plan, stage, force, made(readings, values)).signals == ()


def test_a_plan_that_follows_the_metal_later_invents_no_second_change(small_plan, readings):
    """The metal goes down on purpose ten pieces before the plan does, with all models of the series."""
    stage, force = force_of(small_plan, *changed())
    values = np.where(np.arange(56) < 30, OLD, NEW) + 0.2 * np.random.default_rng(13).standard_normal(56)
    frame = made(readings, values, ("tenor", "alto"))
    verdict = ask(small_plan, stage, force, frame)
    lasting = [s for s in verdict.signals if s.ended is None]
    assert [(s.kind, s.side, s.start_low <= 31 <= s.start_high) for s in lasting] == [
        ("shift", "below", True)
    ]
    assert "stayed as they were" in " ".join(verdict.notes)


def test_a_piece_is_held_against_the_limits_of_its_day(small_plan, readings):
    stage, force = force_of(small_plan, *changed(lower=8.5, upper=10.5))
    values = 9.5 + 0.2 * np.random.default_rng(14).standard_normal(60)
    values[20], values[50] = 11.0, 10.8
    verdict = ask(small_plan, stage, force, made(readings, values))
    assert [p.serial for p in verdict.points if verdict.is_outside(p)] == ["S-50"]
    lines = set(limit_lines(verdict, 0.2, 60.8))
    assert lines == {(12.0, 0.2, 40.5), (8.0, 0.2, 40.5), (10.5, 40.5, 60.8), (8.5, 40.5, 60.8)}
    assert {*limit_lines(verdict, 45.2, 60.8)} == {(10.5, 45.2, 60.8), (8.5, 45.2, 60.8)}
    assert SeriesVerdict.from_dict(verdict.to_dict()) == verdict


def test_a_level_that_stays_breaks_limits_from_the_day_they_hold(small_plan, readings):
    """It moved to 10.9 and somebody said that this stays; 12 was allowed then, 10.5 is now."""
    stage, force = force_of(small_plan, *changed(lower=8.5, upper=10.5))
    values = np.where(np.arange(56) < 20, OLD, 10.9) + 0.1 * np.random.default_rng(15).standard_normal(56)
    first = ask(small_plan, stage, force, made(readings, values[:40]))
    said = first.signals[-1]
    answered = {"settled": (said.raised_serial,), "closed": (said,), "stays": (said,)}
    before = ask(small_plan, stage, force, made(readings, values[:40]), **answered)
    assert before.not_kept is None and before.not_kept_since is None
    after = ask(small_plan, stage, force, made(readings, values), **answered)
    assert after.not_kept_since.serial == "S-40"
    assert not_kept_words(after).endswith("limits not kept since S-40 (14 Feb).")
    assert replace(after, earlier_limits=()).not_kept_since.day < TURN


@settings(max_examples=40, deadline=None)
@given(
    seed=st.integers(0, 2**31),
    step=st.floats(-6.0, 6.0),
    moved=st.floats(-6.0, 6.0),
    since=st.integers(1, 30),
)
def test_a_new_target_shifts_a_series_by_half_of_its_step_at_most(
    small_plan, readings, seed, step, moved, since
):
    """Whatever the metal does: the level at the turn jumps by what it moved, or by that less the step."""
    limits = DatedLimits(target=OLD), DatedLimits(target=OLD + step, since=TURN)
    stage, force = force_of(small_plan, *limits)
    noise = 1e-3 * np.random.default_rng(seed).standard_normal(40 + since)
    values = OLD + np.where(np.arange(40 + since) < 40, 0.0, moved) + noise
    found = series_points(made(readings, values), small_plan, stage, force, "all")
    jump = found.points[40].value - found.points[39].value
    assert abs(jump) == pytest.approx(min(abs(moved), abs(moved - step)), abs=0.02)
