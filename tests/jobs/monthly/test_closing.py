"""A month that is closed stands: its files return as they were; what comes late is told in the next one."""

import io
from datetime import date

import openpyxl
import pytest

from qc.errors import MachineError, QcError, UsageError
from qc.jobs.errors import JobError
from qc.jobs.monthly import close_month, closing, month, month_content
from qc.jobs.people import add_person
from qc.jobs.rows import Decision, correct_reading, settle_rows, withdraw_reading
from qc.jobs.verify import verify_store
from qc.store import StoreUnavailable

JUNE = date(2026, 6, 2)


def cells(report, name):
    book = openpyxl.load_workbook(io.BytesIO(report.files[2].read_bytes()))
    return [[cell.value for cell in row] for row in book[name].iter_rows()][1:]


def test_a_role_that_is_taken_while_the_report_is_written_closes_no_month(shop, monkeypatch):
    """The role was asked before the minute of writing, and not again where the month is closed."""
    workshop = shop(JUNE)
    once = add_person(workshop, "ML", "lead")
    add_person(workshop, "FT", "lead")
    assert once.one_time_code
    gathered = closing.month_content

    def demoted_meanwhile(*given, **more):
        add_person(workshop, "ML", "technician")
        return gathered(*given, **more)

    monkeypatch.setattr(closing, "month_content", demoted_meanwhile)
    with pytest.raises(QcError, match="ML"):
        close_month(workshop, "2026-05", who="ML")
    monkeypatch.undo()
    assert not (workshop.folder / "reports" / "2026-05").exists()
    assert workshop.store.verify() == []


def test_later_runs_return_the_stored_files_and_late_cards_stand_in_the_next_month(shop, cards, tmp_path):
    workshop = shop(JUNE)
    closed = close_month(workshop, "2026-05", who="ML")
    before = [path.read_bytes() for path in closed.files]
    assert closed.answer["closed"] == "Closed by ML on 2 Jun 2026."
    assert " 2 pieces to hold" in closed.answer["headline"]
    cards.hand_in(
        workshop.folder, date(2026, 6, 3), "late.csv", cards.card(20, date(2026, 5, 20), [50.0, 50.5])
    )
    (row,) = workshop.store.held()
    settle_rows(shop(date(2026, 6, 4)), [row.id], Decision.BY_HAND, {"value": 50.1}, who="FT")
    later = shop(date(2026, 6, 5))
    again = month(later, "2026-05")
    assert [path.read_bytes() for path in again.files] == before and again.answer == closed.answer
    assert close_month(later, "2026-05", who="ML").files == closed.files
    copies = month(later, "2026-05", out=tmp_path / "copies").files
    assert [path.read_bytes() for path in copies] == before and copies[0].parent == tmp_path / "copies"
    june = month(later, "2026-06")
    late, settled = june.content.since_closed
    assert late.what == "late.csv, handed in 3 Jun 2026 by FT" and late.number == 2
    assert late.remark == "2 readings, of 20 May 2026 to 21 May 2026"
    assert settled.number == 1 and "settled since" in settled.what
    assert [row[:2] for row in cells(june, "Since closed")] == [[g.what, g.number] for g in (late, settled)]
    assert b"late.csv" in june.files[1].read_bytes()
    assert june.content.gaps[0].number == 2, "a late card of May is not counted in June"


