from dataclasses import replace
from datetime import date, timedelta

import pytest

from dashboard import words
from qc.jobs.board import limits_words
from qc.jobs.board.views import BudgetView, StageView


def stage(behaviour="steady", capable="proven", series=2, moved=0, name="Draw"):
    return StageView(name.lower(), name, behaviour, capable, series, moved, 2)


@pytest.mark.parametrize(
    "states, sentence",
    [
        ((), "No stage is set up yet."),
        (("steady", "steady"), "Every stage is as it was."),
        (("drifting",), "One stage has moved."),
        (("drifting", "steady"), "One stage has moved, one is as it was."),
        (("drifting", "drifting", "steady", "steady"), "Two stages have moved, two are as they were."),
        (("steady", "learning"), "One stage is as it was, one is still learning."),
        (("drifting", "learning", "learning"), "One stage has moved, two are still learning."),
    ],
)
def test_the_first_sentence_counts_the_stages(states, sentence):
    assert words.headline(tuple(stage(s) for s in states)) == sentence


def test_a_new_level_nobody_answered_is_counted_in_the_first_sentence():
    said = words.headline((stage("steady"), stage("steady")), 1)
    assert said == "No stage drifts; 1 series has settled at a new level unanswered."


def test_open_signals_that_no_finding_tells_of_are_counted_in_the_first_sentence():
    steady = (stage("steady"), stage("steady"))
    assert words.headline(steady, 0, 1) == "No stage drifts; one open signal waits."
    said = words.headline((stage("drifting"), stage("steady")), 0, 3)
    assert said == "One stage has moved, one is as it was; three more open signals wait."


def test_only_learning_stages_are_said_so():
    assert words.headline((stage("learning"), stage("learning"))) == "Two stages are still learning."


@pytest.mark.parametrize(
    "value, decimals, signed, text",
    [
        (-0.04, 1, True, "0.0"),
        (-0.04, 1, False, "0.0"),
        (2.25, 1, True, "+2.2"),
        (-12, 0, False, "−12"),
        (1234.5, 1, False, "1234.5"),
    ],
)
def test_numbers_carry_true_signs_and_no_signed_zero(value, decimals, signed, text):
    assert words.number(value, decimals, signed) == text


def test_units_are_written_as_on_the_bench():
    assert words.amount(4.0, "um", 0) == "4 µm"
    assert words.amount(3.0, "count", 0) == "3"
    assert words.amount(-1.25, "cent", 1, signed=True) == "−1.2 cents"


def test_days_are_short_and_without_leading_zero():
    assert words.day(date(2026, 3, 4)) == "4 Mar"
    assert words.day(date(2026, 3, 4), year=True) == "4 Mar 2026"
    assert words.day(None) == ""
    assert words.long_day(date(2026, 11, 24)) == "Tuesday 24 November 2026"


def judged(view, **changes):
    return replace(view, verdict=replace(view.verdict, **changes))


@pytest.mark.parametrize("spread, decimals", [(30.0, 0), (4.0, 1), (0.3, 2), (0.02, 3), (0.0004, 3)])
def test_decimals_follow_the_spread(view, spread, decimals):
    assert words.decimals_of(replace(view.verdict, sd_between=spread)) == decimals


def test_decimals_without_a_spread_come_from_the_range(view):
    assert words.decimals_of(replace(view.verdict, sd_between=None)) in {0, 1}
    assert words.decimals_of(replace(view.verdict, sd_between=None, points=())) == 1


def test_a_steady_series_says_how_many_pieces_it_rests_on(board):
    steady = next(v for v in board.verdicts("valves"))
    assert words.finding(steady).startswith("As it was: 64 pieces around ")


def test_a_learning_series_says_so(board):
    assert words.finding(board.verdicts("polish")[0]) == "Still learning: 2 pieces so far, too few to judge."


