"""Pieces that leave although they are to be held: told on the receipt, in status, list and month."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from qc.jobs.bench import enter_card
from qc.jobs.monthly import month_content
from qc.jobs.pieces import hold_list
from qc.jobs.pieces.left import left_pieces
from qc.jobs.pieces.rows import HoldRow, Whereabouts
from qc.jobs.workshop import open_workshop

PLAN = Path(__file__).parents[3] / "sample_measurements" / "plan.yaml"
JOINTS = "Card,Joints card\n\nDate,Serial,Model,Leak\n"
SHIPPING = "Card,Shipping list\n\nShipped,Serial,Person\n"
OUTSIDE = "Joints: Joint leak: 6.0 cm³/min, over 4 cm³/min"
LEFT = f"QH-1401 left on 12 Nov 2026 while it was to be held. {OUTSIDE}."


@pytest.fixture
def ask(tmp_path, command):
    """Hand in a card with two pieces over their limit and one inside it; then run commands."""
    folder = tmp_path / "shop"
    folder.mkdir()
    shutil.copyfile(PLAN, folder / "plan.yaml")

    def run(*words, text="", day=""):
        if text:
            path = tmp_path / f"{day}-{abs(hash(text))}.csv"
            path.write_text(text, "utf-8")
            words = ("upload", path, "--as-of", day, *words)
        done = command(*words, "--workshop", folder)
        assert done.exit_code == 0, done.stderr
        return json.loads(done.stdout) if "--json" in words else done.stdout

    run.folder = folder
    rows = (("QH-1401", 6.0), ("QH-1402", 1.5), ("QH-1403", 6.0))
    run(text=JOINTS + "".join(f"2026-11-10,{one},tenor,{leak}\n" for one, leak in rows), day="2026-11-10")
    return run


def shipped(*serials, day="2026-11-12"):
    return SHIPPING + "".join(f"{day},{serial},IS\n" for serial in serials)


def test_the_receipt_names_what_left_while_held_with_value_and_limit_and_what_to_do(ask):
    said = ask(text=shipped("QH-1401", "QH-1402"), day="2026-11-12")
    assert f"▲ {LEFT}" in said and "QH-1402 left" not in said
    assert "Next: Find out where it is and whether it is to come back." in said
    assert "qc hold release QH-1401 --who CODE --why REASON" in said


def test_what_a_program_reads_of_it(ask):
    (left,) = ask("--json", text=shipped("QH-1401"), day="2026-11-12")["left"]
    assert (left["serial"], left["left"], left["held"]) == ("QH-1401", "2026-11-12", True)
    assert left["sentence"] == LEFT and left["rows"][0]["upper"] == 4.0


def test_status_list_and_month_say_that_it_left_while_held(ask):
    ask(text=shipped("QH-1401"), day="2026-11-12")
    said = ask("status", "--as-of", "2026-11-12")
    assert "\nLeft while to be held: 1 piece, QH-1401 (left 12 Nov 2026).\n" in said
    assert "Left while to be held: 1 piece." in ask("hold", "--as-of", "2026-11-12")
    (row,) = [r for r in ask("hold", "--as-of", "2026-11-12", "--json")["pieces"] if r["left_held"]]
    assert (row["serial"], row["value"], row["upper"]) == ("QH-1401", 6.0, 4.0)
    shop = open_workshop(ask.folder, as_of=date(2026, 11, 12))
    content = month_content(shop, "2026-11")
    assert content.left_held == ("QH-1401",)
    (piece,) = [one for one in content.hold if one.serial == "QH-1401"]
    assert piece.standing == "left while to be held on 12 Nov 2026"
    assert any("QH-1401 left while it was to be held" in said for said in content.decisions)
    shop.store.close()


def test_status_tells_what_is_to_be_held_in_three_short_lines_the_counts_first(ask):
    ask(text=shipped("QH-1401"), day="2026-11-12")
    rows = "".join(
        f"2026-11-13,QH-{number},tenor,{6.5 if number == 1443 else 5.0}\n" for number in range(1404, 1444)
    )
    ask(text=JOINTS + rows, day="2026-11-13")
    lines = ask("status", "--as-of", "2026-11-13").splitlines()
    first = next(number for number, line in enumerate(lines) if line.startswith("To hold: "))
    assert lines[first : first + 3] == [
        "To hold: 41 pieces in the house. Left unreleased: 1. See: qc hold",
        "The worst: QH-1443, Joints: Joint leak: 6.5 cm³/min, over 4 cm³/min.",
        "Left while to be held: 1 piece, QH-1401 (left 12 Nov 2026).",
    ]
    assert max(map(len, lines[first : first + 3])) <= 80


def test_one_that_was_released_before_leaves_without_a_word(ask):
    ask("hold", "release", "QH-1403", "--who", "IS", "--why", "seal is new", "--as-of", "2026-11-11")
    assert "while it was to be held" not in ask(text=shipped("QH-1403"), day="2026-11-12")


def test_what_was_known_only_after_it_left_was_not_held_then(ask):
    ask(text=shipped("QH-1402"), day="2026-11-12")
    late = ask(text=JOINTS + "2026-11-11,QH-1402,tenor,6.0\n", day="2026-11-20")
    assert "while it was to be held" not in late
    (row,) = [r for r in ask("hold", "--json", "--as-of", "2026-11-20")["pieces"] if r["serial"] == "QH-1402"]
    assert row["shipped"] == "2026-11-12" and row["left_held"] is False
    # a list that comes in after that says so
    again = ask(text=shipped("QH-1402", "QH-1401", day="2026-11-19"), day="2026-11-20")
    assert "QH-1401 left on 19 Nov 2026 while it was to be held." in again


def test_a_place_that_was_read_inside_since_hides_no_place_that_was_outside_when_it_left(ask):
    head = "Card,Lacquer card\n\nDate,Serial,Model,Area,Spot,Lacquer thickness\n"
    ask(text=head + "2026-11-10,QH-1450,tenor,slide,3,9.1\n", day="2026-11-10")
    ask(text=shipped("QH-1450"), day="2026-11-12")
    ask(text=head + "2026-11-11,QH-1450,tenor,slide,1,14.0\n", day="2026-11-20")
    (row,) = [r for r in ask("hold", "--json", "--as-of", "2026-11-20")["pieces"] if r["serial"] == "QH-1450"]
    assert row["place"] == "slide, spot 3" and row["left_held"] is True


def test_what_is_typed_at_the_bench_says_so_too(ask):
    shop = open_workshop(ask.folder, as_of=date(2026, 11, 12))
    boxes = {"Serial": "QH-1401", "Shipped": "2026-11-12", "Person": "IS"}
    sent = {"entry": "8" * 32, "card": "shipping", "boxes": boxes, "figures": {}, "left_out": [], "sure": []}
    assert enter_card(shop, sent, who="IS")["sentence"].endswith(LEFT)
    shop.store.close()


def test_a_receipt_says_that_its_number_is_of_its_own_sheets(ask):
    """Of the sheets one, in the house three: the receipt's number is no other count of the list."""
    said = ask(text=JOINTS + "2026-11-11,QH-1405,tenor,6.0\n", day="2026-11-11")
    shop = open_workshop(ask.folder, as_of=date(2026, 11, 11))
    pieces = {row.serial for row in hold_list(shop, judge=False).waiting}
    shop.store.close()
    assert pieces == {"QH-1401", "QH-1403", "QH-1405"}
    told = f"To hold of these sheets: 1 piece. QH-1405, {OUTSIDE}."
    assert f"{told} All that is to be held: qc hold" in said


