"""Sheets of four more invented shops: other headings, units in a line, places by their cells, lists."""

from __future__ import annotations

from contextlib import suppress
from datetime import date
from pathlib import Path

import pytest

from qc.ingest import Known, SheetError, check, draft_plan, look_at, plan_text, read_sheet, unfold
from qc.ingest.first_plan.drafted import PlanDraft
from qc.plan import load_plan

GERMAN = {
    "ziehen_kw20.csv": "Datum;Rohr-Nr.;Modell;Prüfer;Mikrometer;Ziehring;Ende;Außendurchmesser\n;;;;;;;mm\n"
    "11.05.2026;DH-101;Tenor;RS;MM-1;ZR-4;vorn;14,603\n11.05.2026;DH-101;Tenor;RS;MM-1;ZR-4;hinten;14,601\n"
    "11.05.2026;DH-102;Bass;RS;MM-1;ZR-4;vorn;14,905\n11.05.2026;DH-102;Bass;RS;MM-1;ZR-4;hinten;14,902\n",
    "zug_kw20.csv": "Datum;Seriennummer;Modell;Prüfer;Messgerät;Schenkel;Stelle;Spiel [µm im Durchmesser]\n"
    "12.05.2026;DH-101;Tenor;BK;BU-1;oben;mündung;148\n12.05.2026;DH-101;Tenor;BK;BU-1;oben;mitte;151\n"
    "12.05.2026;DH-101;Tenor;BK;BU-1;unten;mündung;155\n12.05.2026;DH-101;Tenor;BK;BU-1;unten;mitte;150\n",
    "lack_kw21.csv": "Datum;Seriennummer;Prüfer;Bereich;Punkt;Schichtdicke [µm]\n"
    "18.05.2026;DH-101;HE;Becher;1;15,2\n18.05.2026;DH-101;HE;Zug;1;16,1\n",
    "versand.csv": "Seriennummer;Versandt\nDH-101;2026-05-22\n",
    "pruefung.csv": "Datum;Messmittel;Abweichung [µm];Nullgestellt\n"
    "11.05.2026;BU-1;1;nein\n11.05.2026;BU-2;-1;ja\n",
}
SHORT = {
    "bell card 12.csv": "Bell card\nSer No;OT-12\nMod;T\nDate;3.6.26\nBy;WN\n\n"
    "Stn;0 deg;90 deg;180 deg;270 deg\n1;0.51;0.52;0.50;0.51\n2;0.49;0.50;0.49;0.50\n",
    "joints.csv": "Date;Ser. No.;Mod.;Init.;Leak ccm/min;Vis\n"
    "5.6.26;OT-12;T;WN;1.2;ok\n5.6.26;OT-13;T;WN;1.5;ok\n",
    "out.csv": "Ser No;Shipped\nOT-12;2026-06-12\n",
    "back.csv": "Ser No;Returned;Cause\nOT-12;2026-07-02;slide sticks\n",
}
UNITS_BELOW = {
    "valve.csv": "date,serial,model,person,indicator,end play,torque,rim\n,,,,,[um],[Nm],[HV]\n"
    "2026-03-02,SV0031,alto,IO,IN-1,22,1.4,118\n2026-03-02,SV0032,tenor,IO,IN-2,25,1.5,121\n",
    "polish.csv": "date,serial,model,person,balance,mass before [g],mass after [g]\n"
    "2026-03-09,SV0031,alto,UP,BAL-1,1402.1,1380.4\n2026-03-10,SV0032,tenor,UP,BAL-1,1500.2,1471.9\n",
    "checks.csv": "Date,Gauge,Master,Deviation [um],Zeroed\n"
    "2026-03-02,IN-1,zero,1,yes\n2026-03-02,IN-2,zero,0,no\n",
    "rework.csv": "Date,Serial,Stage,Hours,Cause,Person\n2026-03-11,SV0032,polish,2.5,scratch,UP\n",
    "parts.csv": "Date,Serial,Part,Role,Batch,Tool\n2026-03-04,SV0031,B-77,bell,SH-2,\n",
}
OWN_WORDS = {
    "wall log.csv": "Wall log\n\nDay;Piece;Type;Who;Where;Wall mm\n30 Mar 2026;MF-7;Tenor;CP;big hole;0.48\n"
    ";;;;edge band;0.52\n;;;;waist;0.55\n"
    "31 Mar 2026;MF-8;Bass;CP;big hole;0.47\n;;;;edge band;0.53\n;;;;waist;0.54\n",
    "spring.csv": "Serial;MF-7;MF-8;MF-9\nModel;Tenor;Bass;Bass\nDate;6 Apr 2026;7 Apr 2026;7 Apr 2026\n"
    "Pull top [N];0.8;0.9;0.7\nPull bottom [N];0.9;1.0;0.8\n",
    "lack.csv": "Date;Serial;Model;Patch;No;Film um\n10 Apr 2026;MF-7;Tenor;sky;1;14.1\n"
    "10 Apr 2026;MF-7;Tenor;sky;2;13.8\n10 Apr 2026;MF-7;Tenor;earth;1;15.0\n"
    "10 Apr 2026;MF-7;Tenor;earth;2;15.1\n",
    "final.csv": "Date;Serial;Verdict;Person\n14 Apr 2026;MF-7;pass;CP\n",
}
STRANGERS = Path(__file__).parents[2] / "strangers" / "fifth"
SHOPS = {"German": GERMAN, "short": SHORT, "units below": UNITS_BELOW, "own words": OWN_WORDS}