def test_a_drifting_series_speaks_its_signal(view):
    assert words.finding(view.verdict) == view.verdict.current.sentence


@pytest.mark.parametrize(
    "capable, start",
    [
        ("proven", "Limits kept."),
        ("unproven", "Limits unproven."),
        ("no", "Limits not kept."),
    ],
)
def test_capability_is_never_a_bare_number(view, capable, start):
    answer, sentence = words.capability(judged(view, capable=capable))
    assert answer == start
    assert "Ppk −0.91 (−1.40 to −0.45) from 11 pieces, 1.00 wanted." in sentence


def test_capability_says_how_many_would_be_outside(view):
    assert "About 99 in 100 would be outside (at least 95)." in words.capability(view)[1]
    few = judged(view, outside_share=0.002)
    assert "Fewer than 1 in 100 would be outside." in words.capability(few)[1]
    assert "outside" not in words.capability(judged(view, outside_share=None))[1]


def test_capability_is_withheld_with_its_reason(view):
    withheld = judged(view, ppk=None, capable="", ppk_reason="Only three pieces.")
    assert words.capability(withheld) == (
        "Too few pieces.",
        "11 pieces since the last change; a Ppk is given from 20 on.",
    )
    assert words.capability(judged(view, lower=None, upper=None))[0] == "No limits set."


PACE = "at the 15 a month of late"  # 46 pieces in the three months of the invented series
WHETHER = "whether the limits are kept"
INSTEAD = "Less scatter, or a mean nearer to the middle, can."


@pytest.mark.parametrize(
    "settle, ppk, said",
    [
        (1, 1.08, f"About 1 more piece like these, 1 week {PACE}, would settle {WHETHER}."),
        (39, None, f"About 39 more pieces like these, 3 months {PACE}, would settle {WHETHER}."),
        (
            647,
            1.08,
            f"about 650 more pieces like these, 4 years {PACE}: so few cannot settle {WHETHER}. {INSTEAD}",
        ),
        (0, 1.08, "1.00 wanted."),
        (29929, 1.08, "more pieces alone will not settle whether the limits are kept."),
        (None, 1.08, "more pieces alone will not settle whether the limits are kept."),
        (None, None, "11 pieces since the last change; a Ppk is given from 20 on."),
    ],
)
def test_an_open_answer_says_what_would_settle_it(view, settle, ppk, said):
    open_answer = {"capable": "unproven", "ppk": ppk, "ppk_reason": "9 pieces are too few"}
    found = judged(view, **open_answer, pieces_to_settle=settle)
    assert words.capability(found)[1].endswith(said)


def test_of_a_series_younger_than_a_month_no_time_is_promised(view):
    day = view.verdict.points[-1].day
    young = tuple(replace(p, day=day - timedelta(days=n % 20)) for n, p in enumerate(view.verdict.points))
    found = judged(view, capable="unproven", pieces_to_settle=39, points=young)
    assert words.monthly_pace(found.verdict) is None
    assert words.capability(found)[1].endswith(f"About 39 more pieces like these would settle {WHETHER}.")


def test_the_answer_rests_on_the_pieces_that_were_judged(view):
    few = judged(view, capable="proven", present=view.verdict.present[-7:])
    assert "from 7 pieces, 1.00 wanted." in words.capability(few)[1]


def test_the_budget_is_one_sentence():
    assert words.budget_sentence(BudgetView(31.0, 84, 0.004)) == (
        "At this setting: about one false signal in 31 days over 84 series."
    )
    assert words.budget_sentence(BudgetView(0.2, 2, 0.004)).startswith(
        "At this setting: about one false signal in 1 day over"
    )


@pytest.mark.parametrize("step, decimals", [(0.001, 3), (0.01, 2), (0.05, 2), (0.5, 1), (1.0, 0), (10.0, 0)])
def test_a_gauge_shows_as_many_decimals_as_its_step(step, decimals):
    assert words.step_decimals(step) == decimals


