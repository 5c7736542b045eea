"""Accepted readings put right and taken back: what stands, what is judged anew, what is refused and how."""

import json

import pytest

from qc.errors import QcError, UsageError
from qc.jobs.errors import JobError
from qc.jobs.judging import judge_now, load_verdicts, not_judged_since
from qc.jobs.pieces import hold_list, with_hold
from qc.jobs.rows import (
    Decision,
    correct_reading,
    correct_readings,
    list_held,
    mend_held,
    readings_of,
    undo_decisions,
    withdraw_reading,
    withdraw_readings,
)
from qc.jobs.upload import upload
from qc.words import dated_words

PIECE = "QH-1030"
FORCE = f"{PIECE}/force"
OTHER = "QH-1029"


def force_of(shop):
    """Return the one reading of the piece's slide force that stands."""
    (found,) = [
        one
        for one in readings_of(shop, PIECE).readings
        if one.characteristic == "force" and one.state == "stands"
    ]
    return found


def anew(shop):
    """Return what judging everything from nothing says, without keeping it."""
    return [verdict.to_dict() for verdict in judge_now(shop, afresh=True, keep=False).verdicts]


def test_a_figure_is_put_right_and_what_it_touched_is_judged_at_once(shop):
    old = force_of(shop)
    done = correct_reading(shop, str(old.id), {"value": "0.970"}, who="IS", why="misread the scale")
    new = force_of(shop)
    assert (done.by, new.value, new.typed) == (new.id, 0.97, "0.970")
    assert f"{old.typed} becomes 0.970" in done.sentence and PIECE in done.sentence
    assert "slide/force/all" in [one.series for one in done.series]
    assert not_judged_since(shop) is None
    point = next(
        p
        for v in load_verdicts(shop)
        if str(v.key) == "slide/force/all"
        for p in v.points
        if p.serial == PIECE
    )
    assert point.value == pytest.approx(0.97)
    history = {one.id: one for one in readings_of(shop, PIECE).readings}
    assert (history[old.id].state, history[old.id].by, history[old.id].why) == (
        "corrected",
        new.id,
        "misread the scale",
    )
    assert shop.store.verify() == []
    json.dumps(done.to_dict(), allow_nan=False)


def test_a_correction_says_what_it_holds_and_of_what_has_left_that_it_is_out(shop):
    old = force_of(shop)
    beyond = correct_reading(shop, FORCE, {"value": "9.5"}, who="IS", why="misread", as_typed=True)
    (sentence,) = with_hold(shop, beyond).hold
    rows = [row for row in hold_list(shop).rows if row.serial == PIECE and row.characteristic == "force"]
    left = rows[0].whereabouts.shipped
    told = f"{PIECE} left on {dated_words(left)} and is outside a limit by what was put right now."
    assert sentence.startswith(told if left else f"To hold: {PIECE}")
    assert "9.50 N" in sentence and with_hold(shop, beyond).to_dict()["hold"] == [sentence]
    assert with_hold(shop, beyond).to_text().endswith(sentence)
    back = correct_reading(shop, FORCE, {"value": old.typed}, who="IS", why="it was right")
    assert with_hold(shop, back).hold == ()
    # both pieces are looked at where a reading goes to another one
    away = correct_reading(shop, FORCE, {"value": "9.6"}, who="IS", why="misread", as_typed=True)
    moved = correct_readings(
        shop, [str(away.by)], {"serial": OTHER}, who="IS", why="wrong tag", as_typed=True
    )
    assert [OTHER in one for one in with_hold(shop, moved).hold] == [True]


def test_correcting_twice_and_back_again_says_each_time_what_was_and_is(shop):
    old = force_of(shop)
    correct_reading(shop, FORCE, {"value": "0.97"}, who="IS", why="misread")
    # whoever still has the old number means the reading that stands in its place
    second = correct_reading(shop, str(old.id), {"value": "0.98"}, who="IS", why="misread again")
    assert "0.97 becomes 0.98" in second.sentence
    correct_reading(shop, FORCE, {"value": old.typed}, who="IS", why="the card was right")
    assert force_of(shop).value == old.value
    with pytest.raises(QcError, match=f"says value {old.typed} already"):
        correct_reading(shop, FORCE, {"value": old.typed}, who="IS", why="once more")
    assert shop.store.verify() == []


