"""The committed sheets are few enough, plain, and cover the story to its last day."""

import re

from sample_measurements.make import scenario
from sample_measurements.make.sheets import Habit, Sheet, Tab, Typed, figure


def test_at_most_three_hundred_sheets_and_nothing_else(root, files):
    assert len(files) <= 300
    assert {path.suffix for path in files} == {".csv", ".xlsx"}
    everywhere = {path for end in ("*.csv", "*.xlsx") for path in root.rglob(end)}
    assert everywhere == set(files)


def test_every_tab_names_its_card(tables, plan):
    titles = {card.title for card in plan.cards}
    assert {table.head.get("Card") for table in tables} == titles


def test_headers_are_given_once_and_no_cell_holds_a_formula(tables):
    for table in tables:
        assert len(table.header) == len(set(table.header))
        assert not any(text.startswith("=") for row in table.cells for text in row)


def test_days_run_from_the_first_to_the_last(tables):
    days = set()
    for table in tables:
        found = [table.head.get("Date", ""), *(row.get("Date", "") for _, row in table.rows)]
        for text in found:
            if re.fullmatch(r"\d{4}-\d{2}-\d{2}", text):
                days.add(text)
            elif re.fullmatch(r"\d{2}\.\d{2}\.\d{4}", text):
                days.add("-".join(reversed(text.split("."))))
    real = sorted(day for day in days if day < "2027")
    assert real[-1] == scenario.LAST_DAY.isoformat()
    assert real[0] < "2025-07-10"
    assert len(real) > 300


def test_people_and_models_are_those_of_the_plan(sound, plan):
    codes, models = {p.code for p in plan.people}, {m.id for m in plan.models}
    for card in plan.cards:
        for row in sound(card.title):
            assert row.get("Person", row.get("Tester", "IS")) in codes
            assert row.get("Model", "tenor") in models


def test_benches_write_each_in_their_own_way(files):
    raw = [path.read_bytes() for path in files if path.suffix == ".csv"]
    assert any(data.startswith(b"\xef\xbb\xbf") for data in raw)
    assert any(b"\xe4" in data or b"\xf6" in data for data in raw)  # Latin-1 umlauts
    assert any(re.search(rb";\d+,\d;", data) for data in raw)  # decimal commas between semicolons
    assert any(b"\t" in data for data in raw)
    assert any(re.search(rb"\d\d\.\d\d\.202[56]", data) for data in raw)


def test_a_tuning_card_has_about_twenty_four_notes_an_instrument(by_card, plan):
    notes = {}
    for row in by_card("Tuning card"):
        notes.setdefault((row["Serial"], row["Model"]), []).append(row)
    assert len(notes) > 200
    for (_, model), rows in notes.items():
        assert 22 <= len(rows) <= 27
        assert any(row["Valve"] for row in rows) == bool(plan.model(model).valves)
        assert {row["A4 Hz"] for row in rows} == {"442"}


def small_tab():
    tab = Tab("T", [("Card", "Slide card"), ("Date", "2026-05-14")], ["Serial", "Value"])
    tab.add("QH-1", "QH-1", "14.052")
    tab.add("QH-2", "QH-2", Typed("14.05"))
    return tab


def test_csv_follows_the_habit_of_the_bench():
    sheet = Sheet("a.csv", [small_tab()], Habit(separator=";", comma=True, dotted=True))
    assert sheet.to_bytes().decode() == (
        "Card;Slide card\r\nDate;14.05.2026\r\n;\r\nSerial;Value\r\nQH-1;14,052\r\nQH-2;14.05\r\n"
    )


def test_a_decimal_comma_between_commas_is_quoted():
    tab = Tab("", [], ["Serial", "Value"])
    tab.add("QH-1", "QH-1", Typed("14,052"))
    assert Sheet("a.csv", [tab]).to_bytes().decode() == 'Serial,Value\r\nQH-1,"14,052"\r\n'


def test_addresses_are_those_a_receipt_would_name():
    tab = small_tab()
    assert Sheet("a.csv", [tab]).address(tab, 0, "Value") == "line 5, Value"
    assert Sheet("a.xlsx", [tab]).address(tab, 1, "Value") == "B6"
    bare = Tab("", [], ["Serial"])
    bare.add("QH-1", "QH-1")
    assert Sheet("a.csv", [bare]).address(bare, 0, "Serial") == "line 2, Serial"


def test_figures_as_typed():
    assert figure(13.85, 3) == "13.850"
    assert figure(13.85, 3, short=True) == "13.85"
    assert figure(20.0, 0, short=True) == "20"
    assert figure(-0.2, 0) == "0"
