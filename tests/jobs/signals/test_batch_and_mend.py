"""What a batch held that a signal suspected first, and what a mend of that signal lets go."""

import pytest

from qc.jobs.monthly.gathering import month_content
from qc.jobs.workshop import open_workshop

MANY = [f"A-{number:03d}" for number in range(31, 43)]


def mend(lots, first):
    lots.ask("signals", "close", "1", *lots.mended, "--from", first, "--who", "ML")


def listed(lots, serial):
    """Return the rows of a piece on the list, whatever became of them."""
    return [row for row in lots.ask("hold", "--all")["pieces"] if row["serial"] == serial]


@pytest.fixture
def anew(lots):
    """Mend the cause in error, so that the signal opens anew and its lot stays the first suspect."""
    mend(lots.later(), "A-037")
    for _ in range(3):
        lots.bend(56.0, 2)
    return lots


def test_the_suspect_is_the_lot_and_holds_what_bears_it(anew):
    assert (anew.signal()["state"], anew.signal()["suspects"][0]["name"]) == ("open", "T-2")
    assert sorted(anew.waiting("batch")) == MANY and sorted(anew.waiting()) == MANY


def test_no_face_says_that_what_was_made_after_a_mend_left_while_held(anew):
    mend(anew.later(), "A-043")  # the piece named first comes in later
    anew.bend(50.0, 2)
    assert anew.signal()["suspects"][0]["name"] == "T-2"
    anew.later()
    left = anew.ask("upload", anew.shipping("A-031", "A-043", "A-044"), "--who", "FT")["left"]
    assert [piece["serial"] for piece in left] == ["A-031"], "what was made under the cause is told"
    assert listed(anew, "A-043") == listed(anew, "A-044") == []
    assert anew.ask("piece", "A-044")["hold"] == []
    shop = open_workshop(anew.folder, as_of=anew.day)
    content = month_content(shop, "2026-03")
    shop.store.close()
    assert content.left_held == ("A-031",)
    assert not any("A-044" in said for said in (*content.decisions, anew.say("status")))


def test_one_made_after_a_mend_that_left_before_the_answer_is_let_go_by_it(lots):
    lots.bend(54.0, 2)
    lots.later().ship("A-037")
    mend(lots.later(), "A-037")
    (row,) = [row for row in listed(lots, "A-037") if row["why"] == "batch"]
    assert row["left_held"] and row["released"]["who"] == "ML"
    assert "it was not made under the cause of signal 1, which was mended" in row["released"]["why"]


def test_between_a_mend_that_did_not_hold_and_its_reopening_the_batch_held_nothing(lots):
    mend(lots.later(), "A-037")
    lots.bend(54.0, 1)
    lots.later().ship("A-037")
    assert not any(row["left_held"] for row in listed(lots, "A-037"))
    for _ in range(3):
        lots.bend(56.0, 2)
    assert (lots.signal()["state"], lots.signal()["suspects"][0]["name"]) == ("open", "T-2")
    (row,) = [row for row in listed(lots, "A-037") if row["why"] == "batch"]
    assert not row["left_held"]
