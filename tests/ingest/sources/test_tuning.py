import csv
from pathlib import Path

import pytest

from qc.ingest import SheetError

HEAD = [
    ["Card", "Tuning card"],
    ["Serial", "TH-1001"],
    ["Model", "tenor-f"],
    ["Date", "2026-05-12"],
    ["Tester", "AB"],
    ["Gauge", "TU-1"],
    ["Room C", "21.5"],
    ["A4 Hz", "442"],
    ["Method", "gauge block"],
    ["Main slide out mm", "12"],
    [],
]
PUBLISHED = Path(__file__).parents[2] / "published" / "trade_checks.csv"


def published(name):
    with PUBLISHED.open(encoding="utf-8") as table:
        return next(float(row["expected"]) for row in csv.DictReader(table) if row["id"] == name)


def card(*rows, headings=("Partial", "Position", "Valve", "Cents"), head=HEAD):
    return [*head, list(headings), *rows]


def test_a_note_a_row(unfolded):
    row = unfolded(card([3, 1, "f", -4])).readings.row(0, named=True)
    assert (row["characteristic"], row["unit"], row["value"]) == ("note", "cent", -4.0)
    assert (row["valve"], row["position"], row["partial"]) == ("F", 1, 3)
    assert (row["person"], row["gauge"], row["air_c"], row["method"]) == ("AB", "TU-1", 21.5, "gauge-block")
    assert "main slide out mm: 12" in row["note"]
    assert "A4 Hz: 442" in row["note"]


@pytest.mark.parametrize("typed", ["", "open", "-", "none"])
def test_an_open_note_may_be_left_empty(unfolded, typed):
    assert unfolded(card([3, 1, typed, -4])).readings["valve"][0] == "open"


def test_natural_deviations_stay_in(unfolded):
    assert unfolded(card([5, 1, "", -14])).readings["value"][0] == -14.0


def test_hertz_become_cents_against_the_cards_a4(unfolded):
    # trade table: 118.2 Hz lies 24.472 cents above B-flat2 at A4 = 440 (tenor, partial 2, first position)
    expected = published("T004")
    head = [["A4 Hz", "440"] if row and row[0] == "A4 Hz" else row for row in HEAD]
    row = unfolded(card([2, 1, "118.2"], headings=("Partial", "Position", "Hz"), head=head)).readings.row(
        0, named=True
    )
    assert row["value"] == pytest.approx(expected, abs=0.01)
    assert row["text"] == "118.2"
    assert "118.2 Hz against 116.54 Hz at A4 = 440 Hz" in row["note"]


def test_442_lies_785_cents_hundredths_above_440(unfolded):
    # reference table T005: 442 against 440 is 7.8514 cent
    expected = published("T005")
    values = []
    for a4 in ("440", "442"):
        head = [["A4 Hz", a4] if row and row[0] == "A4 Hz" else row for row in HEAD]
        sheet = unfolded(card([2, 1, "118.2"], headings=("Partial", "Position", "Hz"), head=head))
        values.append(sheet.readings["value"][0])
    assert values[0] - values[1] == pytest.approx(expected, abs=0.011)


@pytest.mark.parametrize(
    ("row", "words"),
    [([2, 9, "118.2"], "position 9"), (["x", 1, "118.2"], "no partial"), ([2, 1, "-5"], "no interval")],
)
def test_hertz_that_cannot_be_placed_are_held(judge, said, row, words):
    checked = judge(card(row, headings=("Partial", "Position", "Hz")))
    assert checked.held.height == 1
    assert any(reason["id"] == "not-a-number" for reason in said(checked))
    assert any(words in reason["sentence"] + reason["mend"] for reason in said(checked))


def test_a_valve_the_model_does_not_have_is_held(judge, said):
    head = [["Model", "tenor"] if row and row[0] == "Model" else row for row in HEAD]
    reasons = said(judge(card([3, 1, "F", -4], head=head)))
    assert [(r["id"], "tenor has no valve F" in r["sentence"]) for r in reasons] == [("unknown-place", True)]


def test_repeats_without_a_column_are_numbered(unfolded):
    rows = card([2, 1, "", 3], [3, 1, "", 4], [2, 1, "", 5], [3, 1, "", 2])
    assert unfolded(rows).readings["repeat"].to_list() == [1, 1, 2, 2]


@pytest.mark.parametrize(
    ("headings", "words"),
    [
        (("Partial", "Cents", "Hz"), "both cents and hertz"),
        (("Partial", "Position", "Valve"), "misses the heading Cents"),
        (("Position", "Valve", "Cents"), "misses the heading Partial"),
    ],
)
def test_refused_cards(unfolded, headings, words):
    with pytest.raises(SheetError, match=words):
        unfolded(card([1, 2, 3], headings=headings))