def test_limits_of_a_series_in_words(view):
    assert limits_words(view.verdict) == "limits not kept"
    assert limits_words(replace(view.verdict, capable="")) == "too few pieces"
    assert limits_words(replace(view.verdict, capable="", lower=None, upper=None)) == "no limits set"
    assert limits_words(replace(view.verdict, capable="", kind="count")) == "limits not judged"


def test_too_few_pieces_are_called_that(view):
    few = replace(view.verdict, capable="unproven", ppk=None, present=tuple(range(1, 10)))
    assert limits_words(few) == "too few pieces"
    assert limits_words(replace(few, present=tuple(range(1, 26)))) == "limits unproven"
    assert limits_words(replace(few, ppk=1.1)) == "limits unproven"


def test_a_stage_says_how_many_of_its_series_moved():
    assert words.state_of_stage(stage("drifting", series=6, moved=1)) == "drifting, 1 of 6"
    assert words.state_of_stage(stage("drifting", series=1, moved=1)) == "drifting"
    assert words.state_of_stage(stage("learning")) == "learning, 2 of 4 pieces"


@pytest.mark.parametrize(
    "value, signed, said",
    [
        (0.00025, False, "0.00025 mm"),
        (13.8525, False, "13.8525 mm"),
        (0.0, True, "0 mm"),
        (12.0, True, "+12 mm"),
    ],
)
def test_limits_are_written_as_the_plan_writes_them(value, signed, said):
    assert words.bound(value, "mm", signed=signed) == said


def test_a_no_from_few_pieces_says_what_it_rests_on(view):
    few = judged(view, capable="no", ppk=None, ppk_reason="11 of 20 pieces.")
    answer, sentence = words.capability(few)
    assert answer == "Limits not kept." and limits_words(few.verdict) == "limits not kept"
    assert "11 pieces since the last change" in sentence and "95 in 100 sure" in sentence
    assert "11 of 20" not in sentence


@pytest.mark.parametrize("capable", ["proven", "unproven", "no", ""])
@pytest.mark.parametrize("change", [{}, {"ppk": None}, {"lower": None, "upper": None}, {"pieces": 0}])
def test_the_panel_and_the_words_beside_the_ring_say_one_name(view, capable, change):
    found = judged(view, capable=capable, **change)
    answer, sentence = words.capability(found)
    assert answer == f"{limits_words(found.verdict).capitalize()}."
    assert sentence or not found.verdict.pieces


def test_how_many_give_a_ppk_and_how_many_settle_the_limits_are_told_apart(view):
    few = judged(
        view, capable="unproven", ppk=None, ppk_reason="11 pieces are too few: 20", pieces_to_settle=210
    )
    assert words.capability(few) == (
        "Too few pieces.",
        "11 pieces since the last change; a Ppk is given from 20 on. About 210 more pieces like these, 14 "
        f"months {PACE}, would settle {WHETHER}.",
    )
    first = replace(few, verdict=replace(few.verdict, stretches=few.verdict.stretches[:1]))
    assert words.capability(first)[1].startswith("11 pieces so far; a Ppk")


def test_of_a_few_pieces_it_is_not_said_how_near_to_what_is_wanted_they_are(view):
    few = judged(view, capable="unproven", ppk=None, ppk_reason="too few", pieces_to_settle=10**7)
    assert words.capability(few)[1].endswith("a Ppk is given from 20 on.")
    many = judged(view, capable="unproven", ppk=1.0, ppk_low=0.9, ppk_high=1.1, pieces_to_settle=10**7)
    assert "so near to what is wanted" in words.capability(many)[1]


def test_one_piece_apart_is_its_own_set(view):
    signal = view.verdict.current
    assert words.start_set(replace(signal, kind="single", start=36, start_low=30, start_high=36)) == (36, 36)
    assert words.start_set(signal) == (signal.start_low, signal.start_high)
