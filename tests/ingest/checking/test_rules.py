"""Each fault of a row, one at a time, through the whole check."""

from datetime import date

import pytest

from qc.ingest import Known

HEADINGS = ["Date", "Serial", "Model", "Person", "Gauge", "Station", "Direction", "Room C", "Wall [mm]"]
GOOD = ["2026-05-12", "TH-1001", "tenor", "AB", "BM-1", "3", "90", "21.5", "0.51"]


def wall(**changes):
    row = dict(zip(HEADINGS, GOOD, strict=True)) | {
        name.replace("_", " "): text for name, text in changes.items()
    }
    row["Wall [mm]"] = row.pop("Wall", row["Wall [mm]"])
    return [["Card", "Bell wall map"], [], HEADINGS, list(row.values())]


def test_a_good_row_is_accepted(judge):
    checked = judge(wall())
    assert checked.held.height == 0
    assert checked.readings.row(0, named=True)["value"] == 0.51


@pytest.mark.parametrize(
    ("change", "reason", "words", "proposal"),
    [
        ({"Wall": "thin"}, "not-a-number", "'thin' is no number", {}),
        ({"Wall": "nan"}, "not-a-number", "'nan' is no number", {}),
        ({"Wall": "inf"}, "not-a-number", "'inf' is no number", {}),
        ({"Wall": ""}, "missing-value", "no figure", {}),
        ({"Date": ""}, "no-date", "has no date", {}),
        ({"Date": "soon"}, "no-date", "'soon' cannot be read", {}),
        ({"Date": "2026-05-21"}, "future-date", "after today, 2026-05-20", {}),
        ({"Date": "1926-05-12"}, "old-date", "too long ago", {}),
        ({"Serial": ""}, "missing-serial", "no serial", {}),
        ({"Model": "tuba"}, "unknown-model", "no model tuba", {}),
        ({"Model": "tennor"}, "unknown-model", "Perhaps tenor", {"model": "tenor"}),
        ({"Model": "T"}, "unknown-model", "no model T", {}),
        ({"Person": "ZZ"}, "unknown-person", "no person ZZ", {}),
        ({"Person": "BA"}, "unknown-person", "no person BA", {"person": "AB"}),
        ({"Person": "EFGX"}, "unknown-person", "no person EFGX", {"person": "EFG"}),
        ({"Gauge": "BM-7"}, "unknown-gauge", "no gauge BM-7", {"gauge": "BM-1"}),
        ({"Station": "9"}, "unknown-place", "station 9 is not in the plan", {}),
        ({"Station": ""}, "unknown-place", "does not say which station", {}),
        ({"Direction": "45"}, "unknown-place", "0, 90, 180, 270", {}),
        ({"Room_C": "warm"}, "not-a-number", "air c 'warm'", {}),
        ({"Room_C": "210"}, "out-of-range", "210 is no room temperature", {}),
        ({"Wall": "1.4"}, "outside-sensible", "lies within 0.2 and 1", {}),
    ],
)
def test_one_fault_gives_one_reason_with_sentence_and_mend(judge, said, change, reason, words, proposal):
    checked = judge(wall(**change))
    (found,) = said(checked)
    assert found["id"] == reason
    assert words in found["sentence"] + " " + found["mend"]
    assert found["proposal"] == proposal
    assert found["sentence"].startswith("card.csv, line 4")
    assert found["mend"].endswith(".")
    assert checked.readings.height == 0


def test_a_row_with_many_faults_carries_every_reason(judge):
    checked = judge(wall(Wall="thin", Person="ZZ", Station="9", Date=""))
    assert checked.held.height == 1
    assert set(checked.reasons()) == {"not-a-number", "unknown-person", "unknown-place", "no-date"}


def test_a_slip_of_the_year_is_offered_beside_the_sheets_other_days(judge, said):
    rows = wall(Date="2027-05-12")
    other = ["2026-05-11", *GOOD[1:5], "4", *GOOD[6:]]
    (found,) = said(judge([*rows, other]))
    assert found["proposal"] == {"day": "2026-05-12"}


def test_a_gauge_out_of_calibration_is_held_from_the_day_after(judge, said, slide_card):
    assert judge(slide_card(day="2026-03-31", Micrometer="MIC-9")).held.height == 0
    checked = judge(slide_card(day="2026-04-01", Micrometer="MIC-9"))
    assert checked.reasons() == {"gauge-overdue": 12}
    assert "ran out on 2026-03-31" in said(checked)[0]["sentence"]


def test_a_date_in_the_future_says_nothing_of_the_calibration(judge, slide_card):
    assert judge(slide_card(day="2029-04-01")).reasons() == {"future-date": 24}


@pytest.mark.parametrize(
    ("typed", "reason"), [("-1", "negative-count"), ("1.5", "not-whole"), ("two", "not-a-number")]
)
def test_counts(judge, typed, reason):
    rows = [
        ["Card", "Lacquer defects card"],
        ["Model", "tenor"],
        [],
        ["Date", "Serial", "Lacquer defects"],
        ["2026-05-12", "TH-1", typed],
    ]
    assert judge(rows).reasons() == {reason: 1}


def test_neither_good_nor_fault(judge, said):
    rows = [["Card", "Joints card"], [], ["Date", "Serial", "Joint faults"], ["2026-05-12", "TH-1", "maybe"]]
    assert "neither good nor a fault" in said(judge(rows))[0]["sentence"]


def test_a_figure_on_a_model_the_plan_does_not_ask_for(judge, said, plan, as_csv):
    from qc.ingest import check, read_sheet, unfold

    narrow = plan.model_copy(
        update={
            "stages": tuple(
                stage.model_copy(
                    update={
                        "characteristics": tuple(
                            c.model_copy(update={"models": ("tenor-f",)}) for c in stage.characteristics
                        )
                    }
                )
                for stage in plan.stages
            )
        }
    )
    sheet = unfold(read_sheet(as_csv(wall()), "card.csv")[0], narrow)
    (found,) = said(check([sheet], narrow, Known(today=date(2026, 5, 20)))[0])
    assert found["id"] == "unknown-model"
    assert "Bell wall is not measured on tenor" in found["sentence"]


def test_a_letter_that_begins_one_model_only_is_offered_as_that_model(plan, said, as_csv):
    from qc.ingest import check, read_sheet, unfold

    one = plan.model_copy(update={"models": plan.models[:1]})
    sheet = unfold(read_sheet(as_csv(wall(Model="T")), "card.csv")[0], one)
    (found,) = said(check([sheet], one, Known(today=date(2026, 5, 20)))[0])
    assert found["id"] == "unknown-model" and "Perhaps tenor is meant" in found["mend"]


def test_words_that_are_numbers_may_be_whole_numbers_only(judge, said):
    rows = [
        ["Card", "Tuning card"],
        ["Serial", "TH-1"],
        ["Model", "tenor"],
        ["Date", "2026-05-12"],
        [],
        ["Partial", "Position", "Cents"],
        ["3.5", "1", "4"],
    ]
    found = said(judge(rows))
    assert {reason["id"] for reason in found} == {"not-a-number", "unknown-place"}
    assert any("partial '3.5'" in reason["sentence"] for reason in found)
