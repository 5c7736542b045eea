"""Doubts that weigh several rows against each other."""

import random
from datetime import date

import polars as pl
import pytest

from qc.ingest import GaugeCheck, Known, Recorded, Usual, check, identity, read_sheet, unfold
from qc.ingest.doubts.rows.copied_run import shortest_run
from qc.plan import READING
from qc.trade import section_mm2

TODAY = date(2026, 5, 20)
WALL = ["Date", "Serial", "Model", "Station", "Direction", "Wall [mm]"]
STATIONS = [(s, d) for s in range(1, 6) for d in (0, 90, 180, 270)]


def wall(serial, figures, day="2026-05-12"):
    return [[day, serial, "tenor", *at, text] for at, text in zip(STATIONS, figures, strict=True)]


def wall_card(*pieces):
    return [["Card", "Bell wall map"], [], WALL, *[row for piece in pieces for row in piece]]


def drawn(rng, mean=0.5):
    return [f"{mean + rng.gauss(0, 0.02):.2f}" for _ in STATIONS]


def test_a_row_typed_twice(judge, said):
    piece = wall("TH-1001", drawn(random.Random(1)))
    found = said(judge(wall_card(piece, [piece[3]])))
    assert [(r["id"], r["row"], r["proposal"]) for r in found] == [("doubled-row", 24, {})]
    assert "line 7" in found[0]["sentence"]
    assert found[0]["mend"] == "Drop it; if it was really measured again, set repeat to 2."


def test_one_place_with_two_figures_holds_both(judge, said):
    piece = wall("TH-1001", drawn(random.Random(1)))
    other = [*piece[3][:5], "0.58"]
    found = said(judge(wall_card(piece, [other])))
    assert [(r["id"], r["row"], r["proposal"]) for r in found] == [
        ("doubled-row", 7, {}),
        ("doubled-row", 24, {"repeat": 2}),
    ]


def test_an_event_typed_twice(judge, said):
    line = ["2026-05-12", "TH-1001", "joints", "1.5", "dent"]
    rows = [
        ["Card", "Rework list"],
        [],
        ["Date", "Serial", "Stage", "Hours", "Cause"],
        line,
        line,
        [*line[:3], "2", "dent"],
    ]
    assert [(r["id"], r["row"]) for r in said(judge(rows))] == [("doubled-row", 5)]


def test_the_same_rows_on_another_sheet_are_left_to_the_store(judge):
    card = wall_card(wall("TH-1001", drawn(random.Random(1))))
    assert judge(card, other=[card]).held.height == 0


def test_another_figure_on_another_sheet_is_asked(plan, as_csv, said):
    first, second = (wall_card(wall("TH-1001", drawn(random.Random(1)))) for _ in range(2))
    second[5][5] = "0.59"
    sheets = [
        unfold(read_sheet(as_csv(rows), name)[0], plan)
        for rows, name in ((first, "a.csv"), (second, "b.csv"))
    ]
    one, two = check(sheets, plan, Known(today=TODAY))
    assert one.held.height == 0
    (found,) = said(two)
    assert found["id"] == "differs-from-recorded"
    assert "a.csv, line 6" in found["sentence"]


def test_a_figure_that_differs_from_the_record_is_offered_as_a_correction(judge, unfolded, said):
    card = wall_card(wall("TH-1001", drawn(random.Random(1))))
    keys = identity(unfolded(card).readings).to_list()
    values = unfolded(card).readings["value"].to_list()
    same = Known(
        today=TODAY,
        recorded={key: Recorded(n, value) for n, (key, value) in enumerate(zip(keys, values, strict=True))},
    )
    assert judge(card, past=same).held.height == 0
    other = Known(today=TODAY, recorded={**same.recorded, keys[2]: Recorded(77, values[2] + 0.03)})
    (found,) = said(judge(card, past=other))
    assert (found["id"], found["proposal"], found["row"]) == ("differs-from-recorded", {"replaces": 77}, 6)


