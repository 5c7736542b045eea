"""What people say of signals and series: kept in order, each an entry of the chain."""

from dataclasses import replace

import pytest

from qc.sayings import Said, Saying, What
from qc.store import PersonWord, StoreError

KEY = "slide/clearance/tenors"
FROZEN = Saying(What.FREEZE, "IS", "after the rebuild", first="TB-1", last="TB-9")


@pytest.fixture
def raised(store, make):
    """A store with one signal; returns the store and the signal's id."""
    found = {"kind": "shift", "raised_serial": "TB-0042", "start_serial": "TB-0039", "size": 12.5}
    store.save_verdicts([{"key": KEY, "pieces": 10, "signals": [found]}], as_of=make.day)
    return store, store.signals()[0].id


def test_the_life_of_a_signal_is_kept_in_order(raised, make):
    store, own = raised
    steps = [("comment", "open"), ("in-hand", "in-hand"), ("closed", "closed"), ("reopened", "open")]
    steps += [("closed-false", "closed-false"), ("comment", "closed-false")]
    for number, (what, state) in enumerate(steps, start=1):
        saying = Saying(What(what), "QL", f"step {number}", cause="die worn")
        assert store.say(own, saying, when=make.when) == number
        (signal,) = store.signals()
        assert signal.state == state
        assert [said.id for said in signal.said] == list(range(1, number + 1))
    assert signal.said[2] == Said(What.CLOSED, "QL", "step 3", "die worn", id=3, about=own, when=make.when)
    assert store.signals(states=["open"]) == []
    assert len(store.signals(states=["closed", "closed-false"])) == 1
    first, *spoken = store.entries()
    assert first.kind == "verdict"  # the one that raised the signal
    assert [(entry.kind, entry.note) for entry in spoken] == [("signal", what) for what, _ in steps]
    assert store.verify() == []


def test_a_closing_keeps_what_became_of_the_cause_and_the_first_piece_after_the_mend(raised, make, forge):
    store, own = raised
    mended = Saying(What.CLOSED, "QL", "", "die worn", "die turned", first="TB-0050", outcome="mended")
    store.say(own, mended, when=make.when)
    store.say(own, Saying(What.PIECE_DONE, "QL", "reamed", first="TB-0041"), when=make.when)
    closing, piece = store.signals()[0].said
    assert (closing.outcome, closing.first, closing.last) == ("mended", "TB-0050", "")
    assert (piece.what, piece.first, piece.outcome) == (What.PIECE_DONE, "TB-0041", "")
    assert store.signals()[0].state == "closed" and store.verify() == []
    forge(store, "UPDATE signal_event SET outcome = 'stays' WHERE outcome = 'mended'")
    assert store.verify() != [], "what became of the cause is part of the chain"


def test_judging_everything_anew_keeps_what_was_said(raised, make):
    store, own = raised
    store.say(own, Saying(What.CLOSED, "QL"), when=make.when)
    verdict = {"key": KEY, "pieces": 11, "signals": [store.signals()[0].plain]}
    store.save_verdicts([verdict], as_of=make.day, afresh=True)
    assert store.signals()[0].state == "closed"


def test_what_a_lead_decides_is_an_entry_of_the_chain(store, make):
    store.say(KEY, FROZEN, when=make.when)
    store.say("slide/force/all", replace(FROZEN, what=What.LEAVE_OUT), when=make.when)
    (one,) = store.said_of_series(KEY)
    assert one == Said(
        What.FREEZE, "IS", "after the rebuild", first="TB-1", last="TB-9", id=1, about=KEY, when=make.when
    )
    assert [said.what for said in store.said_of_series()] == [What.FREEZE, What.LEAVE_OUT]
    assert [(entry.kind, entry.note) for entry in store.entries()] == [
        ("series", "freeze"),
        ("series", "leave-out"),
    ]
    assert store.verify() == []


def test_a_decision_has_columns_of_its_own(raised, make):
    store, own = raised
    store.say(own, Saying(What.CLOSED, "QL", "seen", "die worn", "die turned"), when=make.when)
    store.say(KEY, FROZEN, when=make.when)
    columns = "cause, action, first_serial, last_serial, outcome, from_serial, role"
    with store._database.reading() as conn:
        rows = conn.exec_driver_sql(f"SELECT {columns} FROM signal_event ORDER BY id").all()
    assert [tuple(row) for row in rows] == [
        ("die worn", "die turned", None, None, None, None, None),
        ("", "", "TB-1", "TB-9", None, None, None),
    ]


def test_words_on_signals_and_on_series_are_kept_apart(raised, make):
    store, own = raised
    store.say(own, Saying(What.COMMENT, "QL", "seen"), when=make.when)
    store.say(KEY, FROZEN, when=make.when)
    assert [said.text for said in store.signals()[0].said] == ["seen"]
    assert [said.about for said in store.said_of_series()] == [KEY]


@pytest.mark.parametrize("what", [What.CLOSED, What.COMMENT])
def test_nothing_is_said_of_a_signal_that_is_not_there(store, make, what):
    with pytest.raises(StoreError, match="no signal abc. `qc signals`"):
        store.say("abc", Saying(what, "QL", "x"), when=make.when)
    assert store.entries() == []


@pytest.mark.parametrize("open_end", [{"first": ""}, {"last": ""}])
def test_a_decision_names_both_its_ends(store, make, open_end):
    with pytest.raises(StoreError, match="names its first and last piece"):
        store.say(KEY, replace(FROZEN, **open_end), when=make.when)
    assert store.entries() == []


def test_the_role_in_which_it_was_said_is_kept(raised, make):
    store, own = raised
    store.say(own, Saying(What.COMMENT, "QL", "before"), when=make.when)
    for code, role in (("QL", "lead"), ("IS", "lead"), ("IS", "owner")):
        store.note_person(code, PersonWord.ADDED, role, who="", when=make.when)
    store.say(own, Saying(What.COMMENT, "QL", "seen"), when=make.when)
    store.say(own, Saying(What.COMMENT, "TK", "seen"), when=make.when)
    store.say(KEY, FROZEN, when=make.when)
    assert [said.role for said in store.signals()[0].said] == ["", "lead", ""]
    assert store.said_of_series()[0].role == "owner"
    assert store.verify() == []