def test_a_part_that_is_held_is_told_when_what_it_is_in_leaves(ask):
    """The tube is on the list by its own serial; the instrument that leaves is the one the receipt names."""
    drawn = "Card,Drawing log\n\nDate,Tube,Model,Die,Draws,Tube OD [mm],Person\n"
    ask(text=drawn + "2026-11-10,T-0901,tenor,D-24,40,14.940,BK\n", day="2026-11-10")
    parts = "Card,Assembly card\n\nDate,Serial,Model,Part,Role,Batch,Person\n"
    ask(text=parts + "2026-11-11,QH-1402,tenor,T-0901,outer-upper,,DO\n", day="2026-11-11")
    said = ask(text=shipped("QH-1402"), day="2026-11-12")
    assert "▲ QH-1402 left on 12 Nov 2026 while it was to be held. Its part T-0901, Draw: Tube OD: " in said
    assert "14.940 mm, over 14.93 mm" in said


def test_what_is_released_is_the_part_that_is_named_first():
    """Of two parts one was on the list by then; it is named, and the command is about it, not the other."""
    gone = Whereabouts("left", date(2026, 11, 12), whole="QH-1402")
    other, own = (
        HoldRow(part, "draw", "od", "Draw: Tube OD", "mm", None, "signal", "signal 1", "", (("a",),), gone)
        for part in ("T-0901", "T-0902")
    )
    own = replace(own, since=date(2026, 11, 10))
    (left,) = left_pieces([other, own], {"QH-1402"})
    assert "Its part T-0902, " in left.sentence and "and 1 more reason" in left.sentence
    assert left.release_by == "qc hold release T-0902 --who CODE --why REASON"
    assert [row["serial"] for row in left.to_dict()["rows"]] == ["T-0902", "T-0901"]  # the board goes by it


LATE = "QH-1402 left on 12 Nov 2026 and is outside a limit by what was handed in now."
LEAKED = f"{LATE} {OUTSIDE}."
LATE_LEAK = JOINTS + "2026-11-11,QH-1402,tenor,6.0\n"


