"""Answers in words from plain values: what is asked first stands first, numbers agree with their nouns."""

from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

from qc.plan import Characteristic, DatedLimits, Gauge, Model, Plan, PlanFault, Shop, Stage
from qc.report.terminal import (
    Touch,
    correction_text,
    decisions_text,
    exported_text,
    held_row_text,
    held_text,
    hold_text,
    mended_text,
    month_text,
    pair_lead,
    pair_text,
    plan_faults_text,
    plan_text,
    readings_text,
    receipt_text,
    rejudged_text,
    run_words,
    signals_text,
    status_text,
    total_text,
    touched_text,
    verified_text,
    wear_text,
)
from qc.sayings import Said, What
from qc.trade import Pairing, fit_wear
from qc.watch import FactorLevels, Points, Question, Span, judge

TODAY = date(2026, 11, 24)


def test_a_receipt_tells_each_sheet_and_their_sums():
    sheets = [("a.csv", 5, 3, 2, 0, {"no-date": 1, "decimal-slip": 1}, 0), ("b.csv", 4, 1, 0, 3, {}, 0)]
    assert receipt_text(sheets, ["F wraps have come out long."]).splitlines() == [
        "a.csv: 5 rows, 3 accepted, 2 held (1 no-date, 1 decimal-slip).",
        "b.csv: 4 rows, 1 accepted, 3 already known. 1 of 4 readings of this card is new.",
        "2 sheets, 9 rows: 4 accepted, 2 held, 3 already known.",
        "▲ F wraps have come out long.",
        "See what is held: qc held list",
    ]
    assert receipt_text([("b.csv", 4, 4, 0, 0, {}, 0)], []) == "b.csv: 4 rows, 4 accepted."
    assert receipt_text([], []) == "Nothing was taken in."


def test_rows_held_and_sent_again_are_held_already():
    def said(accepted, held, known, again):
        return receipt_text([("a.csv", 9, accepted, held, known, {"no-date": held}, again)], []).splitlines()[
            0
        ]

    assert said(0, 3, 6, 3) == (
        "a.csv: 9 rows, 0 accepted, 3 held already (3 no-date), 6 already known. Nothing of this card is new."
    )
    assert said(1, 3, 5, 2) == (
        "a.csv: 9 rows, 1 accepted, 3 held, 2 of them already (3 no-date), 5 already known. "
        "2 of 9 readings of this card are new."
    )


def test_what_is_missing_of_a_card_stands_below_its_sheet():
    sheets = [("a.csv", 1, 1, 0, 0, {}, 0), ("b.csv", 2, 2, 0, 0, {}, 0)]
    lines = receipt_text(sheets, [], missing=[["Still missing of Bell card: T-1: Rim."], []]).splitlines()
    assert lines[:3] == [
        "a.csv: 1 row, 1 accepted.",
        "   Still missing of Bell card: T-1: Rim.",
        "b.csv: 2 rows, 2 accepted.",
    ]


def test_of_many_sheets_the_empty_ones_are_not_told():
    empty, full = ("e.csv", 0, 0, 0, 0, {}, 0), ("f.csv", 1, 1, 0, 0, {}, 0)
    assert receipt_text([empty] * 10 + [full], []).count("e.csv") == 10
    assert receipt_text([empty] * 11 + [full], []) == "f.csv: 1 row, 1 accepted.\n" + total_text(
        12, 1, 1, 0, 0
    )


def test_rows_held_alike_are_told_once_with_what_settles_them_all():
    mends = [("1,4 becomes 1.4", "--accept"), ("serial QH-1 becomes QH-7", "--set serial=QH-7")]
    first = held_row_text(7, "QH-1, Joint leak", "1,4", [("No serial.", "Write it.")], mends)
    told = [
        "7  QH-1, Joint leak  typed '1,4'",
        "     No serial. Write it.",
        "     Proposed: 1,4 becomes 1.4   (qc held mend 7 --accept --who CODE)",
        "     Or: serial QH-1 becomes QH-7   (qc held mend 7 --set serial=QH-7 --who CODE)",
    ]
    assert first.splitlines() == told
    assert held_text([(first, 1, "7", "")]).splitlines() == ["1 row is held.", *told]
    lines = held_text([(first, 2, "7-8", "qc held mend 7-8 --accept --who CODE")]).splitlines()
    assert lines[0] == "2 rows are held. That is 1 question: rows held alike stand together."
    assert lines[5] == "     2 rows are held alike: 7-8   (all at once: qc held mend 7-8 --accept --who CODE)"
    assert held_text([]) == "Nothing is held."


