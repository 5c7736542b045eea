"""What may be said when: every rule by itself, and how a signal stands after what was said."""

import pickle
from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from qc.sayings import (
    CLOSED_STATES,
    OF_SERIES,
    OF_SIGNAL,
    OPEN_STATES,
    WORDS,
    Fault,
    Said,
    Saying,
    What,
    faults_of_decision,
    faults_of_signal_saying,
    outcome_of,
    pieces_done,
    said_already,
    state_after,
    strange_piece,
    ticked_steps,
    told_here,
)

SHOP = {"people": ["IS", "BK"], "causes": ["mandrel"]}
PIECES = {"people": ["IS"], "serials": ["S-1", "S-2"]}
FREEZE = Saying(What.FREEZE, "IS", "new jig", first="S-1", last="S-2")


def test_each_kind_is_said_of_a_signal_or_of_a_series_and_has_its_words():
    assert sorted([*OF_SIGNAL, *OF_SERIES]) == sorted(What)
    assert set(WORDS) == set(What)
    assert not set(OPEN_STATES) & set(CLOSED_STATES)


@pytest.mark.parametrize("state", [*OPEN_STATES, "over"])
def test_an_open_signal_is_taken_closed_or_remarked_on(state):
    for saying in (
        Saying(What.IN_HAND, "IS"),
        Saying(What.CLOSED, "IS", cause="mandrel", action="turned", outcome="stays"),
        Saying(What.CLOSED, "IS", cause="mandrel", action="turned", outcome="mended", first="S-9"),
        Saying(What.CLOSED_FALSE, "BK"),
        Saying(What.STEP_DONE, "IS", "2. Check the zero."),
        Saying(What.PIECE_DONE, "IS", "reamed", first="S-7"),
        Saying(What.COMMENT, "IS", "seen"),
    ):
        assert faults_of_signal_saying(saying, **SHOP, state=state) == set()
    reopened = Saying(What.REOPENED, "IS")
    assert faults_of_signal_saying(reopened, **SHOP, state=state) == {Fault.NOT_CLOSED}


@pytest.mark.parametrize("state", CLOSED_STATES)
def test_a_closed_signal_is_only_reopened_or_remarked_on(state):
    for saying in (Saying(What.REOPENED, "IS"), Saying(What.COMMENT, "IS", "seen")):
        assert faults_of_signal_saying(saying, **SHOP, state=state) == set()
    for what in (What.IN_HAND, What.CLOSED_FALSE, What.CLOSED):
        saying = Saying(what, "IS", cause="mandrel", action="turned", outcome="stays")
        assert faults_of_signal_saying(saying, **SHOP, state=state) == {Fault.CLOSED_ALREADY}


@pytest.mark.parametrize(
    ("saying", "faults"),
    [
        (Saying(What.IN_HAND), {Fault.NOBODY}),
        (Saying(What.IN_HAND, "XX"), {Fault.NOBODY}),
        (Saying(What.CLOSED, "IS"), {Fault.NO_CAUSE, Fault.NO_ACTION, Fault.NO_OUTCOME}),
        (Saying(What.CLOSED, "IS", cause="moon", action="x", outcome="stays"), {Fault.NO_CAUSE}),
        (Saying(What.CLOSED, "IS", cause="mandrel", outcome="mended"), {Fault.NO_ACTION}),
        (Saying(What.CLOSED, "IS", cause="mandrel", action="x", outcome="gone"), {Fault.NO_OUTCOME}),
        (
            Saying(What.CLOSED, "IS", cause="mandrel", action="x", outcome="stays", first="S-9"),
            {Fault.NOT_MENDED},
        ),
        (Saying(What.CLOSED_FALSE, "IS", first="S-9"), {Fault.NOT_MENDED}),
        (Saying(What.STEP_DONE, "IS", " "), {Fault.NO_STEP}),
        (Saying(What.PIECE_DONE, "IS", "reamed"), {Fault.NO_STEP}),
        (Saying(What.COMMENT, "", " \n"), {Fault.NOBODY, Fault.NO_REMARK}),
    ],
)
def test_everything_wrong_with_a_saying_is_found_at_once(saying, faults):
    assert faults_of_signal_saying(saying, **SHOP, state="open") == faults


@pytest.mark.parametrize(
    ("change", "faults", "strange"),
    [
        ({}, set(), None),
        ({"last": ""}, set(), None),
        ({"first": "S-9"}, {Fault.STRANGE_PIECE}, "S-9"),
        ({"last": "S-9"}, {Fault.STRANGE_PIECE}, "S-9"),
        ({"first": ""}, {Fault.NO_PIECE, Fault.STRANGE_PIECE}, ""),
        ({"text": " "}, {Fault.NO_REASON}, None),
        ({"who": "BK", "text": ""}, {Fault.NOBODY, Fault.NO_REASON}, None),
    ],
)
def test_a_decision_names_a_person_a_reason_and_pieces_of_the_series(change, faults, strange):
    for what in (What.FREEZE, What.LEAVE_OUT):
        saying = replace(FREEZE, what=what, **change)
        assert faults_of_decision(saying, **PIECES) == faults
        assert strange_piece(saying, PIECES["serials"]) == strange


def test_what_is_undone_may_name_pieces_that_are_no_longer_shown():
    gone = replace(FREEZE, what=What.UNDO_LEAVE_OUT, first="S-0", last="")
    assert faults_of_decision(gone, **PIECES) == set()
    assert faults_of_decision(replace(gone, first=""), **PIECES) == {Fault.NO_PIECE}
    assert faults_of_decision(replace(gone, what=What.UNDO_FREEZE, first=""), **PIECES) == set()