def test_readings_of_a_card_are_put_right_together_or_not_at_all(shop):
    own = [one for one in readings_of(shop, PIECE).readings if one.stage == "slide" and one.state == "stands"]
    names = [str(one.id) for one in own[:3]]
    at = shop.store.head()
    with pytest.raises(QcError, match="There is no reading 999999999"):
        correct_readings(shop, [*names, "999999999"], {"person": "BK"}, who="IS", why="another hand")
    assert shop.store.head() == at, "one that cannot be put right leaves all of them as they were"
    before = shop.store.entries()
    done = correct_readings(shop, names, {"person": "BK"}, who="IS", why="another hand")
    now = {one.id: one for one in readings_of(shop, PIECE).readings}
    assert [now[one.by].person for one in done.readings] == ["BK"] * 3
    assert [now[one.by].value for one in done.readings] == [one.value for one in own[:3]]
    assert {(e.kind, e.who, e.note) for e in shop.store.entries()[len(before) :]} >= {
        ("correction", "IS", "another hand")
    }
    assert len({one.series for one in done.series}) == len(done.series) > 0
    assert done.to_text().count("BK") == 3 and shop.store.verify() == []
    json.dumps(done.to_dict(), allow_nan=False)
    names = [str(one.by) for one in done.readings]
    back = withdraw_readings(shop, names, who="IS", why="dry slide")
    assert {one.state for one in back.readings} == {"taken back"}
    states = {one.id: one.state for one in readings_of(shop, PIECE).readings}
    assert [states[int(name)] for name in names] == ["taken back"] * 3
    kept = {verdict["key"]: verdict for verdict in (v.to_dict() for v in load_verdicts(shop))}
    own = {verdict["key"]: verdict for verdict in anew(shop) if verdict["key"].startswith("slide/clearance/")}
    assert own and own == {key: kept[key] for key in own}


def test_a_reading_taken_back_counts_no_more_and_can_come_in_again(shop):
    old = force_of(shop)
    done = withdraw_reading(shop, FORCE, who="IS", why="the slide was not greased")
    assert done.state == "taken back" and "counts no more" in done.sentence
    (verdict,) = [v for v in load_verdicts(shop) if str(v.key) == "slide/force/all"]
    assert PIECE not in [p.serial for p in verdict.points]
    with pytest.raises(QcError, match="taken back already, by IS: the slide was not greased"):
        withdraw_reading(shop, str(old.id), who="IS", why="again")
    correct_reading(shop, str(old.id), {"value": old.typed}, who="IS", why="it was greased")
    assert force_of(shop).value == old.value
    assert shop.store.verify() == []


def test_judging_only_what_was_touched_says_what_judging_everything_says(shop):
    correct_reading(shop, FORCE, {"value": "0.99"}, who="IS", why="misread")
    withdraw_reading(shop, "QH-1040/force", who="IS", why="wrong slide")
    kept = {str(v.key): v.to_dict() for v in load_verdicts(shop)}
    assert kept["slide/force/all"] == {v["key"]: v for v in anew(shop)}["slide/force/all"]


def test_a_figure_that_cannot_be_is_refused_and_a_doubtful_one_asked_about(shop):
    before = shop.store.head()
    with pytest.raises(QcError, match="Nothing was changed.*cannot be right") as fault:
        correct_reading(shop, FORCE, {"value": "900"}, who="IS", why="x")
    assert "--as-typed" not in str(fault.value)
    with pytest.raises(QcError, match="no figure for value"):
        correct_reading(shop, FORCE, {"value": "loose"}, who="IS", why="x")
    with pytest.raises(QcError, match="cannot be changed"):
        correct_reading(shop, FORCE, {"file": "a.csv"}, who="IS", why="x")
    assert shop.store.head() == before


def test_who_and_why_are_asked(shop):
    with pytest.raises(UsageError, match="add --who with one of IS, BK"):
        withdraw_reading(shop, FORCE, who="", why="x")
    with pytest.raises(UsageError, match="Say why with --why"):
        withdraw_reading(shop, FORCE, who="IS", why=" ")
    with pytest.raises(QcError, match="knows no 'XX'"):
        correct_reading(shop, FORCE, {"value": "0.97"}, who="XX", why="x")


def test_a_name_that_fits_several_names_them_and_one_that_fits_none_says_how(shop):
    with pytest.raises(QcError, match=rf"readings are called {PIECE}. Name one by its number: \d+ {PIECE}, "):
        withdraw_reading(shop, PIECE, who="IS", why="x")
    with pytest.raises(QcError, match="There is no reading QH-9999"):
        withdraw_reading(shop, "QH-9999", who="IS", why="x")
    with pytest.raises(QcError, match=f"No reading is called {PIECE}/nothing"):
        withdraw_reading(shop, f"{PIECE}/nothing", who="IS", why="x")


