"""A first plan from sheets: it loads, it says what was on them, and with it they go in."""

from __future__ import annotations

from datetime import date

import pytest

from qc.ingest import Known, check, draft_plan, look_at, plan_text, read_sheet, unfold
from qc.ingest.first_plan.drafted import as_id
from qc.plan import Plan, load_plan

LOG = (
    "Drawing log\n\nDay;Piece;Mod.;O.D. [mm];Mic;Initials;Die no\n"
    "2.11.26;BW-31;T;14,601;M-2;PJ;D-7\n3.11.26;BW-32;A;14,598;M-2;PJ;D-7\n"
)
RIM = (
    "serial,date,model,Wall 1,Wall 2,Wall 3,Weight g,Specks\nBW-31,2026-11-04,Tenor,0.45,0.46,0.44,412.5,0\n"
)
LACQUER = "Instrument;BW-31\nDate;6 Nov 2026\n\nSpot;flare;stem;ferrule\n1;15,2;14,8;16,1\n2;14,9;15,5;15,0\n"
SLIDE = (
    "Slide card\nSerial;BW-31;Date;5.11.2026;Who;MO\n\n"
    "Leg;Station;0 deg outer;90 deg outer;0 deg inner;90 deg inner\n"
    "upper;mouth;14,052;14,046;13,897;13,892\nlower;mouth;14,053;14,048;13,896;13,893\n"
)
NOTES = "Tuning card\nSerial;BW-31\nDate;7.11.2026\n\nPartial;Position;Cents\n2;1;3\n4;1;-2\n"
TEST = "Solder book\nDate;Serial;Joint\n4.11.26;BW-31;ok\n5.11.26;BW-32;gap\n"
SHEETS = {
    "drawing.csv": LOG,
    "rim card w46.csv": RIM,
    "lacquer BW-31.csv": LACQUER,
    "slide.csv": SLIDE,
    "tuning.csv": NOTES,
    "solder.csv": TEST,
}


def grids(*names: str):
    """Read some of the sheets, all where none is named."""
    return [g for n in names or SHEETS for g in read_sheet(SHEETS[n].encode("utf-8"), n)]


def proposed(*names: str) -> Plan:
    """Return the plan that these sheets propose; it has to load."""
    return load_plan(plan_text(draft_plan("Three Benches", [look_at(grid) for grid in grids(*names)])))


def test_with_the_plan_that_sheets_propose_all_of_them_go_in() -> None:
    plan = proposed()
    judged = check([unfold(grid, plan) for grid in grids()], plan, Known(today=date(2026, 11, 20)))
    held = [(one.file, row["reasons"]) for one in judged for row in one.held.to_dicts()]
    assert held == []
    assert [one.readings.height for one in judged] == [2, 5, 6, 8, 2, 2]


def test_stages_figures_units_and_places_are_those_of_the_sheets() -> None:
    plan = proposed()
    found = {
        stage.id: {c.id: (c.name, c.unit, c.kind, c.places) for c in stage.characteristics if not c.derive}
        for stage in plan.stages
    }
    areas = {"spot": ("1", "2"), "area": ("flare", "stem", "ferrule")}
    legs = {"leg": ("upper", "lower"), "station": ("mouth",), "direction": ("0", "90")}
    assert found == {
        "Drawing-log": {"od": ("O.D.", "mm", "measured", {})},
        "rim-card": {
            "wall": ("Wall", "mm", "measured", {"spot": ("1", "2", "3")}),
            "weight": ("Weight", "g", "measured", {}),
            "specks": ("Specks", "count", "count", {}),
        },
        "lacquer": {
            "thickness": ("Lacquer thickness", "um", "measured", areas),
        },
        "slide": {
            "inner_od": ("Stocking diameter", "mm", "measured", legs),
            "outer_bore": ("Outer bore", "mm", "measured", legs),
        },
        "tuning": {"note": ("Deviation of a note", "cent", "measured", {})},
        "Solder-book": {"joint": ("Joint", "fault", "pass-fail", {})},
    }  # fmt: skip


def test_codes_models_and_the_beginning_of_serials_come_from_the_sheets() -> None:
    plan = proposed()
    assert plan.workshop.serial_prefix == "BW-"
    assert {(m.id, m.name, m.family) for m in plan.models} == {("T", "Tenor", "tenors"), ("A", "A", "as")}
    assert [p.code for p in plan.people] == ["PJ", "MO"]
    assert [(g.id, g.gauge_class, g.resolution) for g in plan.gauges] == [("M-2", "mic", 0.001)]
    assert [(t.id, t.tool_class) for t in plan.tools] == [("D-7", "die")]
    assert plan.characteristic("Drawing-log", "od").gauge_class == "mic"
    assert plan.characteristic("slide", "clearance").derive.what == "clearance"
    assert plan.characteristic("Solder-book", "joint").pool == "all"


def test_limits_are_left_open_and_what_was_read_stands_beside_them() -> None:
    text = plan_text(draft_plan("Shop", [look_at(grid) for grid in grids("drawing.csv")]))
    assert all(c.limits == () for s in load_plan(text).stages for c in s.characteristics)
    assert "# OPEN limits: [{target: , lower: , upper: }]  # read so far: 14.598 to 14.601" in text


def test_a_unit_that_nobody_wrote_is_named_as_a_guess() -> None:
    draft = draft_plan("Shop", [look_at(grid) for grid in grids("drawing.csv", "rim card w46.csv")])
    assert draft.guessed() == ["Wall in mm"]
    assert "unit: mm      # OPEN: nobody wrote a unit; this is a guess" in plan_text(draft)


def test_two_headings_for_one_thing_are_pointed_out() -> None:
    again = "Bench 2\nDate;Serial;Model;outside mm\n4.11.26;BW-33;T;14,600\n"
    seen = [look_at(grid) for grid in (*grids("drawing.csv"), *read_sheet(again.encode(), "again.csv"))]
    assert "its figures lie where those of Drawing log do" in plan_text(draft_plan("Shop", seen))


def test_a_sheet_of_words_gives_no_stage() -> None:
    seen = [look_at(g) for g in read_sheet(b"Date;Who;Remark\n2026-11-04;PJ;warm\n", "words.csv")]
    assert draft_plan("Shop", seen).stages == []


@pytest.mark.parametrize(
    "name", ["yes", "Größe (oben)", "# 4: a", "{x}", "'quoted'", "  ", "a" * 60], ids=lambda name: name[:9]
)
def test_any_heading_gives_a_plan_that_loads(name: str) -> None:
    sheet = (
        f"Date;Serial;Model;{name} [mm]\n4.11.26;BW-33;{name or 'T'};14,6\n5.11.26;BW-34;{name or 'T'};14,7\n"
    )
    seen = [look_at(g) for g in read_sheet(sheet.encode("utf-8"), "own.csv")]
    plan = load_plan(plan_text(draft_plan(name, seen)))
    assert plan.stages[0].characteristics[0].unit == "mm"
    assert plan.stages[0].characteristics[0].id == as_id(plan.stages[0].characteristics[0].id)