def test_the_last_word_that_changes_it_says_how_a_signal_stands():
    steps = [(What.COMMENT, "open"), (What.IN_HAND, "in-hand"), (What.CLOSED, "closed")]
    steps += [(What.COMMENT, "closed"), (What.REOPENED, "open"), (What.CLOSED_FALSE, "closed-false")]
    said = [Saying(what) for what, _ in steps]
    assert [state_after(said[:n]) for n in range(1, len(steps) + 1)] == [state for _, state in steps]
    assert state_after([]) == "open"


def test_a_persons_own_last_word_is_no_news_while_the_signal_stands_as_it_did():
    when = datetime(2026, 5, 4, tzinfo=UTC)

    def said(*words):
        return [
            Said(what, who, text, id=n, about="ab12", when=when) for n, (what, who, text) in enumerate(words)
        ]

    seen, taken = (What.COMMENT, "BK", "seen"), (What.IN_HAND, "BK", "")
    other = (What.COMMENT, "IS", "seen")
    for word, before, already in [
        (seen, [], False),
        (seen, [seen], True),
        (seen, [seen, other], True),
        (seen, [other], False),
        (seen, [seen, (What.COMMENT, "BK", "no"), other], False),
        (seen, [seen, (What.IN_HAND, "IS", "")], False),
        (taken, [taken], True),
        (taken, [taken, (What.IN_HAND, "IS", "")], False),
        (taken, [(What.IN_HAND, "BK", "will look")], False),
    ]:
        assert said_already(said(*before), Saying(*word)) is already, (word, before)


def test_a_saying_goes_from_one_process_to_another_as_it_is():
    said = Said(What.CLOSED, "IS", "x", id=3, about="ab12", when=datetime(2026, 5, 4, tzinfo=UTC))
    assert pickle.loads(pickle.dumps(said)) == said
    assert pickle.loads(pickle.dumps(FREEZE)).what is What.FREEZE


STEPS = (
    "Re-measure S-9.",
    "Check the zero of G-1 on its master.",
    "Check serial and unit on the card.",
    "Lap it.",
)


def said(number, what, text=""):
    return Said(what, "IS", text, id=number, about="ab12", when=datetime(2026, 5, 4, tzinfo=UTC))


def test_the_first_steps_are_ticked_by_their_number_and_the_others_by_their_words():
    one = said(1, What.STEP_DONE, "1. Re-measure S-7.")  # the newest piece was another one then
    plan = said(2, What.STEP_DONE, "5. Lap it.")  # the plan had one step more then
    form = said(3, What.COMMENT, "Ticked: Check serial and unit on the card. two words")
    assert ticked_steps([one, plan, form], STEPS) == {0: one, 3: plan, 2: form}
    assert ticked_steps([said(4, What.COMMENT, "Lap it.")], STEPS) == {}


def test_what_was_ticked_before_a_signal_opened_anew_has_to_be_done_again():
    life = [said(1, What.STEP_DONE, "4. Lap it."), said(2, What.CLOSED), said(3, What.REOPENED)]
    assert ticked_steps(life, STEPS) == {}


def test_a_tick_that_was_taken_back_counts_no_more_until_it_is_set_again():
    form = said(1, What.COMMENT, "Ticked: Lap it.")
    life = [said(2, What.STEP_DONE, "1. Re-measure S-7."), form]
    assert set(ticked_steps(life, STEPS)) == {0, 3}
    life += [said(3, What.STEP_UNDONE, "4. Lap it. (the wrong tube)")]
    assert set(ticked_steps(life, STEPS)) == {0}
    life += [said(4, What.STEP_UNDONE, "1. Re-measure S-8.")]  # a newer piece came between
    assert ticked_steps(life, STEPS) == {}
    again = said(5, What.STEP_DONE, "4. Lap it.")
    assert ticked_steps([*life, again], STEPS) == {3: again}

    one, other = (replace(said(n, What.PIECE_DONE), first=f"S-{n}") for n in (6, 7))
    back = replace(said(8, What.PIECE_UNDONE), first="S-6")
    assert pieces_done([one, other]) == {"S-6": one, "S-7": other}
    assert pieces_done([one, other, back]) == {"S-7": other}
    assert pieces_done([one, other, back, one]) == {"S-7": other, "S-6": one}


def test_a_tick_set_again_after_somebody_took_it_back_is_news():
    tick = Saying(What.PIECE_DONE, "IS", first="S-6")
    set_first = replace(said(1, What.PIECE_DONE), first="S-6")
    back = replace(said(2, What.PIECE_UNDONE), who="FT", first="S-6")
    assert said_already([set_first], tick)
    assert not said_already([set_first, back], tick)
    assert not said_already(
        [set_first, back, replace(set_first, id=3)], Saying(What.PIECE_UNDONE, "FT", first="S-6")
    )


def test_what_was_closed_before_anybody_asked_stays_and_a_false_one_had_no_cause():
    assert outcome_of(said(1, What.CLOSED)) == "stays"
    assert outcome_of(Saying(What.CLOSED, outcome="mended")) == "mended"
    assert outcome_of(said(1, What.CLOSED_FALSE)) == "false"


def test_a_saying_of_the_evening_is_told_by_the_workshops_own_day():
    kept = Said(What.COMMENT, "IS", "x", id=1, about="ab12", when=datetime(2026, 6, 30, 23, 30, tzinfo=UTC))
    (told,) = told_here([kept], "Europe/Berlin")
    assert (told.when.date(), told.when) == (date(2026, 7, 1), kept.when)
    (west,) = told_here([replace(kept, when=datetime(2026, 7, 1, 2, tzinfo=UTC))], "America/New_York")
    assert west.when.date() == date(2026, 6, 30)
