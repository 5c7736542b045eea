"""What was made under a cause stays listed until it is dealt with, wherever it is."""

from dataclasses import replace
from datetime import date

import pytest

from qc.jobs.pieces import HoldRow, PieceDecided
from qc.jobs.signals.pieces import BEYOND, MadeUnder, with_released

BENT = [f"A-{number:03d}" for number in range(31, 37)]


def test_measured_again_after_a_mend_it_stays_so_when_the_signal_is_reopened_and_closed_again(bows):
    assert [piece["serial"] for piece in bows.signal()["made_under"]] == BENT
    bows.close()
    bows.later().measure(dict.fromkeys(BENT[:4], 50.2))
    assert sorted(bows.waiting()) == BENT[4:]
    bows.later()
    bows.ask("signals", "reopen", "1", "--who", "ML")
    closed = bows.later().close()
    assert closed["to_tick"] == BENT[4:] and sorted(bows.waiting()) == BENT[4:]
    made = {piece["serial"]: piece["to_do"] for piece in closed["made_under"]}
    assert made["A-031"] == "measured again on 12 Mar; it is inside the limits on record."
    assert made["A-036"] == "measure it again before it leaves."


def test_made_after_a_mend_that_did_not_hold_it_was_not_measured_again_by_its_first_card(bows):
    bows.close()
    for _ in range(2):
        bows.bend(56.0, 2)  # the same signal opens anew
    assert bows.signal()["state"] == "open"
    bows.later().measure({"A-037": 56.1})  # read twice, while the cause still acted
    bows.later().measure({"A-031": 50.1})  # read again since the first mend, as before
    closed = bows.later().close()
    assert closed["to_tick"] == [*BENT[1:], "A-037", "A-038", "A-039", "A-040"]


def test_pieces_that_have_left_stay_listed_after_a_mend_until_somebody_decides(bows):
    bows.later().ship("A-032", "A-033")
    before = bows.waiting()
    assert [before[serial]["shipped"] is not None for serial in BENT] == [
        False,
        True,
        True,
        False,
        False,
        False,
    ]
    closed = bows.later().close()
    left = {serial: row for serial, row in bows.waiting().items() if row["shipped"]}
    assert sorted(left) == ["A-032", "A-033"]
    step = left["A-032"]["next_step"]
    assert step.startswith("It has left: decide with the lead whether to tell the customer or call it back")
    assert step.endswith("then tick it off: qc signals tick 1 --piece A-032 --who CODE")
    assert closed["to_tick"] == ["A-031", *BENT[3:]] and closed["to_decide"] == ["A-032", "A-033"]
    text = bows.say("signals", "show", "1")
    assert "2 pieces made under it have left, and nobody has decided about them: A-032, A-033." in text
    made = {piece["serial"]: piece["to_do"] for piece in closed["made_under"]}
    assert made["A-032"].startswith("left on 12 Mar; it is inside the limits on record: decide with the lead")
    piece = bows.ask("piece", "A-032")
    assert [row["why"] for row in piece["hold"]] == ["signal"]

    ticked = bows.ask("signals", "tick", "1", "--piece", "A-032", "--who", "ML", "--text", "customer told")
    assert ticked["to_decide"] == ["A-033"] and "A-032" not in bows.waiting()


def test_who_was_released_by_name_is_not_asked_about_once_more(bows):
    """The list of what was made under a cause asked to keep back, or to call back, what the lead let go."""
    bows.later().ship("A-032")
    for serial in "A-032", "A-033":
        bows.ask("hold", "release", serial, "--who", "ML", "--why", "seats well")
    bows.later()
    for signal in bows.signal(), bows.close():
        made = {piece["serial"]: piece for piece in signal["made_under"]}
        assert made["A-032"]["to_do"] == "left on 12 Mar; released by ML on 12 Mar (seats well)."
        assert made["A-033"]["to_do"] == "released by ML on 12 Mar (seats well)."
        assert made["A-033"]["released"]["who"] == "ML" and made["A-034"]["released"] is None
        assert made["A-034"]["to_do"] == "measure it again before it leaves."
    assert bows.signal()["to_tick"] == [BENT[0], *BENT[3:]]


def test_who_was_released_for_its_limit_alone_is_still_to_be_measured_again():
    """The lead let it go before the signal was told: that says nothing of the signal."""
    day = date(2026, 11, 16)
    piece = MadeUnder("A-1", day, "", None, f"{BEYOND}: keep it back until it is mended and measured again.")
    row = HoldRow("A-1", "bow", "rise", "Rise", "mm", None, "limit", "", "", (("63 mm",),))
    released = replace(row, released=PieceDecided("ML", "under the ring", day))
    told = with_released(piece, [released], {"s-1"}, day)
    said = "released for that by ML on 16 Nov (under the ring); measure it again before it leaves."
    assert told.to_do == f"beyond the limit, {said}"
    assert with_released(piece, [row], {"s-1"}, day) == piece
    assert with_released(replace(piece, serial="A-2"), [released], {"s-1"}, day).to_do == piece.to_do


