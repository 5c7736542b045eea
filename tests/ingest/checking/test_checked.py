import json
from datetime import date

import polars as pl
import pytest

from qc.ingest import Known, check, read_sheet, unfold
from qc.plan import EVENT, HELD, READING

TODAY = date(2026, 5, 20)
WALL = ["Date", "Serial", "Model", "Person", "Station", "Direction", "Wall [mm]"]


def wall_rows(*figures):
    head = [["Card", "Bell wall map"], ["Gauge", "BM-1"], [], WALL]
    stations = [(s, d) for s in range(1, 6) for d in (0, 90, 180, 270)]
    return head + [
        ["2026-05-12", "TH-1001", "tenor", "AB", *at, text]
        for at, text in zip(stations, figures, strict=False)
    ]


def test_every_row_is_accepted_or_held(judge):
    checked = judge(wall_rows("0.51", "x", "0.50", "", "0.49"))
    assert (checked.readings.height, checked.held.height, checked.rows) == (3, 2, 5)


def test_frames_have_the_columns_of_the_plan_in_order(judge):
    checked = judge(wall_rows("0.51", "x"))
    assert checked.readings.columns == list(READING)
    assert checked.events.columns == list(EVENT)
    assert checked.held.columns == list(HELD)
    assert checked.readings.schema["measured_at"] == pl.Datetime("us", "UTC")
    assert checked.readings["entered_at"].null_count() == 1


def test_a_held_row_keeps_what_was_typed_and_where(judge):
    row = judge(wall_rows("0.51", " x ")).held.row(0, named=True)
    assert (row["file"], row["tab"], row["row"], row["column"], row["cell"]) == (
        "card.csv",
        "",
        6,
        "Wall [mm]",
        "line 6, Wall [mm]",
    )
    assert (row["table"], row["text"]) == ("reading", "x")
    typed = json.loads(row["typed"])
    assert typed["serial"] == "TH-1001"
    assert typed["day"] == "2026-05-12"
    assert typed["value"] is None
    assert len(row["sheet"]) == 64


def test_proposals_of_several_reasons_are_joined(judge):
    rows = wall_rows("0.51", "510")
    rows[5][3] = "BA"
    row = judge(rows).held.row(0, named=True)
    assert json.loads(row["proposal"]) == {"person": "AB", "value": 0.51}
    reasons = [reason["id"] for reason in json.loads(row["reasons"])]
    assert reasons == ["outside-sensible", "unknown-person", "factor-1000"]


def test_a_row_without_a_mend_offers_none(judge):
    assert judge(wall_rows("x")).held.row(0, named=True)["proposal"] == ""


def test_each_sheet_gets_its_own_answer(plan, as_csv, slide_card):
    sheets = [wall_rows("0.5", "x"), slide_card(), wall_rows("y")]
    unfolded = [unfold(read_sheet(as_csv(rows), f"{n}.csv")[0], plan) for n, rows in enumerate(sheets)]
    found = check(unfolded, plan, Known(today=TODAY))
    assert [(c.file, c.card, c.rows, c.held.height) for c in found] == [
        ("0.csv", "bell-map", 2, 1),
        ("1.csv", "slide-card", 24, 0),
        ("2.csv", "bell-map", 1, 1),
    ]


def test_nothing_in_nothing_out(plan):
    assert check([], plan, Known(today=TODAY)) == []


def test_judging_does_not_change_what_came_in(plan, as_csv):
    sheet = unfold(read_sheet(as_csv(wall_rows("0.5", "x")), "a.csv")[0], plan)
    before = sheet.readings.clone()
    check([sheet], plan, Known(today=TODAY))
    assert sheet.readings.equals(before)


def test_the_order_of_sheets_does_not_matter_for_the_verdict(plan, as_csv, slide_card):
    made = [
        as_csv(slide_card(f"TH-10{n:02d}", changes={(3, 4): "139.0"} if n == 4 else None))
        for n in range(1, 9)
    ]
    unfolded = [unfold(read_sheet(data, f"{n}.csv")[0], plan) for n, data in enumerate(made)]
    forth = [c.reasons() for c in check(unfolded, plan, Known(today=TODAY))]
    back = [c.reasons() for c in check(unfolded[::-1], plan, Known(today=TODAY))]
    assert forth == back[::-1]


