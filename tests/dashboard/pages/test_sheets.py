from dataclasses import replace
from types import SimpleNamespace

from dashboard.pages import sheets


def done(receipt):
    return {"state": "done", "message": "", "receipt": receipt}


def count(**more):
    base = {
        "sheet": "a",
        "file": "a.csv",
        "rows": 5,
        "accepted": 3,
        "held": 1,
        "already_known": 1,
        "reasons": {"decimal-slip": 1},
        "signals": [],
        "marks": [],
    }
    return {**base, **more}


def test_a_receipt_sums_up_and_then_goes_sheet_by_sheet(in_app, texts):
    said = texts(sheets.receipt_card(done({"sheets": [count(), count(file="b.csv")], "refused": []})))
    assert "6 rows accepted from two sheets, 2 held, 2 known already." in said
    assert "decimal slip (1)" in said and "b.csv" in said


def test_a_receipt_tells_what_was_raised_once(in_app, texts):
    signal = {"id": "x1", "sentence": "Wraps run 20 mm long since K-12."}
    said = texts(sheets.receipt_card(done({"sheets": [count(signals=[signal]), count(signals=[signal])]})))
    assert said.count("Wraps run 20 mm long") == 1 and "What this upload showed" in said


def test_a_receipt_tells_what_was_raised_in_series_of_no_sheet_of_it(in_app, texts):
    signal = {"id": "x2", "sentence": "Lacquer runs thin since K-40."}
    said = texts(sheets.receipt_card(done({"sheets": [count()], "signals": [signal]})))
    assert "Lacquer runs thin since K-40." in said and "What this upload showed" in said


def test_a_receipt_names_what_left_while_held_and_which_of_its_pieces_are_to_be_held(in_app, texts):
    told = "K-12 left on 3 Nov 2026 while it was to be held. Lacquer: Thickness: 8.4 µm, under 10 µm."
    left = {"sentence": told, "next_step": "Find out where it is.", "rows": [{"serial": "K-12"}]}
    hold = "To hold of these sheets: 1 piece. K-9: over 4. All that is to be held: qc hold"
    late = "K-11 left on 1 Nov 2026 and is outside a limit by what was handed in now."
    out = {"sentence": late, "next_step": "Call it back.", "rows": [{"serial": "K-11"}]}
    receipt = {"sheets": [count()], "left": [left], "left_before": [out], "hold_said": hold}
    said = " ".join(texts(sheets.receipt_card(done(receipt))).split())
    assert f"{late} Call it back. What holds it" in said
    assert told in said and "Find out where it is. What holds it" in said
    assert "K-9: over 4. All that is to be held" in said and "qc hold" not in said


def test_a_receipt_says_what_is_new_held_already_and_missing(in_app, texts):
    sheet = count(
        held_again=1, learned="3 of 5 readings of this card are new.", missing=["Still missing: rim."]
    )
    stands = {"sentence": "4 readings accepted: 3 stand in a series and 1 only recorded."}
    said = texts(sheets.receipt_card(done({"sheets": [sheet], "readings": stands})))
    for text in (
        "1 held already",
        "a.csv: 3 of 5 readings of this card are new.",
        "a.csv: Still missing: rim.",
    ):
        assert text in said
    assert stands["sentence"] in said


def test_a_sheet_that_cannot_be_read_is_named(in_app, texts):
    said = texts(
        sheets.receipt_card(done({"sheets": [], "refused": ["x.csv: the file is empty. Save it again."]}))
    )
    assert "One sheet could not be read." in said and "x.csv: the file is empty." in said


def test_marks_are_worth_knowing(in_app, texts):
    said = texts(sheets.receipt_card(done({"sheets": [count(marks=["The comma was read as a decimal."])]})))
    assert "The comma was read as a decimal." in said


def test_a_failed_upload_says_that_nothing_was_stored(in_app, texts):
    said = texts(sheets.receipt_card({"state": "failed", "message": "The disk is full.", "receipt": None}))
    assert said == "This was stopped The disk is full."


def test_a_mend_answers_with_its_sentence_and_what_is_left(in_app, texts):
    receipt = {
        "row": 1,
        "state": "held",
        "sentence": "Row 1 is still held.",
        "reasons": [{"sentence": "No date."}],
    }
    said = texts(
        sheets.receipt_card(done({"mended": [receipt, {"row": 2, "sentence": "Row 2 is set aside."}]}))
    )
    assert said == "Held rows settled Row 1 is still held. No date. Row 2 is set aside."