def test_another_day_is_another_measurement(judge, unfolded):
    card = wall_card(wall("TH-1001", drawn(random.Random(1)), day="2026-05-11"))
    recorded = {key: Recorded(n, 0.9) for n, key in enumerate(identity(unfolded(card).readings))}
    later = wall_card(wall("TH-1001", drawn(random.Random(1)), day="2026-05-12"))
    assert judge(later, past=Known(today=TODAY, recorded=recorded)).held.height == 0


def test_a_copied_piece_is_found_whole_and_the_original_is_not(judge, said):
    rng = random.Random(3)
    pieces = [wall(f"TH-10{n:02d}", drawn(rng)) for n in range(10, 16)]
    pieces[4] = wall("TH-1014", [row[5] for row in pieces[3]])
    found = said(judge(wall_card(*pieces)))
    assert {r["id"] for r in found} == {"copied-run"}
    assert len(found) == 20
    assert all("TH-1014 are the same in the same order as those of TH-1013" in r["sentence"] for r in found)


def test_a_copied_stretch_is_found_by_its_length(judge, said):
    rng = random.Random(4)
    pieces = [wall(f"TH-10{n:02d}", drawn(rng)) for n in range(10, 16)]
    for at in range(14):
        pieces[4][at][5] = pieces[3][at][5]
    assert len(said(judge(wall_card(*pieces)))) == 14


def test_honest_pieces_on_a_coarse_gauge_are_no_copies(judge):
    rng = random.Random(5)
    pieces = [
        wall(f"TH-1{n:03d}", [f"{0.5 + rng.choice((-0.01, 0, 0, 0.01)):.2f}" for _ in STATIONS])
        for n in range(120)
    ]
    assert judge(wall_card(*pieces)).held.height == 0


def test_the_shortest_run_grows_with_agreement_and_with_pairs():
    fine = [[float(n * 7 % 20) for n in range(20)] for _ in range(5)]
    coarse = [[float(n % 2) for n in range(20)] for _ in range(5)]
    assert shortest_run(fine, 100.0) < shortest_run(coarse, 100.0)
    assert shortest_run(fine, 100.0) <= shortest_run(fine, 1e6)
    assert shortest_run([], 1.0) > 100


def test_the_body_measured_for_the_stocking(judge, said, slide_card):
    others = [slide_card(f"TH-10{n:02d}") for n in range(10, 16)]
    found = said(judge(slide_card("TH-1020", shift=-0.1), other=others))
    assert {r["id"] for r in found} == {"body-for-stocking"}
    assert len(found) == 12
    assert all(r["proposal"] == {"surface": "body"} for r in found)


def test_one_leg_alone_too(judge, said, slide_card):
    others = [slide_card(f"TH-10{n:02d}") for n in range(10, 16)]
    low = {(row, 4): "13.800" for row in range(6)}
    assert len(said(judge(slide_card("TH-1020", changes=low), other=others))) == 6


def test_a_piece_is_not_its_own_measure(judge, said, slide_card):
    """The only card of an upload is judged by the record, else by the plan, not by its own median."""
    past = Known(today=TODAY, usual={("slide", "inner_od", "tenor"): Usual(13.902, 0.008, 200)})
    for known in (None, past):
        assert {r["id"] for r in said(judge(slide_card("TH-1020", shift=-0.1), past=known))} == {
            "body-for-stocking"
        }


def test_a_few_cards_of_a_day_are_asked_what_a_years_cards_are_asked(judge, said, slide_card):
    """Among three others, one of them high, the low piece would widen its own measure without the record."""
    before = [judge(slide_card(f"TH-10{n:02d}", shift=0.002 * (n % 3))).readings for n in range(10, 30)]
    past = Known(today=TODAY, past=pl.concat(before).select(list(READING)))
    others = [slide_card("TH-1030"), slide_card("TH-1031", shift=0.05), slide_card("TH-1032", shift=0.03)]
    found = said(judge(slide_card("TH-1040", shift=-0.1), other=others, past=past))
    assert [r["id"] for r in found] == ["body-for-stocking"] * 12
    alone = judge(slide_card("TH-1040", shift=-0.1), other=others)
    assert "body-for-stocking" not in alone.reasons()