def test_what_is_put_right_of_a_closed_month_stands_in_the_next(shop, cards):
    """A reading corrected twice is told once: what the closed report knew, and what stands now."""
    workshop = shop(JUNE)
    correct_reading(workshop, "B-002", {"value": "49.7"}, who="ML", why="misread")
    close_month(workshop, "2026-05", who="ML")
    later = shop(date(2026, 6, 5))
    once = correct_reading(later, "B-001", {"value": "50.4"}, who="FT", why="slip")
    correct_reading(later, str(once.by), {"value": "50.3"}, who="FT", why="slip again")
    correct_reading(later, "B-004", {"day": "2026-05-08"}, who="ML", why="wrong day")
    withdraw_reading(later, "B-003", who="ML", why="another piece")
    june = shop(date(2026, 6, 9))
    content = month_content(june, "2026-06")
    assert [(g.what, g.remark) for g in content.since_closed] == [
        ("B-001, Rise, put right 5 Jun 2026 by FT", "50.1 becomes 50.3, of 4 May 2026: slip"),
        ("B-003, Rise, taken back 5 Jun 2026 by ML", "50.4, of 6 May 2026: another piece"),
        (
            "B-004, Rise, put right 5 Jun 2026 by ML",
            "day 2026-05-07 becomes 2026-05-08, of 7 May 2026: wrong day",
        ),
    ]
    assert june.store.put_right_since(0, date(2026, 5, 31)) == []
    told = month(june, "2026-06")
    assert "B-003, Rise, taken back 5 Jun 2026 by ML" in told.files[1].read_text("utf-8")
    assert cells(told, "Since closed")[0][0] == "B-001, Rise, put right 5 Jun 2026 by FT"


def test_a_closed_month_stands_beside_another_as_it_was_told(shop, cards):
    """The next report had 73 % of a stage whose closed report says 80 %: a card came late."""
    close_month(shop(JUNE), "2026-05", who="ML")
    told = month_content(shop(JUNE), "2026-06")
    folder = shop(JUNE).folder
    late = cards.card(20, date(2026, 5, 20), [55.5, 55.9])
    cards.hand_in(folder, date(2026, 6, 3), "late.csv", late)
    june = month_content(shop(date(2026, 6, 9)), "2026-06")
    assert len(june.since_closed) == 1
    assert june.yields[0].before == told.yields[0].before == (7, 8)
    assert june.rolled.before == told.rolled.before and june.shipped_before is None
    (folder / "reports" / "2026-05" / "month-2026-05.json").unlink()
    assert month_content(shop(date(2026, 6, 9)), "2026-06").yields[0].before == (7, 10), "counted anew"


def test_a_row_held_after_its_month_was_closed_stands_in_the_next(shop, cards):
    """It stood in no report: of May, closed by then, and not of June."""
    workshop = shop(JUNE)
    close_month(workshop, "2026-05", who="ML")
    cards.hand_in(workshop.folder, date(2026, 6, 3), "late.csv", cards.card(20, date(2026, 5, 20), [50, 505]))
    late, held = month_content(shop(date(2026, 6, 9)), "2026-06").since_closed
    assert late.what.startswith("late.csv") and held.what.startswith("rows held, ")
    assert (held.number, held.remark) == (1, "1 still waiting")


def test_a_row_of_a_day_to_come_is_counted_where_it_was_handed_in(shop, cards):
    """A year typed wrong: its held row stood in no report until that year."""
    folder = shop(JUNE).folder
    cards.hand_in(folder, date(2026, 6, 3), "slip.csv", cards.card(40, date(2028, 6, 3), [50.0]))
    gaps = month_content(shop(date(2026, 6, 9)), "2026-06").gaps
    assert [(g.number, g.remark) for g in gaps if g.what.startswith("rows held")] == [(1, "1 still waiting")]


def test_nothing_is_late_while_the_month_before_is_open(shop):
    assert month_content(shop(JUNE), "2026-06").since_closed == ()


def test_only_the_lead_closes_a_month_and_only_one_that_is_over(shop):
    workshop = shop(JUNE)
    with pytest.raises(JobError, match="To close a month is for the quality lead, ML in the plan"):
        close_month(workshop, "2026-05", who="FT")
    with pytest.raises(UsageError, match="Say who you are"):
        close_month(workshop, "2026-05", who="")
    with pytest.raises(JobError, match="June 2026 is not over: today is 2 Jun 2026"):
        close_month(workshop, "2026-06", who="ML")
    assert workshop.store.closed_months() == []


