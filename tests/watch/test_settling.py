"""A change that nobody answers: it drifts, until a long quiet run that breaks no limit has settled."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from qc.plan import DatedLimits
from qc.watch import Decisions, FactorLevels, Points, Question, SeriesVerdict, Span, judge
from qc.watch.settling import SETTLED_RUN, limits_broken_by, standing_of
from qc.watch.words import settled_words

RARE = 1e-5
NOTHING = Decisions()
NAMES = "limits", "stays", "capable"
FREE = DatedLimits(target=None, lower=None, upper=None)


def ask(plan, series, settled=(), decisions=NOTHING):
    stage = plan.stage("tuning")
    figure = stage.characteristics[0]
    question = Question(plan, stage, figure, "tenor", RARE, date(2026, 6, 1), settled, (), decisions)
    return judge(question, Points(series, centered=False), FactorLevels())


@pytest.fixture
def moved(points):
    """Return points whose level rises after thirty pieces; so many follow."""

    def make(after):
        values = np.random.default_rng(3).standard_normal(30 + after)
        values[30:] += 6.0
        return points(values)

    return make


def standing(verdict, **given):
    known = {"kind": "measured", "answered": (), "frozen": None, "limits": FREE, **given}
    return standing_of(verdict.signals, verdict.points, known.pop("limits"), **known)


def test_a_new_level_settles_after_a_long_run_and_says_so(small_plan, moved):
    young, old = ask(small_plan, moved(SETTLED_RUN)), ask(small_plan, moved(SETTLED_RUN + 8))
    assert young.behaviour == "drifting" and young.settled_since is None
    assert old.behaviour == "steady" and old.telling is None
    assert old.settled_since == old.points[30].day == old.unanswered.start_day
    said = settled_words(old, date(2026, 6, 1))
    assert said.startswith("settled at a new level since ") and said.endswith(", nobody has said why")
    assert settled_words(young) == ""
    assert old.natural_lower is not None, "the new level has usual limits of its own"
    assert SeriesVerdict.from_dict(old.to_dict()) == old


def test_an_answer_ends_the_question(small_plan, moved):
    open_ = ask(small_plan, moved(40))
    answered = ask(small_plan, moved(40), settled=(open_.unanswered.raised_serial,))
    assert answered.behaviour == "steady" and answered.settled_since is None and settled_words(answered) == ""


def test_it_drifts_while_a_piece_of_the_new_level_breaks_a_limit(small_plan, moved):
    verdict = ask(small_plan, moved(40))
    least = max(p.value for p in verdict.points[verdict.unanswered.start - 1 :])
    inside, outside = (DatedLimits(target=None, lower=None, upper=least + x) for x in (0.1, -0.1))
    assert standing(verdict, limits=inside).settled_since is not None
    assert standing(verdict, limits=outside).drifting == (verdict.unanswered,)


def test_a_pieces_that_broke_the_limit_before_the_change_do_not_matter(small_plan, moved):
    verdict = ask(small_plan, moved(40))
    least = min(p.value for p in verdict.points[verdict.unanswered.start - 1 :])
    assert standing(verdict, limits=DatedLimits(target=None, lower=least, upper=None)).settled is not None


def test_a_climb_and_a_check_that_fails_more_often_never_settle(small_plan, moved):
    verdict = ask(small_plan, moved(40))
    climb = replace(verdict, signals=(replace(verdict.unanswered, kind="trend"),))
    assert standing(climb).drifting and not standing(climb).settled
    assert standing(verdict, kind="pass-fail").drifting
    fewer = replace(verdict, signals=(replace(verdict.unanswered, kind="count", side="below"),))
    assert standing(fewer, kind="pass-fail").settled


def test_beside_a_frozen_state_no_other_settles_by_itself(small_plan, moved):
    frozen = Decisions(baseline=Span("S-001", "S-030"))
    assert ask(small_plan, moved(40), decisions=frozen).behaviour == "drifting"


def test_only_the_newest_change_of_a_kind_counts_and_the_run_begins_after_the_last_one(small_plan, moved):
    verdict = ask(small_plan, moved(40))
    first = verdict.unanswered
    later = replace(first, raised=60, start=58, start_serial="x", raised_serial="y")
    assert standing(replace(verdict, signals=(first, later))).drifting == (later,)
    spread = replace(later, kind="spread")
    both = standing(replace(verdict, signals=(first, spread)))
    assert both.drifting == (spread, first), "the run of the level ends with the change of the scatter"
    assert standing(replace(verdict, signals=(first, later)), answered=("y",)).drifting == (first,)


def test_a_level_that_stays_is_not_blamed_for_what_a_later_change_breaks(small_plan, points):
    """Its own pieces lie at 6 and keep the limit of 9; eight of another change lie at 12 and break it."""
    values = np.random.default_rng(13).standard_normal(58) / 2
    values[30:] += 6.0
    values[50:] += 6.0
    verdict = ask(small_plan, points(values))
    first, later = verdict.signals
    limits = DatedLimits(target=None, lower=None, upper=9.0)

    def blamed(**given):
        known = {"signals": verdict.signals, "limits": limits, "stays": (first,), "capable": "no", **given}
        return limits_broken_by(known["signals"], verdict.points, *(known[n] for n in NAMES))

    assert later.start == 51 and blamed() is None
    assert blamed(capable="unproven") is None
    assert blamed(limits=DatedLimits(target=None, lower=None, upper=6.0)) == first.raised, (
        "its own pieces break that one"
    )
    assert blamed(stays=verdict.signals) == later.raised
    assert blamed(signals=(first,)) == first.raised, "without a later change they are its own"
    over = replace(later, start=41, ended=51)
    assert blamed(signals=(first, over)) == first.raised, "what came after an excursion is its own again"


def test_a_verdict_kept_before_is_read_without(small_plan, moved):
    young = ask(small_plan, moved(12))
    plain = {k: v for k, v in young.to_dict().items() if k not in {"settled_since", "told_by"}}
    old = SeriesVerdict.from_dict(plain)
    assert old.telling == young.telling and old.settled_since is None