def test_the_model_of_a_known_piece_is_filled_in(judge):
    rows = wall_rows("0.51")
    rows[4][2] = ""
    known = Known(today=TODAY, serials={"TH-1001": "tenor-f"})
    assert judge(rows, past=known).readings["model"].to_list() == ["tenor-f"]


def test_a_new_piece_without_a_model_is_asked_which_it_is(judge, said):
    rows = wall_rows("0.51")
    rows[4][2] = ""
    (found,) = said(judge(rows))
    assert found["id"] == "missing-model"
    assert "no card says which model TH-1001 is, so Bell wall would stand on no chart" in found["sentence"]
    assert found["mend"].startswith("Write its model: tenor, tenor-f. ")


def test_a_piece_said_to_be_of_two_models_is_asked_which_it_is(judge, slide_card):
    rows = wall_rows("0.51")
    rows[4][2] = ""
    others = [slide_card(), slide_card(Model="tenor-f")]
    assert judge(rows, other=others).reasons() == {"missing-model": 1}
    # where the record has it, what an upload says against it is a doubt of its own
    known = Known(today=TODAY, serials={"TH-1001": "tenor"})
    assert judge(rows, other=others, past=known).readings["model"].to_list() == ["tenor"]


def test_a_figure_measured_on_one_model_needs_no_word_about_it(plan, as_csv):
    rows = wall_rows("0.51")
    rows[4][2] = ""
    sheet = as_csv(rows)
    one = plan.model_copy(update={"models": plan.models[:1]})
    checked = check([unfold(read_sheet(sheet, "a.csv")[0], one)], one, Known(today=TODAY))[0]
    assert checked.readings["model"].to_list() == ["tenor"]


def test_a_slip_in_the_serial_is_asked_about_before_the_model(judge):
    rows = wall_rows("0.51")
    rows[4][1], rows[4][2] = "TH-1OO1", ""
    known = Known(today=TODAY, serials={f"TH-{n}": "tenor" for n in range(1000, 1030)})
    assert judge(rows, past=known).reasons() == {"unknown-serial": 1}


def test_a_figure_charted_for_all_models_or_only_recorded_asks_for_none(plan):
    def asks(name, **changes):
        stage = plan.stage("bell")
        own = tuple(c.model_copy(update=changes) for c in stage.characteristics)
        changed = stage.model_copy(update={"characteristics": own})
        whole = tuple(changed if s.id == "bell" else s for s in plan.stages)
        return plan.model_copy(update={"stages": whole}).asks_model("bell", name)

    assert asks("wall")
    assert asks("wall", pool="model")
    assert not asks("wall", pool="all")
    assert not asks("wall", charted=False)
    assert not asks("no-such-figure")


def test_the_model_on_another_card_of_the_upload_is_filled_in(judge, slide_card):
    rows = wall_rows("0.51")
    rows[4][2] = ""
    assert judge(rows, other=[slide_card()]).readings["model"].to_list() == ["tenor"]


def test_confirmed_doubts_are_silent_and_confirmed_faults_are_not(plan, as_csv):
    sheet = unfold(read_sheet(as_csv(wall_rows("0.51", "0.51", "5.1")), "a.csv")[0], plan)
    known = Known(today=TODAY)
    assert check([sheet], plan, known)[0].reasons() == {"decimal-slip": 1, "outside-sensible": 1}
    confirmed = check([sheet], plan, known, confirmed=["decimal-slip", "outside-sensible"])[0]
    assert confirmed.reasons() == {"outside-sensible": 1}


def test_an_unknown_reason_cannot_be_confirmed(plan):
    with pytest.raises(ValueError, match="no-such-reason"):
        check([], plan, Known(today=TODAY), confirmed=["no-such-reason"])


def test_to_dict_is_plain(judge):
    said = judge(wall_rows("0.51", "x")).to_dict()
    assert (said["rows"], said["accepted"], said["reasons"]) == (2, 1, {"not-a-number": 1})
    json.dumps(said)


def test_unfolded_to_dict(unfolded):
    sheet = unfolded(wall_rows("0.51"))
    assert sheet.to_dict()["readings"][0]["value"] == 0.51
    assert sheet.rows == 1
