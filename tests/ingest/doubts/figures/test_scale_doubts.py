"""Slips of scale: each is caught beside usual neighbours, and odd but true figures are left alone."""

import random
from datetime import date

import pytest

from qc.ingest import Known, Usual
from qc.ingest.doubts.facts import is_clearance, is_diameter, rounded
from qc.plan import READING, Characteristic

TODAY = date(2026, 5, 20)


def cards(slide_card, count=8):
    return [slide_card(f"TH-10{n:02d}") for n in range(10, 10 + count)]


@pytest.mark.parametrize(
    ("column", "text", "reason", "value"),
    [
        (4, "139.01", "decimal-slip", 13.901),
        (4, "1.3901", "decimal-slip", 1.3901 * 10),
        (5, "1405.2", "decimal-slip", 14.052),
        (5, "0.5532", "inch-for-mm", 14.051),
        (4, "0.5473", "inch-for-mm", 13.901),
        (4, "6.9505", "radius-for-diameter", 13.901),
        (5, "7.0255", "radius-for-diameter", 14.051),
        (4, "13901", "factor-1000", 13.901),
        (5, "14051", "factor-1000", 14.051),
        (5, "46156", "spreadsheet-date", 14.05),
    ],
)
def test_a_slip_among_usual_figures(judge, said, slide_card, column, text, reason, value):
    checked = judge(slide_card(changes={(2, column): text}), other=cards(slide_card))
    found = {r["id"]: r for r in said(checked)}
    assert checked.held.height == 1
    assert found[reason]["proposal"] == {"value": pytest.approx(value, abs=5e-4)}
    assert text in found[reason]["sentence"]


@pytest.mark.parametrize("text", ["139.01", "0.5473", "6.9505", "13901"])
def test_the_first_card_of_all_is_judged_by_the_plan(judge, slide_card, text):
    assert judge(slide_card(changes={(2, 4): text})).held.height == 1


@pytest.mark.parametrize("text", ["13.94", "13.86", "13.95", "13.75", "13.99"])
def test_a_piece_that_is_really_apart_is_no_slip(judge, slide_card, text):
    apart = {(row, 4): text for row in range(12)}
    reasons = judge(slide_card(changes=apart), other=cards(slide_card)).reasons()
    assert set(reasons) <= {"body-for-stocking"}  # which 13.75 is not: it lies deeper than a body


def test_one_figure_inside_the_limits_is_left_to_the_charts(judge, slide_card):
    assert judge(slide_card(changes={(2, 4): "13.94"}), other=cards(slide_card)).held.height == 0


def polish(*figures, start=1):
    head = [["Card", "Polishing card"], [], ["Date", "Serial", "Model", "Mass loss"]]
    return head + [["2026-05-12", f"TH-11{start + n:02d}", "tenor", text] for n, text in enumerate(figures)]


@pytest.mark.parametrize(("text", "value"), [("180", 18.0), ("1.7", 17.0), ("182", 18.2), ("18000", None)])
def test_polishing_mass(judge, said, text, value):
    usual = [f"{18 + (n % 7 - 3) * 0.8:.1f}" for n in range(20)]
    found = said(judge(polish(text, *usual)))
    assert found
    if value is not None:
        assert ("decimal-slip", {"value": value}) in [(r["id"], r["proposal"]) for r in found]


def test_milligrams_for_grams(judge, said):
    usual = [f"{18 + (n % 7 - 3) * 0.8:.1f}" for n in range(20)]
    assert ("factor-1000", {"value": 18.2}) in [
        (r["id"], r["proposal"]) for r in said(judge(polish("18200", *usual)))
    ]


def test_what_the_store_knows_stands_in_for_neighbours(judge, said):
    past = Known(today=TODAY, usual={("polish", "mass_loss", "tenor"): Usual(18.0, 0.8, 60)})
    found = said(judge(polish("181"), past=past))
    assert ("decimal-slip", {"value": 18.1}) in [(r["id"], r["proposal"]) for r in found]


def test_the_record_of_a_skew_figure_is_taken_on_its_logarithm(judge, said):
    past = Known(today=TODAY, usual={("joints", "leak", "tenor"): Usual(1.3, 0.45, 60)})
    found = said(judge(joints("14"), past=past))
    assert [(r["id"], r["proposal"]) for r in found] == [("decimal-slip", {"value": 1.4})]
    assert said(judge(joints("3.9", "0.4", "4.5"), past=past)) == []


def test_what_cannot_be_is_offered_a_mend_however_wide_the_record_is(judge, said):
    past = Known(today=TODAY, usual={("polish", "mass_loss", "tenor"): Usual(18.0, 5.0, 60)})
    found = said(judge(polish("0.18"), past=past))
    assert [(r["id"], r["proposal"]) for r in found] == [
        ("outside-sensible", {}),
        ("decimal-slip", {"value": 18.0}),
    ]