def test_an_undone_mend_waits_again_and_its_reading_counts_no_more(shop):
    row = next(r for r in list_held(shop).rows if r.proposal and "value" in r.proposal)
    mend_held(shop, row.id, who="IS")
    (undone,) = undo_decisions(shop, [row.id], who="IS", why="it was another tube").rows
    assert row.what in undone.sentence
    again = next(r for r in list_held(shop).rows if r.id == undone.waits_as)
    assert (again.where, again.mends) == (row.where, row.mends)
    mend_held(shop, again.id, Decision.DROP, who="IS")
    (back,) = undo_decisions(shop, [again.id], who="IS", why="keep it").rows
    assert mend_held(shop, back.waits_as, who="IS").state == "accepted"
    with pytest.raises(QcError, match=f"waits as row {undone.waits_as}"):
        undo_decisions(shop, [row.id], who="IS", why="twice")
    assert not_judged_since(shop) is None and shop.store.verify() == []


def force_card(value, serial="QH-1217", day="2026-11-24"):
    """Return a slide force card of one piece, as a bench writes it."""
    rows = ["Card,Slide force card,,,", "Gauge,SB-1,,,", ",,,,", "Date,Serial,Model,Person,Slide force [N]"]
    return "\n".join([*rows, f"{day},{serial},tenor,FN,{value}"]).encode()


def test_a_correction_handed_in_with_its_original_is_offered_like_any_other(shop):
    model = shop.store.pieces(["QH-1030"])["model"][0]
    first, second = (
        force_card(value, PIECE, "2025-10-03").replace(b"tenor", model.encode())
        for value in ("0.950", "0.96")
    )
    waiting = {row.id for row in list_held(shop).rows}
    receipt = upload(shop, [("first.csv", first), ("second.csv", second)], who="FN")
    assert [sheet.count.held for sheet in receipt.sheets] == [0, 1], receipt.to_text()
    (row,) = [row for row in list_held(shop).rows if row.id not in waiting]
    assert row.mends == ("0.950 becomes 0.96",)
    assert "repeat number" not in " ".join(reason.mend for reason in row.reasons)
    done = mend_held(shop, row.id, who="IS")
    assert done.state == "accepted" and "0.950 becomes 0.96" in done.sentence
    became = {one.typed: one.state for one in readings_of(shop, PIECE).readings if one.day == "2025-10-03"}
    assert became == {"0.950": "corrected", "0.96": "stands"}


def test_a_correction_card_takes_the_place_of_what_stands_when_it_is_accepted(shop):
    old = force_of(shop)
    model = shop.store.pieces([PIECE])["model"][0]
    card = force_card("0.93", PIECE, old.day).replace(b"tenor", model.encode())
    waiting = {row.id for row in list_held(shop).rows}
    upload(shop, [("correction.csv", card)], who="FN")
    (row,) = [row for row in list_held(shop).rows if row.id not in waiting]
    assert row.mends == (f"{old.typed} becomes 0.93",)
    correct_reading(shop, FORCE, {"value": "0.94"}, who="IS", why="misread")
    (row,) = [row for row in list_held(shop).rows if row.id not in waiting]
    assert row.mends == ("0.94 becomes 0.93",)
    assert mend_held(shop, row.id, who="IS").state == "accepted"
    assert force_of(shop).value == 0.93
    undo_decisions(shop, [row.id], who="IS", why="the card was of another piece")
    assert force_of(shop).value == 0.94 and shop.store.verify() == []


def test_a_serial_put_right_to_another_writing_is_stored_so_and_what_is_left_is_said(shop):
    said = {"who": "IS", "why": "the rotor's own letters", "as_typed": True}
    small = correct_reading(shop, str(force_of(shop).id), {"serial": "rt 711"}, **said)
    done = correct_reading(shop, str(small.by), {"serial": "RT-711"}, **said)
    assert "rt 711 becomes RT-711" in done.sentence
    assert done.sentence.endswith("Nothing stands under rt 711 any more.")
    assert [one.id for one in readings_of(shop, "RT-711").readings if one.state == "stands"] == [done.by]


def test_a_serial_that_is_there_already_in_another_writing_is_not_said_to_be_changed(shop):
    old = force_of(shop)
    with pytest.raises(JobError, match=f"says {PIECE} already"):
        correct_reading(shop, str(old.id), {"serial": PIECE.lower()}, who="IS", why="small letters")
    assert force_of(shop).id == old.id
