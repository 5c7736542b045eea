from datetime import date

import pytest

from qc.ingest import Known, check, read_sheet, unfold
from qc.ingest.doubts.sheets.epoch_1904 import BETWEEN_EPOCHS

TODAY = date(2026, 5, 20)
HEAD = [["Card", "Polishing card"], [], ["Date", "Serial", "Model", "Mass loss"]]


def polish(*rows):
    return [*HEAD, *[[day, f"TH-10{n:02d}", "tenor", text] for n, (day, text) in enumerate(rows, 1)]]


@pytest.mark.parametrize("typed", ["14.05", "14.05.", "14.5"])
def test_a_date_without_its_year(judge, said, typed):
    found = said(judge(polish((typed, "18"), ("2026-05-13", "18"))))
    assert [r["id"] for r in found] == ["no-date", "day-month-date"]
    assert found[1]["proposal"] == {"day": "2026-05-14"}


def test_the_year_follows_the_sheet_not_today(judge, said):
    found = said(judge(polish(("28.12.", "18"), ("2025-01-03", "18"), ("2025-01-04", "18"))))
    assert found[1]["proposal"] == {"day": "2024-12-28"}


def test_a_date_that_stands_as_a_day_number(judge, said):
    found = said(judge(polish(("46156", "18"))))
    assert [r["id"] for r in found] == ["no-date", "spreadsheet-date"]
    assert found[1]["proposal"] == {"day": "2026-05-14"}


def test_dates_of_events_too(judge, said):
    rows = [
        ["Card", "Shipping list"],
        [],
        ["Serial", "Shipped", "Person"],
        ["TH-1", "14.05.", "AB"],
        ["TH-2", "46156", "AB"],
    ]
    assert [r["proposal"] for r in said(judge(rows)) if r["proposal"]] == [
        {"day": "2026-05-14"},
        {"day": "2026-05-14"},
    ]


@pytest.mark.parametrize("typed", ["2026-05-14", "14.05.2026", "14-May", "14. Mai"])
def test_a_figure_that_became_a_date(judge, said, slide_card, typed):
    found = {r["id"]: r for r in said(judge(slide_card(changes={(1, 5): typed})))}
    assert set(found) == {"not-a-number", "day-month-date"}
    assert found["day-month-date"]["proposal"] == {"value": 14.05}


def test_a_date_cell_in_a_workbook(plan, as_xlsx, said, slide_card):
    data = as_xlsx(slide_card(changes={(1, 5): date(2026, 5, 14)}), "TH-1001", "dd.mm")
    checked = check([unfold(read_sheet(data, "slide.xlsx")[0], plan)], plan, Known(today=TODAY))[0]
    found = {r["id"]: r for r in said(checked)}
    assert found["day-month-date"]["proposal"] == {"value": 14.05}
    assert found["day-month-date"]["sentence"].startswith("slide.xlsx, tab TH-1001, F11:")


def test_text_that_merely_looks_like_a_date_is_not_offered_one(judge, said, slide_card):
    found = said(judge(slide_card(changes={(1, 5): "32-May"})))
    assert [r["id"] for r in found] == ["not-a-number"]


def test_dates_of_the_other_spreadsheet_calendar(judge, said):
    day = date(2026, 5, 12) - BETWEEN_EPOCHS
    found = said(judge(polish((day.isoformat(), "18"), ("2026-05-12", "18"), ("2026-05-13", "18"))))
    assert [(r["id"], r["proposal"]) for r in found] == [("epoch-1904", {"day": "2026-05-12"})]


def test_a_whole_sheet_of_the_other_calendar_is_seen_beside_the_record(judge, said):
    day = date(2026, 5, 12) - BETWEEN_EPOCHS
    past = Known(today=TODAY, newest_day=date(2026, 5, 11))
    found = said(judge(polish((day.isoformat(), "18")), past=past))
    assert [r["id"] for r in found] == ["epoch-1904"]


def test_old_sheets_are_no_doubt_by_themselves(judge, said):
    assert said(judge(polish(("2024-03-05", "18"), ("2025-03-05", "18"), ("2026-03-05", "18")))) == []


def test_a_comma_judged_by_the_nominal_is_accepted_and_noted(judge, plan, as_xlsx, slide_card):
    data = as_xlsx(slide_card(changes={(1, 5): "14,052"}), "TH-1001")
    checked = check([unfold(read_sheet(data, "slide.xlsx")[0], plan)], plan, Known(today=TODAY))[0]
    assert checked.held.height == 0
    (row,) = checked.readings.filter(checked.readings["text"] == "14,052").to_dicts()
    assert row["value"] == 14.052
    assert "comma read as the decimal point" in row["note"]


def test_a_comma_nobody_can_judge_is_asked(plan, as_xlsx, said):
    rows = [
        ["Card", "Gauge checks"],
        [],
        ["Date", "Gauge", "Deviation", "Zeroed"],
        ["2026-05-12", "BG-1", "0,002", "yes"],
    ]
    checked = check([unfold(read_sheet(as_xlsx(rows), "a.xlsx")[0], plan)], plan, Known(today=TODAY))[0]
    assert checked.events["value"].to_list() == [0.002]
    bare = plan.model_copy(
        update={
            "stages": tuple(
                s.model_copy(
                    update={
                        "characteristics": tuple(
                            c.model_copy(update={"limits": (), "sensible": None}) for c in s.characteristics
                        )
                    }
                )
                for s in plan.stages
            )
        }
    )
    rows = [
        ["Card", "Polishing card"],
        [],
        ["Date", "Serial", "Model", "Mass loss"],
        ["2026-05-12", "TH-1", "tenor", "18,215"],
    ]
    found = said(check([unfold(read_sheet(as_xlsx(rows), "a.xlsx")[0], bare)], bare, Known(today=TODAY))[0])
    assert [(r["id"], r["proposal"]) for r in found] == [
        ("not-a-number", {}),
        ("comma-decimal", {"value": 18.215, "hint": ""}),
    ]


def test_a_split_figure_before_an_empty_last_cell_is_not_swallowed(judge, said):
    rows = [
        ["Card", "Polishing card"],
        ["Model", "tenor"],
        [],
        ["Date", "Serial", "Mass loss", "Note"],
        ["2026-05-12", "TH-1", "18", "2", ""],
    ]
    (found,) = said(judge(rows))
    assert (found["id"], found["proposal"]["value"]) == ("comma-decimal", 18.2)


def test_two_split_figures_of_one_line(judge, said, slide_card):
    rows = slide_card(changes={(0, 4): "13,901", (0, 5): "14,052"})
    found = said(judge(rows))
    assert [(r["id"], r["proposal"]["value"]) for r in found] == [
        ("comma-decimal", 13.901),
        ("comma-decimal", 14.052),
    ]


def test_empty_cells_at_the_end_of_every_line_are_a_habit(judge):
    rows = [
        ["Card", "Polishing card"],
        ["Model", "tenor"],
        [],
        ["Date", "Serial", "Mass loss"],
        ["2026-05-12", "TH-1", "18.2", ""],
        ["2026-05-12", "TH-2", "18.4", ""],
    ]
    assert judge(rows).held.height == 0