@pytest.mark.parametrize("shift", [-0.03, -0.04, 0.1, -0.3])
def test_stockings_that_are_merely_off_are_no_bodies(judge, slide_card, shift):
    others = [slide_card(f"TH-10{n:02d}") for n in range(10, 16)]
    assert "body-for-stocking" not in judge(slide_card("TH-1020", shift=shift), other=others).reasons()


def draw_log(lengths, od="14.900", bore="14.050"):
    rows = [["Card", "Drawing log"], [], ["Date", "Tube", "Model", "OD [mm]", "Bore [mm]", "Length [mm]"]]
    return rows + [["2026-05-12", f"T-{n:04d}", "tenor", od, bore, text] for n, text in enumerate(lengths, 1)]


def usual_lengths(count=12):
    rng = random.Random(7)
    return [f"{693 * (1 + rng.gauss(0, 0.004)):.0f}" for _ in range(count)]


def test_a_length_with_two_digits_changed_breaks_the_volume(judge, said):
    found = said(judge(draw_log(["639", *usual_lengths()])))
    assert [r["id"] for r in found] == ["volume-balance"] * 3
    assert found[2]["proposal"] == {"value": 693.0}
    assert "length 639 mm lies farthest" in found[0]["sentence"]
    # by hand: the same section, 639 for about 693 mm
    assert "give -7." in found[0]["sentence"]
    # trade table: a tube of 14.90 x 14.05 mm drawn from 500 mm of 15.40 x 14.25 mm is 693 mm long
    assert section_mm2(14.9, 14.05) * 693 == pytest.approx(section_mm2(15.4, 14.25) * 500, rel=0.001)


def test_a_wrong_bore_breaks_it_too_and_offers_nothing(judge, said):
    rows = draw_log(usual_lengths(12))
    rows[4][4] = "14.069"
    found = said(judge(rows))
    assert {r["id"] for r in found} == {"volume-balance"}
    assert all(r["proposal"] == {} for r in found)
    assert "the bore 14.069 mm lies farthest" in found[0]["sentence"]


def test_a_reading_in_doubt_already_is_not_doubted_again_by_the_balance(judge, said):
    rows = draw_log(usual_lengths(12))
    rows[4][4] = "140.50"
    assert "volume-balance" not in {r["id"] for r in said(judge(rows))}


def test_few_tubes_say_nothing_by_themselves_but_beside_the_record_they_do(judge):
    few = draw_log(["639", "693", "692"])
    assert judge(few).held.height == 0
    usual = {
        "tube_od": Usual(14.9, 0.004, 50),
        "tube_bore": Usual(14.05, 0.003, 50),
        "tube_length": Usual(693, 2.5, 50),
    }
    past = Known(today=TODAY, usual={("draw", name, "tenor"): figure for name, figure in usual.items()})
    assert judge(few, past=past).reasons() == {"volume-balance": 3}
    assert judge(draw_log(["693", "695", "690"]), past=past).held.height == 0


def checks(*rows):
    return [
        ["Card", "Gauge checks"],
        [],
        ["Date", "Gauge", "Deviation", "Zeroed"],
        *[[d, "BG-1", dev, z] for d, dev, z in rows],
    ]


def test_everything_since_the_last_good_check_is_in_doubt(judge, said, slide_card):
    log = checks(("2026-05-04", "0.001", "yes"), ("2026-05-12", "0.028", "yes"))
    before = judge(slide_card(day="2026-05-01"), other=[log])
    between = judge(slide_card(day="2026-05-08"), other=[log])
    after = judge(slide_card(day="2026-05-12"), other=[log])
    assert (before.held.height, after.held.height) == (0, 0)
    assert between.reasons() == {"gauge-not-zeroed": 12}
    row = said(between)[0]
    assert row["proposal"]["value"] == pytest.approx(float(row["text"]) - 0.028, abs=1e-9)
    assert "BG-1 was 0.028 mm off at its check on 2026-05-12" in row["sentence"]