def test_a_stored_file_that_is_lost_or_altered_is_no_report(shop):
    workshop = shop(JUNE)
    pdf, page, _ = close_month(workshop, "2026-05", who="ML").files
    assert verify_store(workshop.store).faults == ()
    page.write_bytes(b"better figures")
    with pytest.raises(QcError, match="was altered since ML closed the month"):
        month(workshop, "2026-05")
    assert "month-2026-05.html was altered" in verify_store(workshop.store).faults[0]
    page.unlink()
    with pytest.raises(QcError, match=r"month-2026-05.html is missing, and 2026-05 is closed"):
        month(workshop, "2026-05")
    assert pdf.is_file()


def test_what_comes_in_while_the_report_is_written_leaves_the_month_open(shop, cards, monkeypatch):
    workshop = shop(JUNE)
    from qc.jobs.monthly import closing

    def written(content, progress):
        cards.hand_in(workshop.folder, JUNE, "meanwhile.csv", cards.card(40, date(2026, 5, 27), [50.0]))
        return {"month-2026-05.pdf": b"x"}

    monkeypatch.setattr(closing, "written_files", written)
    with pytest.raises(JobError, match="handed in while the report was written"):
        close_month(workshop, "2026-05", who="ML")
    assert workshop.store.closed_months() == [] and not (workshop.folder / "reports" / "2026-05").exists()


def test_a_disk_that_is_full_leaves_the_month_open(shop, monkeypatch):
    workshop = shop(JUNE)
    from qc.jobs.monthly import closing

    def full(*_, **__):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(closing, "put_files", full)
    with pytest.raises(QcError, match=r"cannot be written here .*The month is not closed"):
        close_month(workshop, "2026-05", who="ML")
    assert workshop.store.closed_months() == []


def test_a_piece_outside_its_limit_stands_on_the_first_page(shop):
    """One measured outside on the 8th was on no page but its list, far behind."""
    content = month_content(shop(JUNE), "2026-05")
    outside, waits = [one for one in content.hold if one.why == "limit"]
    assert "held row" in f"{waits}", "one whose figure waits in a held row, outside as it was typed"
    assert (outside.serial, outside.day, outside.standing) == ("B-005", date(2026, 5, 8), "to hold")
    assert [one[:3] for one in content.not_passed] == [("Bow", "B-005", date(2026, 5, 8))]
    assert (content.yields[0].passed, content.yields[0].through) == (7, 8)


def test_held_rows_are_counted_by_kind_and_what_became_of_them(shop):
    workshop = shop(JUNE)
    held = [g for g in month_content(workshop, "2026-05").gaps if g.what.startswith("rows held")]
    assert [(g.number, g.remark) for g in held] == [(1, "1 still waiting")]
    assert "-" not in held[0].what


def test_a_plan_that_changed_is_told_in_its_month(shop, cards):
    folder = shop(JUNE).folder
    (folder / "plan.yaml").write_text(cards.plan.replace("upper: 54", "upper: 53"))
    workshop = shop(date(2026, 6, 3))
    (said,) = month_content(workshop, "2026-06").plan_changes
    assert said == "3 Jun 2026, version 2: Bow: Rise: from 46 to 54 mm, now from 46 to 53 mm."
    assert month_content(workshop, "2026-05").plan_changes == ()


def test_a_report_says_how_far_judging_and_drawing_are(shop):
    told = []
    month(shop(JUNE), "2026-06", progress=lambda *said: told.append(said))
    made = [(n, 3, "files made:") for n in (1, 2, 3)]
    assert told == [(1, 1, "series judged:"), (1, 1, "series drawn:"), *made]


def test_a_month_that_cannot_be_closed_leaves_the_report_of_before(shop, monkeypatch):
    """The files are written first: where the month does not become closed, none says that it is."""

    def full(*_, **__):
        raise StoreUnavailable("The disk is full.")

    workshop = shop(JUNE)
    place = workshop.folder / "reports" / "2026-05"
    month(workshop, "2026-05")
    before = {path.name: path.read_bytes() for path in place.iterdir()}
    monkeypatch.setattr(type(workshop.store), "close_month", full)
    with pytest.raises(MachineError, match="full. Nothing was stored. The month is not closed.$"):
        close_month(workshop, "2026-05", who="ML")
    assert {path.name: path.read_bytes() for path in place.iterdir()} == before
