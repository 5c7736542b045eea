"""The bad input a bench can hand in, from bytes to verdict: one sentence with file, cell and what to do."""

import json
from datetime import date

import pytest
import yaml

from qc.errors import QcError
from qc.ingest import Known, SheetError, check, read_sheet, unfold
from qc.plan import Plan

SAMPLE = yaml.safe_load  # the plan below is the sample workshop's, as a bench would meet it
TODAY = date(2026, 11, 24)


@pytest.fixture(scope="module")
def plan():
    from pathlib import Path

    text = (Path(__file__).parents[2] / "sample_measurements" / "plan.yaml").read_text(encoding="utf-8")
    return Plan.model_validate(SAMPLE(text))


def judged(text, plan, name="card.csv"):
    data = text if isinstance(text, bytes) else text.encode()
    sheets = [unfold(grid, plan) for grid in read_sheet(data, name)]
    return check(sheets, plan, Known(today=TODAY))[0]


HEAD = "Card;Bell wall map\nGauge;BM-1\n\n"
TABLE = "Date;Serial;Model;Person;Station;Direction;Bell wall [mm]\n"
ROW = "2026-05-12;QH-1001;tenor;EL;3;90;0.51\n"
GOOD = HEAD + TABLE + ROW


def test_the_good_card_is_accepted(plan):
    assert judged(GOOD, plan).reasons() == {}


@pytest.mark.parametrize(
    ("data", "words"),
    [
        pytest.param(b"", "the file is empty", id="empty file"),
        pytest.param(b"%PDF-1.7", "PDF document", id="binary"),
        pytest.param(bytes(range(256)) * 4, "NUL byte|control character|encoding", id="random bytes"),
        pytest.param(b"PK\x03\x04 no workbook", "damaged or cut off", id="a workbook that is none"),
        pytest.param(GOOD.replace("0.51", "0.\x0051").encode(), "NUL byte", id="NUL byte"),
        pytest.param(
            GOOD.replace("EL", "E\x81").encode("latin-1"), "encoding that cannot be read", id="wrong encoding"
        ),
        pytest.param((HEAD + TABLE + ROW * 3)[:-25].encode(), "stops in the middle", id="cut in half"),
        pytest.param(
            (HEAD + ROW * 3).encode(),
            "no heading|fits? none|no column|mean the same|misses",
            id="no headings",
        ),
        pytest.param(GOOD.replace("Station", "").encode(), "no heading", id="missing heading"),
        pytest.param(GOOD.replace(";Station", ";Direction").encode(), "mean the same", id="doubled heading"),
        pytest.param(
            GOOD.replace("Bell wall map", "Tea list").encode(), "no card Tea list", id="unknown card"
        ),
        pytest.param(GOOD.replace("[mm]", "[ell]").encode(), "unknown unit", id="unknown unit"),
        pytest.param(GOOD.replace("[mm]", "[h]").encode(), "is in h", id="unit of something else"),
        pytest.param((HEAD + TABLE).encode(), "no rows", id="no rows"),
        pytest.param(b"a" * 20_000_001, "up to 20 MB", id="over the size limit"),
        pytest.param(("Serial;Wall\n" + "x;1\n" * 200_001).encode(), "too large", id="too many rows"),
    ],
)
def test_a_sheet_that_cannot_be_used_is_refused_whole(plan, data, words):
    with pytest.raises(SheetError, match=words) as caught:
        judged(data, plan)
    assert isinstance(caught.value, QcError)
    assert str(caught.value).startswith("card.csv")
    assert caught.value.hint.endswith(".")
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        pytest.param(("2026-05-12", "2026-12-24"), "future-date", id="date in the future"),
        pytest.param(("QH-1001", "QH-1OO1"), "unknown-serial", id="unknown serial"),
        pytest.param(("0.51", "nan"), "not-a-number", id="NaN"),
        pytest.param(("0.51", "-inf"), "not-a-number", id="infinity"),
        pytest.param(("0.51", "1e400"), "not-a-number", id="a number too large for any"),
        pytest.param(("0.51", "=0.5+0.01"), "not-a-number", id="a formula typed into csv"),
        pytest.param(("0.51", ""), "missing-value", id="missing figure"),
        pytest.param(("EL", "EL2"), "unknown-person", id="unknown person"),
        pytest.param(("tenor", "tuba"), "unknown-model", id="unknown model"),
        pytest.param((";3;", ";33;"), "unknown-place", id="unknown station"),
        pytest.param(("BM-1", "BM-0"), "unknown-gauge", id="unknown gauge"),
    ],
)
def test_a_row_that_cannot_be_true_is_held_and_its_neighbours_are_accepted(plan, change, reason):
    rows = [
        ROW.replace("QH-1001", f"QH-{n}").replace(";90;", f";{a};")
        for n in range(1002, 1014)
        for a in (0, 90)
    ]
    checked = judged(HEAD + TABLE + ROW.replace(*change) + "".join(rows), plan)
    if reason == "unknown-gauge":
        checked = judged((HEAD + TABLE + ROW).replace(*change), plan)
    held = checked.held.row(0, named=True)
    assert checked.held.height == 1
    reasons = json.loads(held["reasons"])
    assert reason in [found["id"] for found in reasons]
    for found in reasons:
        assert found["sentence"].startswith("card.csv, line 5")
        assert found["mend"].endswith(".")
    assert checked.rows == checked.readings.height + 1


def test_a_gauge_out_of_calibration(plan):
    text = (
        "Card;Slide card\nSerial;QH-1001\nModel;tenor\nDate;2026-05-12\nMicrometer;MIC-9\nBore gauge;BG-1\n\n"
    )
    text += (
        "Leg;Station;Direction;Surface;Inner OD [mm];Outer bore [mm]\nupper;mouth;0;stocking;13,901;14,052\n"
    )
    checked = judged(text, plan)
    assert checked.reasons() == {"gauge-overdue": 1}
    assert checked.readings["characteristic"].to_list() == ["outer_bore"]


def test_nothing_of_a_cell_is_run_or_rewritten(plan):
    bad = '=cmd|" /C calc"!A0'
    quoted = bad.replace('"', '""')
    checked = judged(HEAD + TABLE + ROW.replace("0.51", f'"{quoted}"'), plan)
    assert checked.held.row(0, named=True)["text"] == bad


def test_one_bad_tab_names_its_tab_and_the_good_one_can_still_be_read(plan, workbook):
    def more(book, page):
        other = book.add_worksheet("Second")
        other.write_row(0, 0, ["Leg", "Station", "Station", "Inner OD [mm]"])
        other.write_row(1, 0, ["upper", "mouth", "mouth", 13.902])

    first, second = read_sheet(workbook(more), "card.xlsx")
    assert unfold(first, plan).rows == 4
    with pytest.raises(SheetError, match="mean the same") as caught:
        unfold(second, plan)
    assert (caught.value.tab, caught.value.cell) == ("Second", "C1")