def test_a_correction_says_what_judging_anew_changed_and_what_stayed():
    said = correction_text(
        "QH-1, Slide force: 215 becomes 214.0.",
        [
            ("Slide: Slide force", ("steady", "steady"), [], []),
            ("Slide: Gap", ("steady", "drifting"), ["Old."], ["New."]),
        ],
    )
    assert said.splitlines() == [
        "QH-1, Slide force: 215 becomes 214.0.",
        "Judged anew: Slide: Slide force: steady, as before.",
        "Judged anew: Slide: Gap: steady becomes drifting.",
        "  no longer told: Old.",
        "▲ New.",
    ]
    assert correction_text("Done.", []).endswith("No series had to be judged anew.")


def test_readings_of_a_piece_are_listed_with_the_way_on():
    rows = [("7", "2026-05-14", "Slide force", "0.95 N", "DO", "corrected, 9 stands by IS: misread")]
    lines = readings_text("QH-1", rows).splitlines()
    assert lines[0] == "QH-1: 1 reading." and lines[2].endswith("corrected, 9 stands by IS: misread")
    assert "qc correct READING" in lines[-1]
    assert readings_text("QH-1", []) == "No reading of QH-1 is on record."


def test_what_became_of_rows():
    assert mended_text("Row 7 is still held.", ["No serial."]) == "Row 7 is still held.\n  No serial."
    assert exported_text(3, Path("held.csv")) == "3 held rows written to held.csv."


def test_what_was_touched_says_how_many_left():
    pieces = [
        Touch("T-1", "QH-9", date(2026, 11, 3), ["draw", "slide"], date(2026, 11, 20), None, False, None),
        Touch("T-2", "", date(2025, 11, 3), ["draw"], None, None, True, date(2026, 11, 21)),
        Touch("T-3", "", date(2026, 11, 4), ["draw"], date(2026, 11, 5), date(2026, 11, 9), False, None),
    ]
    assert touched_text("die D-2", date(2026, 11, 1), ", by hand", pieces, TODAY).splitlines() == [
        "die D-2 touched 3 pieces since 1 Nov, by hand; 2 left the shop, 1 of them came back. "
        "1 of them stands only on held rows: qc held list",
        "  T-1 in QH-9  3 Nov       draw, slide, left 20 Nov",
        "  T-2          3 Nov 2025  draw, still here, measured again on 21 Nov (only on a held row)",
        "  T-3          4 Nov       draw, left 5 Nov, came back 9 Nov",
    ]
    read = [("it was off", {"T-1": None}, pieces[:1])]
    said = touched_text("gauge G-1", None, "", [], TODAY, read).splitlines()
    assert said[0].endswith("Before, it was off: 1 piece in between (T-1), 1 of which left the shop.")
    assert said[1:] == ["Read in between:", "  T-1 in QH-9  3 Nov  draw, slide, left 20 Nov"]
    assert touched_text("gauge G-1", None, "", [], TODAY) == "gauge G-1 touched 0 pieces; 0 left the shop."


def test_signals_are_listed_and_one_is_told_whole():
    rows = [("ab12", "open", "Longer."), ("cd34", "closed as false", "Shorter.")]
    assert signals_text(rows, "") == "ab12  open             Longer.\ncd34  closed as false  Shorter."
    assert signals_text(rows[:1], "Once.", "all of it") == "all of it\n\nOnce."
    assert signals_text([], "") == "No signal is open."


def test_decisions_about_a_series_with_their_history():
    when = datetime(2026, 11, 3, 8, tzinfo=UTC)
    said = Said(What.FREEZE, "IS", "one rig", first="A-1", last="A-9", id=1, about="s/c/all", when=when)
    text = decisions_text("Slide: force", "steady", Span("A-1", "A-9"), (Span("A-12", "A-12"),), [said])
    assert text.splitlines() == [
        "Slide: force (steady)",
        "  settled state: A-1 to A-9",
        "  left out: A-12 to A-12",
        "  2026-11-03 IS: settled state frozen, A-1 to A-9 (one rig)",
    ]
    assert decisions_text("x", "steady", None, (), ()).endswith("nothing frozen, nothing left out")


def test_a_plan_is_said_in_route_order():
    limits = (DatedLimits(lower=1.0, upper=2.5), DatedLimits(models=("alto",), target=2.0, since=TODAY))
    figures = (
        Characteristic(id="od", name="OD", unit="mm", limits=limits),
        Characteristic(id="note", name="Note", unit="cent", charted=False),
    )
    gauge = Gauge(id="G-1", name="micrometer", unit="mm", gauge_class="OD", resolution=0.001)
    plan = Plan(
        workshop=Shop(name="Mill"),
        models=(Model(id="alto", name="Alto", family="alto", length_mm=2000.0, pedal_midi=40),),
        stages=(Stage(id="draw", name="Draw", characteristics=figures),),
        gauges=(gauge,),
    )
    assert plan_text(plan, 2, 3).splitlines() == [
        "Mill, plan version 2 of 3",
        "",
        "Draw",
        "  OD [mm]: from 1 to 2.5; target 2 (alto) since 2026-11-24",
        "  Note [cent], recorded only",
        "",
        "Models: Alto",
        "Gauges: G-1 micrometer",
        "Tools: ",
    ]
    fault = PlanFault(3, "stages", "is empty", "Write one.")
    assert plan_faults_text(Path("p.yaml"), []) == "p.yaml: the plan is in order."
    assert plan_faults_text(Path("p.yaml"), [fault]) == f"p.yaml: 1 fault.\n  {fault}"


