"""A serial far ahead of its series: asked about on its day, and remembered when the right one comes."""

import json
from dataclasses import replace
from datetime import date, timedelta

import pytest

from qc.ingest import check, known_from, read_sheet, unfold
from qc.ingest.doubts.pieces.serial_series import FURTHER, LEAST, LED, find_leads
from qc.ingest.doubts.record import taken_apart

START = date(2026, 2, 2)


def day(at):
    return START + timedelta(days=2 * at)


def polish(*rows):
    head = [["Card", "Polishing card"], [], ["Date", "Serial", "Model", "Mass loss"]]
    return head + [[on, serial, "tenor", f"{17 + at % 5 / 3:.1f}"] for at, (serial, on) in enumerate(rows)]


def assembly(*rows):
    head = [["Card", "Assembly card"], [], ["Date", "Serial", "Model", "Part", "Role", "Person"]]
    return head + [[on, serial, "tenor", part, "bell", "AB"] for on, serial, part in rows]


@pytest.fixture
def shop(plan, known, as_csv):
    """Return what is asked about some cards after others have gone in."""
    bare = plan.model_copy(update={"workshop": plan.workshop.model_copy(update={"serial_prefix": ""})})

    def given(cells, past):
        sheets = [unfold(read_sheet(as_csv(rows), f"{at}.csv")[0], bare) for at, rows in enumerate(cells)]
        return check(sheets, bare, past)

    def run(on_record, *cells, today=known.today, waiting=()):
        before = given([polish(*on_record)], known)[0]
        assert before.held.is_empty()
        past = known_from(known.today, before.readings.with_row_index("id"), before.events)
        held = [
            row
            for one in given(cells, replace(past, today=today, waiting=frozenset(waiting)))
            for row in one.held.to_dicts()
        ]
        return [reason for row in held for reason in json.loads(row["reasons"])]

    return run


def run_of(*numbers):
    return [(f"CK-{n}", day(at)) for at, n in enumerate(numbers)]


def test_a_slip_far_ahead_is_asked_about_with_the_one_that_comes_next(shop):
    found = shop(run_of(*range(101, 123)), polish(("CK-132", day(22))))
    assert [(one["id"], one["proposal"]) for one in found] == [("unknown-serial", {"serial": "CK-123"})]
    assert "CK-132 is 10 numbers ahead of CK-122" in found[0]["sentence"]


def test_a_dozen_pieces_are_enough_to_ask_and_eleven_are_not(shop):
    assert [one["id"] for one in shop(run_of(*range(101, 101 + LED)), polish(("CK-190", day(13))))] == [
        "unknown-serial"
    ]
    assert shop(run_of(*range(101, 100 + LED)), polish(("CK-190", day(13)))) == []


@pytest.mark.parametrize(
    ("numbers", "typed"),
    [
        pytest.param(range(101, 123), 122 + LEAST, id="a little ahead"),
        pytest.param(
            [*range(101, 112), *range(140, 151), *range(180, 191)], 220, id="stretches left out before"
        ),
        pytest.param(range(200, 100, -4), 100, id="older than all"),
        pytest.param(range(100, 200, 5), 195 + FURTHER * 5, id="every fifth"),
    ],
)
def test_a_series_with_gaps_of_its_own_is_left_alone(shop, numbers, typed):
    assert shop(run_of(*numbers), polish((f"CK-{typed}", day(50)))) == []


def test_after_a_pause_so_much_more_may_have_been_made(shop):
    """Twenty-two in sixty days, the pause included: in eighteen days twice the pace is thirteen numbers."""
    seen = run_of(*range(101, 123))
    assert shop(seen, polish(("CK-134", day(22 + 8)))) == []
    assert [one["id"] for one in shop(seen, polish(("CK-142", day(22 + 8))))] == ["unknown-serial"]


def test_a_piece_that_two_cards_name_is_no_slip(shop, as_csv):
    joints = [
        ["Card", "Joints card"],
        [],
        ["Date", "Serial", "Model", "Leak"],
        [day(22), "CK-132", "tenor", "1.2"],
    ]
    assert shop(run_of(*range(101, 123)), polish(("CK-132", day(22))), joints) == []