def test_a_late_card_names_the_piece_that_had_left_with_value_and_limit_and_what_to_do(ask):
    ask(text=shipped("QH-1402"), day="2026-11-12")
    said = ask(text=LATE_LEAK, day="2026-11-20")
    assert f"▲ {LEAKED}" in said
    assert "Next: Tell whoever has it, or call it back to be looked at and measured again." in said
    assert "qc hold release QH-1402 --who CODE --why REASON" in said


def test_what_a_program_reads_of_a_late_card_and_what_only_stands_beside_it_is_not_told(ask):
    ask(text=shipped("QH-1401", "QH-1402", "QH-1403"), day="2026-11-12")
    text = LATE_LEAK + "2026-11-11,QH-1403,tenor,1.0\n"
    done = ask("--json", text=text, day="2026-11-20")
    (late,) = done["left_before"]
    assert (late["serial"], late["left"], late["held"]) == ("QH-1402", "2026-11-12", False)
    assert late["sentence"] == LEAKED and late["rows"][0]["upper"] == 4.0 and done["left"] == []
    # the same sheet once more tells nothing, nor does another card of a piece that is on the list
    assert ask("--json", text=text, day="2026-11-20")["left_before"] == []
    force = "Card,Slide force card\n\nDate,Serial,Model,Force\n2026-11-11,QH-1402,tenor,0.5\n"
    assert ask("--json", text=force, day="2026-11-21")["left_before"] == []


def test_a_late_card_that_waits_as_a_held_row_is_named_by_it(ask):
    """A card of a day after the piece left is held, and still says what its reader may have to act on."""
    ask(text=shipped("QH-1402"), day="2026-11-12")
    (late,) = ask("--json", text=JOINTS + "2026-11-14,QH-1402,tenor,6.0\n", day="2026-11-20")["left_before"]
    assert late["sentence"].startswith(f"{LATE} Joints: Joint leak: 6.0 cm³/min, over 4 cm³/min as typed")
    assert "on which nobody has decided" in late["sentence"]


def test_a_part_whose_late_card_is_outside_is_told_by_the_instrument_that_left(ask):
    parts = "Card,Assembly card\n\nDate,Serial,Model,Part,Role,Batch,Person\n"
    ask(text=parts + "2026-11-11,QH-1402,tenor,T-0901,outer-upper,,DO\n", day="2026-11-11")
    ask(text=shipped("QH-1402"), day="2026-11-12")
    drawn = "Card,Drawing log\n\nDate,Tube,Model,Die,Draws,Tube OD [mm],Person\n"
    (late,) = ask("--json", text=drawn + "2026-11-10,T-0901,tenor,D-24,40,14.940,BK\n", day="2026-11-20")[
        "left_before"
    ]
    assert late["sentence"].startswith(f"{LATE} Its part T-0901, Draw: Tube OD: 14.940 mm")


def test_a_late_card_that_is_typed_at_the_bench_says_so_too(ask):
    ask(text=shipped("QH-1402"), day="2026-11-12")
    shop = open_workshop(ask.folder, as_of=date(2026, 11, 20))
    boxes = {"Serial": "QH-1402", "Model": "tenor", "Date": "2026-11-11", "Person": "BK"}
    sent = {"entry": "9" * 32, "card": "joints-card", "boxes": boxes, "figures": {"0": "6.0"}, "left_out": []}
    assert LATE in enter_card(shop, {**sent, "sure": []}, who="BK")["sentence"]
    shop.store.close()


def test_of_a_piece_that_has_left_only_what_can_still_be_done_is_asked(ask):
    """Nobody can measure it again or keep it back; one that waits as a held row can still be answered."""
    ask(text=shipped("QH-1401", "QH-1402"), day="2026-11-12")
    ask(text=LATE_LEAK + "2026-11-14,QH-1404,tenor,6.0\n", day="2026-11-20")
    ask(text=shipped("QH-1404"), day="2026-11-21")
    ask(text=JOINTS + "2026-11-23,QH-1404,tenor,7.0\n", day="2026-11-23")
    rows = ask("hold", "--all", "--json", "--as-of", "2026-11-23")["pieces"]
    step = {row["serial"]: row["next_step"] for row in rows if row["why"] == "limit"}
    assert step["QH-1403"].startswith("Measure it again.")  # it is here
    assert step["QH-1401"].startswith("Find out where it is")
    assert step["QH-1402"].startswith("It has left: decide with the lead whether to tell the customer")
    assert step["QH-1404"].startswith("Answer held row 1: qc held list says what is asked. It has left: ")
    gone = {row["next_step"] for row in rows if row["shipped"]}
    assert len(gone) >= 3 and not any("easure" in said or "Keep it back" in said for said in gone)
