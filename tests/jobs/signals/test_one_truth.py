"""What the pages say of a piece agrees: since when it was held, whether it waits, and by when is asked."""

from dataclasses import replace
from datetime import date

import pytest

from qc.jobs.judging import verdicts_of_day
from qc.jobs.pieces import under_cause
from qc.jobs.workshop import open_workshop

BENT = [f"A-{number:03d}" for number in range(31, 37)]
COURSE = (
    *(54.3, 62.7, 59.7, 59.7, 64.3, 62.0, 70.0, 58.0, 58.7, 57.0, 74.0, 77.7, 82.3, 77.7, 97.3, 89.3),
    *(94.7, 82.7, 102.7, 103.3, 124.3),
)
"""Out of round by day [um]: an invented block that wears from the tenth piece on, first told as a step."""
TOLD_AFTER = 14  # pieces; the step is told by the next evening


def rows_of(shop):
    return {row["serial"]: row for row in shop.ask("hold", "--all")["pieces"] if row["why"] == "signal"}


def test_whose_card_came_in_after_it_had_left_was_not_held_when_it_left(bows):
    bows.later().ship("A-032")
    bows.later()
    sheet = bows.folder.parent / "late.csv"
    sheet.write_text(f"serial,model,date,person,gauge,rise\nA-099,alto,{date(2026, 3, 10)},FT,HG-1,56.0")
    bows.ship("A-099")
    bows.later().ask("upload", sheet, "--who", "FT")
    rows = rows_of(bows)
    assert {one: rows[one]["left_held"] for one in ("A-032", "A-099")} == {"A-032": True, "A-099": False}


def test_read_again_after_the_first_piece_of_the_mend_it_was_measured_again(bows):
    bows.bend(50.0, 2)  # the jig was shimmed that morning
    bows.measure({"A-033": 50.1})  # on the same day: nobody knows whether before or after
    bows.later().measure({"A-031": 50.2, "A-032": 50.3})
    bows.later(2)
    closed = bows.ask("signals", "close", "1", *bows.mended, "--from", "A-037", "--who", "ML")
    made = {piece["serial"]: piece["to_do"] for piece in closed["made_under"]}
    assert made["A-031"] == "measured again on 13 Mar; it is inside the limits on record."
    waiting = bows.waiting()
    assert sorted(waiting) == BENT[2:] == closed["to_tick"]
    assert {row["because"] for row in waiting.values()} == {
        "made under signal 1, mended before A-037 (12 Mar)"
    }
    bows.later().ship("A-031")
    assert "A-031" not in rows_of(bows)


def test_what_lies_before_the_start_of_a_mended_change_was_not_made_under_it(bows):
    bows.bend(50.0, 2)
    bows.ask("signals", "close", "1", *bows.mended, "--from", "A-037", "--who", "ML")
    workshop = open_workshop(bows.folder, as_of=bows.day)
    (verdict,) = verdicts_of_day(workshop)
    workshop.store.close()
    told_wider = replace(verdict.signals[-1], kept=("A-028", "A-036"))
    assert [point.serial for point in under_cause(told_wider, (), verdict)] == BENT
    open_yet = under_cause(replace(told_wider, mended=None), (), verdict)
    assert open_yet[0].serial == "A-028", "until it is answered it holds what it held"


def test_a_mend_of_which_no_first_piece_is_named_goes_by_the_day_of_closing(bows):
    bows.later().close()
    assert bows.waiting()["A-031"]["because"] == "made under signal 1, closed as mended on 12 Mar"


def test_what_left_inside_its_limits_waits_no_more_once_the_new_level_stays(bows):
    bows.later().measure({"A-033": 60.6})
    bows.later().ship("A-032", "A-033")
    bows.later()
    words = ("--cause", "jig", "--action", "asked and accepted", "--outcome", "stays", "--who", "ML")
    closed = bows.ask("signals", "close", "1", *words)
    rows, to_do = rows_of(bows), {piece["serial"]: piece["to_do"] for piece in closed["made_under"]}
    assert "nothing more is asked of it" in to_do["A-032"]
    assert rows["A-032"]["released"]["why"].startswith("the new level of signal 1 stays")
    assert [row["serial"] for row in bows.ask("piece", "A-032")["hold"] if not row["released"]] == []
    assert sorted(bows.waiting()) == ["A-033"], "it lies outside: somebody decides about it"
    assert "it has a figure beyond the limit" in to_do["A-033"]


@pytest.mark.parametrize(("days", "late"), [(7, 0), (8, 1)])
def test_the_days_to_answer_count_from_the_reopening_on_every_page(bows, days, late):
    bows.later()
    bows.ask("signals", "close", "1", "--false", "--who", "ML", "--text", "looked at")
    bows.later(20)
    bows.ask("signals", "reopen", "1", "--who", "ML")
    bows.later(days)
    found, (share,) = bows.signal(), bows.ask("status")["waiting"]["reactions"]
    assert (found["overdue"], found["due"]) == (bool(late), "2026-04-08")
    assert (share["number"], share["late"]) == (1, late)


def test_only_what_the_list_of_the_evening_held_left_while_it_was_to_be_held(command, bows, tmp_path):
    shop = type(bows)(command, tmp_path / "worn")
    (tmp_path / "worn").mkdir()
    shop.folder.mkdir()
    plan = (bows.folder / "plan.yaml").read_text().replace("lower: 40, upper: 60", "upper: 200")
    (shop.folder / "plan.yaml").write_text(plan)
    serials = [f"A-{number:03d}" for number in range(1, len(COURSE) + 1)]
    made = list(zip(serials, COURSE, strict=True))
    for serial, figure in made[:TOLD_AFTER]:
        shop.later().write({serial: figure})
    shop.ask("upload", *sorted(shop.folder.parent.glob("serial-*.csv")), "--who", "FT")
    that_evening = set(shop.waiting())
    assert that_evening, "the step is told"
    shop.ship(*serials[:TOLD_AFTER])
    sheets = [shop.later().write({serial: figure}) for serial, figure in made[TOLD_AFTER:]]
    shop.ask("upload", *sheets, "--who", "FT")
    out = {serial: row for serial, row in shop.waiting().items() if row["shipped"]}
    assert set(out) > that_evening, "it is told since an earlier piece now"
    assert {serial for serial, row in out.items() if row["left_held"]} == that_evening
    assert "Left while to be held" in shop.say("hold")