@pytest.mark.parametrize(("text", "value"), [("119", 11.9), ("82", None)])
def test_a_size_whose_level_just_moved_is_no_deviation_of_any_height(judge, said, text, value):
    past = Known(today=TODAY, usual={("polish", "mass_loss", "tenor"): Usual(18.0, 3.7, 60)})
    slips = [
        r["proposal"]["value"] for r in said(judge(polish(text), past=past)) if r["id"] == "decimal-slip"
    ]
    assert slips == ([value] if value else [])


@pytest.mark.parametrize(("digits", "offered"), [(2, [18.12]), (1, [])])
def test_the_step_of_the_plan_says_nothing_where_the_bench_writes_finer(judge, said, digits, offered):
    written = [f"{18 + (n % 7 - 3) * 0.81:.{digits}f}" for n in range(20)]
    before = judge(polish(*written, start=30)).readings.select(list(READING))
    past = Known(today=TODAY, past=before, usual={("polish", "mass_loss", "tenor"): Usual(18.0, 0.8, 60)})
    found = said(judge(polish("1812"), past=past))
    assert [r["proposal"]["value"] for r in found if r["id"] == "decimal-slip"] == offered


def test_too_few_on_record_do_not_count(judge, said):
    past = Known(today=TODAY, usual={("polish", "mass_loss", "tenor"): Usual(1.8, 0.01, 3)})
    assert said(judge(polish("18.1"), past=past)) == []


def joints(*figures):
    head = [["Card", "Joints card"], [], ["Date", "Serial", "Model", "Leak"]]
    return head + [["2026-05-12", f"TH-12{n:02d}", "tenor", text] for n, text in enumerate(figures, 1)]


def test_a_skew_figure_is_judged_on_its_logarithm(judge, said):
    rng = random.Random(5)
    usual = [f"{1.3 * 1.4 ** rng.gauss(0, 1):.1f}" for _ in range(60)]
    assert said(judge(joints("4.4", "0.5", *usual))) == []
    (found,) = said(judge(joints("14", *usual)))
    assert (found["id"], found["proposal"]) == ("decimal-slip", {"value": 1.4})
    assert said(judge(joints("130", *usual)))[0]["id"] == "outside-sensible"


def tuning(*cents):
    head = [
        ["Card", "Tuning card"],
        ["Model", "tenor"],
        ["Date", "2026-05-12"],
        [],
        ["Serial", "Partial", "Position", "Cents"],
    ]
    places = [(p, n) for p in range(1, 8) for n in (2, 3, 4, 5, 6, 8)]
    return head + [[f"TH-13{n // 30:02d}", *places[n % 30][::-1], text] for n, text in enumerate(cents)]


def test_a_note_far_out_is_no_slip_while_it_is_possible(judge):
    rng = random.Random(6)
    usual = [f"{rng.gauss(0, 4.5):.0f}" for _ in range(119)]
    assert judge(tuning("-48", *usual)).held.height == 0
    assert judge(tuning("-140", *usual)).reasons()["outside-sensible"] == 1


def clearance(figures, heading="Clearance [um on diameter]"):
    head = [
        ["Card", "Slide card"],
        ["Model", "tenor"],
        ["Date", "2026-05-12"],
        [],
        ["Serial", "Leg", "Station", "Direction", heading],
    ]
    places = [
        (leg, s, d) for leg in ("upper", "lower") for s in ("mouth", "middle", "crook") for d in (0, 90)
    ]
    return head + [[f"TH-14{n // 12:02d}", *places[n % 12], text] for n, text in enumerate(figures)]


def test_half_a_clearance_among_whole_ones(judge, said):
    usual = [150 + n % 7 * 3 - 9 for n in range(47)]
    (found,) = said(judge(clearance([76, *usual])))
    assert (found["id"], found["proposal"]) == ("per-side", {"value": 152.0})


def test_mm_in_a_column_of_um(judge, said):
    usual = [150 + n % 7 * 3 - 9 for n in range(47)]
    found = {r["id"]: r["proposal"] for r in said(judge(clearance(["0.152", *usual])))}
    assert found["factor-1000"] == {"value": 152.0}


@pytest.mark.parametrize(
    ("name", "unit", "diameter", "clear"),
    [
        ("Tube OD", "mm", True, False),
        ("Outer bore", "mm", True, False),
        ("Bell wall", "mm", False, False),
        ("Tube length", "mm", False, False),
        ("Slide clearance", "um", False, True),
        ("Valve play", "um", False, True),
        ("Lacquer", "um", False, False),
    ],
)
def test_which_figures_can_be_halved(name, unit, diameter, clear):
    characteristic = Characteristic(id=name.casefold().replace(" ", "_"), name=name, unit=unit)
    assert (is_diameter(characteristic), is_clearance(characteristic)) == (diameter, clear)


def test_an_inch_reading_is_rounded_to_the_gauges_step():
    # trade table: 0.5532 in are 14.051 mm
    assert rounded(0.5532 * 25.4, 0.001) == 14.051