def test_a_gauge_left_off_spoils_the_day_of_the_check_as_well(judge, slide_card):
    log = checks(("2026-05-04", "0.001", "yes"), ("2026-05-12", "0.028", "no"))
    assert judge(slide_card(day="2026-05-12"), other=[log]).reasons() == {"gauge-not-zeroed": 12}


@pytest.mark.parametrize(("day", "held"), [("2026-05-08", 12), ("2026-05-12", 0)])
def test_a_gauge_found_off_and_set_the_same_morning_reads_well_that_day(judge, slide_card, day, held):
    """Two lines: as it was found, and as it was after it had been zeroed."""
    log = checks(
        ("2026-05-04", "0.001", "yes"), ("2026-05-12", "0.028", "no"), ("2026-05-12", "0.000", "yes")
    )
    assert judge(slide_card(day=day), other=[log]).held.height == held


@pytest.mark.parametrize("day", ["0001-01-01", "9999-12-31"])
def test_a_check_on_the_first_or_last_day_of_the_calendar_is_a_slip_and_no_fault(judge, slide_card, day):
    log = checks((day, "0.028", "yes"))
    assert "gauge-not-zeroed" not in judge(slide_card(day="2026-05-12"), other=[log]).reasons()


def test_checks_on_record_count(judge, slide_card):
    known = Known(
        today=TODAY,
        gauge_checks=(
            GaugeCheck("BG-1", date(2026, 5, 4), 0.0, True),
            GaugeCheck("BG-1", date(2026, 5, 12), -0.01, True),
        ),
    )
    assert judge(slide_card(day="2026-05-08"), past=known).reasons() == {"gauge-not-zeroed": 12}
    assert judge(slide_card(day="2026-05-02"), past=known).held.height == 0


def test_without_an_earlier_check_two_weeks_are_held(judge, slide_card):
    log = checks(("2026-05-16", "0.028", "yes"))
    assert judge(slide_card(day="2026-05-08"), other=[log]).held.height == 12
    assert judge(slide_card(day="2026-05-01"), other=[log]).held.height == 0


@pytest.mark.parametrize("deviation", ["0.004", "-0.004", "0.001"])
def test_a_check_within_its_tolerance_is_good(judge, slide_card, deviation):
    log = checks(("2026-05-04", "0.000", "yes"), ("2026-05-12", deviation, "yes"))
    assert judge(slide_card(day="2026-05-08"), other=[log]).held.height == 0


def test_zero_and_ring_of_one_day_are_two_checks_and_either_may_be_off(judge, slide_card):
    """Both read 0.000 on the 4th, which is no row typed twice; on the 12th the ring is off."""
    head = [["Card", "Gauge checks"], [], ["Date", "Gauge", "Master", "Deviation", "Zeroed"]]
    rows = [
        ["2026-05-04", "BG-1", "zero", "0.000", "no"],
        ["2026-05-04", "BG-1", "ring 14.05", "0.000", "no"],
        ["2026-05-12", "BG-1", "zero", "0.000", "no"],
        ["2026-05-12", "BG-1", "ring 14.05", "0.028", "no"],
    ]
    assert judge([*head, *rows[:2]]).events["batch"].to_list() == ["zero", "ring 14.05"]
    assert judge([*head, rows[0], rows[0]]).reasons() == {"doubled-row": 1}
    between = judge(slide_card(day="2026-05-08"), other=[[*head, *rows]])
    assert between.reasons() == {"gauge-not-zeroed": 12}
    assert judge(slide_card(day="2026-05-08"), other=[[*head, *rows[:3]]]).held.height == 0


def test_no_check_at_all_is_a_mark_and_holds_nothing(judge, slide_card):
    log = checks(("2026-05-04", "0.001", "yes"))
    checked = judge(slide_card(day="2026-05-12"), other=[log])
    assert checked.held.height == 0
    assert [mark.id for mark in checked.marks] == ["gauge-unchecked"]
    assert "8 days after its last check" in checked.marks[0].sentence