@pytest.mark.parametrize("good", [6, 14])
def test_good_pieces_made_since_a_mend_were_not_made_under_its_cause_when_it_is_closed_once_more(bows, good):
    bows.close()
    for _ in range(good // 2):
        bows.bend(50.0, 2)
    bows.later()
    bows.ask("signals", "reopen", "1", "--who", "ML")
    closed = bows.later().close()
    assert closed["to_tick"] == BENT


def test_after_a_mend_that_did_not_hold_the_beginning_is_that_of_the_cause(bows):
    bows.close()
    for _ in range(2):
        bows.bend(56.0, 2)  # the same signal opens anew
    found = bows.signal()
    assert (found["state"], found["since_serial"], found["start_serial"]) == ("open", "A-031", "A-037")
    assert "since A-031 (9 Mar); mended on 11 Mar, and still there after it." in found["sentence"]
    assert found["pieces"] == 10
    held = bows.waiting()
    assert sorted(held) == [*BENT, "A-037", "A-038", "A-039", "A-040"]
    assert all("since A-031" in row["because"] for row in held.values())
    assert "since A-031" in bows.say("status")
    (series,) = bows.ask("status")["series"]
    assert (series["since_serial"], series["since_date"]) == ("A-031", "2026-03-09")


def test_what_was_made_after_a_mend_leaves_freely(bows):
    bows.bend(54.0, 2)
    assert sorted(bows.waiting()) == [*BENT, "A-037", "A-038"], "while nobody has answered all are held"
    bows.later().ship("A-037")
    bows.later()
    bows.ask("signals", "close", "1", *bows.mended, "--from", "A-037", "--who", "ML")
    assert sorted(bows.waiting()) == BENT
    (row,) = [row for row in bows.ask("hold")["pieces"] if row["serial"] == "A-037"]
    assert row["left_held"] and row["released"]["who"] == "ML", "it left before the answer, which lets it go"
    assert "it was not made under the cause of signal 1, which was mended" in row["released"]["why"]
    bows.later().ship("A-034", "A-038")
    assert sorted(bows.waiting()) == BENT


def test_of_what_left_meanwhile_nobody_is_called_back_for_a_signal_without_a_cause(bows):
    bows.later().ship("A-032", "A-033")
    bows.later()
    words = ("--false", "--who", "ML", "--text", "the plate had shifted")
    closed = bows.ask("signals", "close", "1", *words)
    assert bows.waiting() == {}
    rows = {row["serial"]: row for row in bows.ask("hold", "--all")["pieces"]}
    assert sorted(rows) == ["A-032", "A-033"], "they stay listed with how they were let go"
    assert rows["A-032"]["left_held"]
    assert rows["A-032"]["released"]["why"] == "signal 1 had no cause: the plate had shifted"
    assert "Left while to be held" not in bows.say("hold")
    to_do = {piece["serial"]: piece["to_do"] for piece in closed["made_under"]}
    asked = "it is inside the limits on record; nothing more is asked of it: no cause."
    assert to_do["A-032"] == f"left on 12 Mar; {asked}"
    assert to_do["A-034"].startswith("nothing more is asked of it")
    bows.ask("signals", "reopen", "1", "--who", "ML")
    assert sorted(bows.waiting()) == BENT
    bows.ask("signals", "close", "1", *words)
    bows.ask("hold", "keep", "A-032", "--who", "ML", "--why", "the player is asked")
    assert sorted(bows.waiting()) == ["A-032"]


def test_a_past_day_tells_of_what_left_while_held_as_it_did_then(bows):
    bows.later().ship("A-032")
    bows.later().close()
    then, day = bows.waiting(), bows.day
    bows.bend(50.0, 2)
    bows.day = day
    assert {one: row["left_held"] for one, row in bows.waiting().items()} == {
        one: row["left_held"] for one, row in then.items()
    }


def test_what_was_measured_again_after_a_mend_leaves_freely(bows):
    bows.later().close()
    bows.later().measure({"A-031": 50.2})
    bows.later().ship("A-031", "A-032")
    assert sorted(bows.waiting()) == BENT[1:]


def test_what_came_back_is_in_the_house_everywhere(bows):
    bows.later().ship("A-032")
    bows.later().close()
    bows.later().hand_in("serial,returned", [f"A-032,{bows.day}"])
    found = bows.signal()
    assert "A-032" in found["to_tick"] and "to_decide" not in found
    (piece,) = [one for one in found["made_under"] if one["serial"] == "A-032"]
    assert (piece["shipped"], piece["to_do"]) == (None, "measure it again before it leaves.")
    assert bows.waiting()["A-032"]["where"].startswith("came back")