def test_answers_about_a_whole_workshop():
    assert status_text("Mill", TODAY, (), ()) == "Mill, Tue 24 Nov 2026: nothing has been measured yet.\n"
    assert "every verdict is as it was kept" in rejudged_text(3, ())
    assert rejudged_text(3, ["a/b/all"]).endswith("changed since they were kept:\n  a/b/all")
    assert verified_text(9, "0" * 64, []).startswith("All 9 entries")
    assert (
        verified_text(9, "", ["entry 3"]) == "Something was altered or lost:\n  entry 3\nLast hash: none yet"
    )
    told = {"headline": "A quiet month.", "closed": "", "last_hash": "ab"}
    assert month_text(told, [Path("m.pdf")]) == "A quiet month.\n  m.pdf\nLast hash: ab"
    closed = month_text({**told, "closed": "Closed by IS."}, [Path("m.pdf")])
    assert closed.splitlines()[2:] == ["Closed by IS.", "Last hash: ab"]


def test_the_tool_to_change_first_stands_first():
    line = fit_wear([0.0, 100.0, 200.0, 300.0], [14.0, 14.1, 14.19, 14.3], upper=14.4)
    late = fit_wear([0.0, 100.0, 200.0, 300.0], [14.0, 14.01, 14.02, 14.031], upper=14.4)
    few = ("D-3", 2, None, None, ["only 2 pieces"], None, "draw")
    first = ("D-2", 4, line, date(2026, 12, 1), [], 3.0, "draw")
    text = wear_text([few, ("D-1", 4, late, None, [], None, "draw"), first], ["Gloves."])
    lines = text.splitlines()
    assert [sentence[:3] for sentence in lines[:3]] == ["D-2", "D-1", "D-3"]
    assert lines[0].endswith("about Tue 1 Dec 2026; 78 draws left, about 3 weeks") and lines[2].endswith(
        "(only 2 pieces)"
    )
    assert [row[:3] for row in lines[5:8]] == ["D-2", "D-1", "D-3"]
    assert lines[-3:] == ["", "Cautions:", "- Gloves."]


def test_a_rack_without_a_pair_still_tells_its_tubes():
    nothing = Pairing(pairs=(), left_inner=(), left_outer=(), inside=0, cost=0.0)
    rack = [run_words("inner", [14.0, 14.02], 14.1, -20.0), run_words("outer", [14.1], 0.0, None)]
    said = (pair_lead(nothing, (100.0, 200.0)), [], rack)
    lines = pair_text(nothing, [], said, (None, None)).splitlines()
    assert lines[0] == "0 of 0 pairs lie wholly within 100 to 200 µm"
    assert "DRIFTING by −20.0 µm" in lines[-2] and "DRIFTING" not in lines[-1]
    assert lines[-1] == "outer  1 tube, mean 14.1000 mm, standard deviation 0.0 µm"


def test_the_head_of_a_status_counts_what_settled_and_nobody_answered(small_plan, points):
    stage = small_plan.stage("tuning")
    question = Question(small_plan, stage, stage.characteristics[0], "tenor", 0.004, TODAY)
    calm = judge(question, Points(points([0.1 * (n % 7) for n in range(30)]), centered=False), FactorLevels())
    settled = replace(calm, settled_since=date(2026, 6, 15))
    assert "all 2 series are as they were." in status_text("Shop", TODAY, [calm, calm], [])
    head = status_text("Shop", TODAY, [calm, settled], []).splitlines()[0]
    assert head.endswith("no series drifts; 1 series has settled at a new level unanswered.")


def test_a_piece_that_left_while_to_be_held_is_named_once_and_a_reason_of_several_too():
    worn, thin = ("Crook: Ovality", "made under signal 1"), ("Crook: Wall", "0.45 mm, under 0.46 mm")
    left = [(serial, *worn, f"left {day} Mar", "") for serial, day in (("CK-7", 9), ("CK-6", 8), ("CK-5", 7))]
    left.append(("CK-6", *thin, "left 8 Mar", ""))
    told = hold_text(date(2026, 3, 20), [], [], [], [], left_held=left)
    assert told.splitlines()[1:] == [
        "",
        "Left while to be held: 3 pieces.",
        "CK-7  (left 9 Mar)",
        "CK-5  (left 7 Mar)",
        "  Crook: Ovality: made under signal 1",
        "CK-6  (left 8 Mar)",
        "  Crook: Ovality: made under signal 1",
        "  Crook: Wall: 0.45 mm, under 0.46 mm",
    ]