def test_a_held_row_shows_every_reason_and_the_proposal(in_app, board, texts):
    said = texts(sheets.held_card(board.held()))
    for part in (
        "Two rows wait",
        "a thousand times",
        "no morning check",
        "value 13.852",
        "Accept this",
        "slide_0442.xlsx, F9",
    ):
        assert part in said
    assert "No mend offers itself" in said


def test_a_reason_does_not_repeat_where_the_row_stands(in_app, board, texts):
    row = board.held()[0]
    reason = replace(row.reasons[0], sentence=f"{row.file}, F9: 13852 mm is too much.")
    said = texts(sheets.held_card((replace(row, reasons=(reason,)),)))
    assert said.count("slide_0442.xlsx") == 1 and "13852 mm is too much." in said


def test_rows_held_alike_are_told_together_unless_each_has_its_mend(in_app, board, texts):
    alike = board.held()[1]
    rows = tuple(replace(alike, id=str(n), cell=f"line {n}", run="10") for n in range(10, 14))
    said = texts(sheets.held_card(rows))
    assert "Four rows wait" in said and "and three rows more held alike, to line 13" in said
    assert said.count("No mend offers itself") == 1
    mendable = tuple(replace(board.held()[0], id=str(n)) for n in range(3))
    assert texts(sheets.held_card(mendable)).count("Accept this") == 3


def test_a_long_list_comes_in_pages(in_app, board, texts):
    rows = tuple(replace(board.held()[0], id=str(n)) for n in range(45))
    said = texts(sheets.held_card(rows))
    assert "45 rows wait" in said and "1 to 20 of 45" in said and said.count("Accept this") == 20
    assert "Further rows" in said and "Earlier rows" not in said
    last = texts(sheets.held_list(rows, 40))
    assert "41 to 45 of 45" in last and last.count("Accept this") == 5 and "Further rows" not in last
    # the rows of a page that is there no longer were settled meanwhile: the last one there is is shown
    assert "21 to 25 of 25" in texts(sheets.held_list(rows[:25], 40))


def test_units_of_a_reason_bear_their_signs_and_names_of_columns_stay(in_app, board, texts):
    row = board.held()[0]
    reason = replace(
        row.reasons[0], sentence="0.03 um, and 2.3 in line 9, Leak [cm3/min].", mend="In cm3/min."
    )
    said = texts(sheets.held_list((replace(row, reasons=(reason,)),), 0))
    assert "0.03 µm, and 2.3 in line 9, Leak [cm3/min]." in said and "In cm³/min." in said


def test_past_sheets_come_in_pages(in_app, board, texts, monkeypatch):
    past = tuple(replace(board.sheets()[0], file=f"s{n}.csv") for n in range(50))
    monkeypatch.setattr(board, "sheets", lambda: past)
    said = texts(sheets.past_list(40))
    assert "s40.csv" in said and "s49.csv" in said and "s39.csv" not in said and "41 to 50 of 50" in said


def test_the_other_ways_come_when_they_are_asked_for(in_app, board, texts):
    assert "Set aside" not in texts(sheets.held_card(board.held()))
    assert "Set aside" in texts(sheets.ways_of(board.held(), "1"))
    assert sheets.ways_of(board.held(), "99") is None


def test_nothing_held_is_said(in_app, texts):
    assert "No row is held." in texts(sheets.held_card(()))


def test_a_sheet_that_waits_for_its_layout_says_why_and_how_it_is_read(in_app, board, texts):
    (one,) = board.showing().waiting()
    said = texts(sheets.layout())
    assert "One sheet waits, kept as handed in." in said and "Put it away" in said
    assert "wall_0443.csv" in said and "Line 1: the columns fit none of the plan's cards." in said
    assert f"qc held read {one.file} --mapping FILE" in said
    board.showing = lambda: SimpleNamespace(waiting=tuple)
    assert "Waits for its layout" not in texts(sheets.layout())


def test_a_receipt_says_which_refused_sheets_are_kept(in_app, texts):
    kept = "wall.csv waits for its layout since 24 Nov 2026; it is kept as it was handed in."
    receipt = {"sheets": [], "refused": ["wall.csv: no table."], "kept_said": [kept]}
    assert kept in texts(sheets.receipt_card(done(receipt)))
    away = {"sentence": "wall.csv is put away.", "put_away": "wall.csv", "reasons": []}
    assert "wall.csv is put away." in texts(sheets.receipt_card(done(away)))