def test_cards_in_any_order_are_no_slips(shop):
    """The first of a card is where the rest goes on; a card handed in late ends where a later one begins."""
    late = [*run_of(*range(101, 123)), *((f"CK-{n}", day(40)) for n in range(150, 158))]
    assert shop(late, polish(*((f"CK-{n}", day(38)) for n in range(142, 150)))) == []
    assert [one["id"] for one in shop(late, polish(("CK-140", day(38))))] == ["unknown-serial"]


def test_pieces_that_wait_for_another_answer_are_there(shop):
    held = [f"CK-{n}" for n in range(123, 132)]
    assert shop(run_of(*range(101, 123)), polish(("CK-132", day(23))), waiting=held) == []


def test_rows_beside_it_count_though_their_figures_are_in_doubt(shop):
    rows = [[day(22), f"CK-{n}", "tenor", "1700"] for n in range(123, 135)]
    sheet = [["Card", "Polishing card"], [], ["Date", "Serial", "Model", "Mass loss"], *rows]
    sheet.append([day(22), "CK-135", "tenor", "17.5"])
    assert "unknown-serial" not in {one["id"] for one in shop(run_of(*range(101, 123)), sheet)}


def test_one_slip_that_went_in_hides_no_second_one():
    days = {
        f"CK-{n}": {("a", "b"): (on,)}
        for n, on in zip([*range(101, 110), 190, *range(110, 120)], map(day, range(20)), strict=True)
    }
    lead = find_leads(days)["CK-"]
    assert lead.usual() == 1
    assert lead.doubt("CK-160", taken_apart("CK-160"), day(20)) is not None
    assert lead.doubt("CK-120", taken_apart("CK-120"), day(20)) is None


def test_the_right_piece_is_not_taken_for_the_wrong_one_later(shop):
    """CK-123 was written CK-132 and confirmed in a hurry; ten pieces later the real CK-132 comes."""
    numbers = [*range(101, 123), 132, *range(124, 132)]
    (found,) = shop(run_of(*numbers), polish(("CK-132", day(31))))
    assert (found["id"], found["proposal"]) == ("doubled-serial", {})
    assert "that card came far ahead of its series, and CK-123 has none" in found["sentence"]
    assert found["mend"].startswith(f"If the card of {day(22)} was of CK-123, put that right")


def test_a_second_card_of_a_piece_in_its_place_keeps_its_offer(shop):
    (found,) = shop(run_of(*range(101, 132)), polish(("CK-131", day(31))))
    assert (found["id"], found["proposal"]) == ("doubled-serial", {"serial": "CK-132"})


def test_a_part_that_was_never_measured_is_asked_about_among_parts_that_were(shop):
    found = shop(run_of(*range(101, 110), *range(111, 115)), assembly((day(30), "VL-310", "CK-110")))
    assert [one["id"] for one in found] == ["never-begun"]
    assert "CK-110 is built into VL-310 and has no card on record" in found[0]["sentence"]
    assert "qc correct" in found[0]["mend"]


@pytest.mark.parametrize(
    "rows",
    [
        pytest.param([("VL-310", "CK-112")], id="measured"),
        pytest.param([("VL-310", "CK-115")], id="the next of the series: its card comes late"),
        pytest.param([("VL-310", "BL-110")], id="of a kind that nobody measures"),
        pytest.param([("VL-310", "CK-110"), ("VL-311", "CK-109")], id="two of a list: their card comes late"),
    ],
)
def test_a_part_without_a_card_may_be_in_order(shop, rows):
    numbers = [*range(101, 109), *range(111, 115)]
    assert shop(run_of(*numbers), assembly(*((day(30), *row) for row in rows))) == []


def test_a_part_whose_card_waits_for_an_answer_has_a_card(shop):
    seen = run_of(*range(101, 110), *range(111, 115))
    assert shop(seen, assembly((day(30), "VL-310", "CK-110")), waiting=["CK-110"]) == []
    doubted = [["Card", "Polishing card"], [], ["Date", "Serial", "Model", "Mass loss"]]
    doubted.append([day(18), "CK-110", "tenor", "1700"])
    found = shop(seen, assembly((day(30), "VL-310", "CK-110")), doubted)
    assert "never-begun" not in [one["id"] for one in found], "its card came in the same upload"


def test_leads_are_learned_from_the_newest_pieces_in_time_of_their_number():
    days = {f"CK-{n}": {("a", "b"): (day(at),)} for at, n in enumerate(range(100, 1_700))}
    assert find_leads(days)["CK-"].usual() == 1
    assert find_leads(days)["CK-"].numbers == list(range(100, 1_700))