def draft(sheets: dict[str, str]) -> PlanDraft:
    """Return what the sheets propose."""
    return draft_plan(
        "Shop", [look_at(g) for name, text in sheets.items() for g in read_sheet(text.encode(), name)]
    )


@pytest.mark.parametrize("shop", SHOPS)
def test_with_the_proposed_plan_every_row_of_every_sheet_goes_in(shop: str) -> None:
    plan = load_plan(plan_text(draft(SHOPS[shop])))
    grids = [g for name, text in SHOPS[shop].items() for g in read_sheet(text.encode(), name)]
    judged = check([unfold(grid, plan) for grid in grids], plan, Known(today=date(2026, 8, 1)))
    assert [(one.file, row["reasons"]) for one in judged for row in one.held.to_dicts()] == []
    assert all(one.rows for one in judged)


@pytest.mark.parametrize(
    ("shop", "stages", "events"),
    [
        ("German", ["ziehen", "zug", "lack"], {"shipped", "gauge-check"}),
        ("short", ["Bell card", "joints"], {"shipped", "returned"}),
        ("units below", ["valve", "polish"], {"gauge-check", "rework", "part"}),
        ("own words", ["Wall log", "spring", "lack"], {"play-test"}),
    ],
)
def test_stages_stand_in_order_of_their_days_and_lists_are_cards(
    shop: str, stages: list[str], events: set[str]
) -> None:
    backwards = draft(dict(reversed(SHOPS[shop].items())))
    assert [stage.name for stage in backwards.stages] == stages
    plan = load_plan(plan_text(backwards))
    assert {card.event for card in plan.cards} - {None} == events
    assert all(card.id == card.event for card in plan.cards if card.event)


def test_units_stand_in_brackets_with_how_they_are_meant_or_in_a_line_of_their_own() -> None:
    plan = load_plan(plan_text(draft(GERMAN)))
    assert plan.characteristic("ziehen", "aussendurchmesser").unit == "mm"
    assert plan.characteristic("zug", "spiel").unit == "um"
    units = {c.id: c.unit for c in load_plan(plan_text(draft(UNITS_BELOW))).stages[0].characteristics}
    assert units == {"end-play": "um", "torque": "Nm", "rim": "HV"}
    assert draft({**GERMAN, **UNITS_BELOW, **OWN_WORDS}).guessed() == []


def test_places_are_known_by_their_cells_whatever_stands_over_them() -> None:
    german, own = load_plan(plan_text(draft(GERMAN))), load_plan(plan_text(draft(OWN_WORDS)))
    assert german.characteristic("ziehen", "aussendurchmesser").places == {"station": ("vorn", "hinten")}
    assert own.characteristic("Wall-log", "wall").places == {"station": ("big hole", "edge band", "waist")}
    assert own.characteristic("lack", "film").places == {"station": ("sky", "earth"), "spot": ("1", "2")}
    assert own.characteristic("spring", "pull").places == {"station": ("top", "bottom")}
    round_it = load_plan(plan_text(draft(SHORT))).characteristic("Bell-card", "bell").places
    assert round_it == {"station": ("1", "2"), "direction": ("0", "90", "180", "270")}


def test_two_gauges_of_one_kind_have_one_class_and_unit() -> None:
    gauges = {g.id: (g.gauge_class, g.unit) for g in load_plan(plan_text(draft(GERMAN))).gauges}
    assert gauges == {"BU-1": ("bu", "um"), "BU-2": ("bu", "um"), "MM-1": ("mikrometer", "mm")}


def test_families_and_causes_are_those_of_the_sheets() -> None:
    plan = load_plan(plan_text(draft({**OWN_WORDS, **SHORT})))
    assert {model.family for model in plan.models} >= {"tenors", "basses"}
    assert plan.causes[0] == "slide sticks" and "unknown" in plan.causes


@pytest.mark.parametrize("part", range(4))
def test_what_fifty_cards_of_others_propose_loads_and_reads_or_refuses(part: int) -> None:
    for path in sorted((STRANGERS / "layouts").iterdir())[part::4]:
        grids = read_sheet(path.read_bytes(), path.name)
        proposed = draft_plan("Shop", [look_at(grid) for grid in grids])
        if not proposed.stages:
            continue  # nobody is offered a plan without a figure
        plan = load_plan(plan_text(proposed))
        for grid in grids:
            with suppress(SheetError):
                assert unfold(grid, plan).rows


def test_valves_that_a_sheet_names_are_those_of_the_models() -> None:
    sheet = "Date;Serial;Model;Valve;Play [um]\n3.6.26;OT-12;T;F;31\n3.6.26;OT-12;T;D;28\n"
    plan = load_plan(plan_text(draft({"valve.csv": sheet})))
    assert [valve.name for valve in plan.models[0].valves] == ["F", "D"]
    assert plan.characteristic("valve", "play").places == {"valve": ("F", "D")}


def test_a_list_with_a_figure_more_is_no_list_of_events() -> None:
    sheet = {"out.csv": "Serial;Shipped;Mass [g]\nOT-12;2026-06-12;412\nOT-13;2026-06-13;414\n"}
    found = draft(sheet)
    assert (found.events, [stage.name for stage in found.stages]) == ({}, ["out"])
