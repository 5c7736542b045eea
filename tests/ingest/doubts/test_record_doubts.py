"""Doubts that look at the record: each caught, and each leaving alone what is only odd."""

from __future__ import annotations

import json
import random
from dataclasses import replace
from datetime import date, timedelta

import polars as pl
import pytest

from qc.ingest import GaugeCheck, check, known_from, read_sheet, unfold
from qc.ingest.doubts.figures.digits_swapped import changed_over
from qc.ingest.doubts.record import taken_apart
from qc.plain import JsonObject

PLACES = [(s, d) for s in range(1, 6) for d in (0, 90, 180, 270)]
START = date(2026, 1, 5)


def wall(serial, day, shift=0.0, changes=None):
    rng = random.Random(serial)
    rows = []
    for at, (station, direction) in enumerate(PLACES):
        off = rng.gauss(0, 0.012)
        text = (changes or {}).get(at, f"{0.5 + shift + off:.2f}")
        rows.append([day.isoformat(), serial, "tenor", "AB", "BM-1", station, direction, text])
    return rows


def wall_card(*pieces):
    head = ["Date", "Serial", "Model", "Person", "Gauge", "Station", "Direction", "Bell wall [mm]"]
    return [["Card", "Bell wall map"], [], head, *[row for piece in pieces for row in piece]]


def leak_card(*rows):
    head = ["Date", "Serial", "Model", "Person", "Joint leak"]
    return [["Card", "Joints card"], [], head, *[[d.isoformat(), s, "tenor", "AB", v] for s, d, v in rows]]


def begun(n):
    return START + timedelta(days=4 * n)


@pytest.fixture
def shop(plan, known, as_csv):
    """Return a record of 24 pieces with a bell card each, 22 of them with a joints card."""
    cards = [
        wall_card(*[wall(f"TH26-{n:02d}", begun(n)) for n in range(1, 25)]),
        leak_card(*[(f"TH26-{n:02d}", begun(n) + timedelta(days=9), 1.0 + n % 4 / 10) for n in range(1, 23)]),
    ]
    gauges = tuple(
        one.model_copy(update={"check_tolerance": 0.5}) if one.id == "LR-1" else one for one in plan.gauges
    )
    bare = plan.model_copy(
        update={"workshop": plan.workshop.model_copy(update={"serial_prefix": ""}), "gauges": gauges}
    )

    def given(cells, past):
        sheets = [unfold(read_sheet(as_csv(rows), f"{at}.csv")[0], bare) for at, rows in enumerate(cells)]
        return check(sheets, bare, past)

    on_record = pl.concat([c.readings for c in given(cards, known)])
    past = known_from(known.today, on_record.with_row_index("id"), given(cards, known)[0].events)

    def run(*sheets, **changes) -> list[JsonObject]:
        held = [row for one in given(list(sheets), replace(past, **changes)) for row in one.held.to_dicts()]
        return [reason for row in held for reason in json.loads(row["reasons"])]

    return run


NEW = date(2026, 5, 12)


def names(reasons):
    return {reason["id"] for reason in reasons}


def proposals(reasons):
    return {str(value) for reason in reasons for value in reason["proposal"].values()}


def test_the_next_piece_goes_in(shop):
    assert shop(wall_card(wall("TH26-25", NEW))) == []


@pytest.mark.parametrize("serial", ["12.05.2026", "TH26-20 - TH26-22", "both", "26-25"])
def test_what_is_no_serial_is_asked_about(shop, serial):
    assert names(shop(wall_card(wall(serial, NEW)))) == {"unknown-serial"}


@pytest.mark.parametrize(
    ("typed", "meant"), [("TH26-2O", "TH26-20"), ("TH27-25", "TH26-25"), ("T26-25", "TH26-25")]
)
def test_one_slip_of_the_hand_is_turned_back(shop, typed, meant):
    found = shop(wall_card(wall(typed, NEW)))
    assert names(found) == {"unknown-serial"}
    if meant == "TH26-25":  # TH26-20 has its card already
        assert proposals(found) == {meant}


def test_the_first_piece_of_a_new_year_goes_in(shop):
    day = date(2027, 1, 8)
    assert shop(wall_card(wall("TH27-01", day)), today=date(2027, 1, 8)) == []


def test_a_piece_without_its_earlier_card(shop):
    found = shop(leak_card(("TH26-32", NEW, 1.1)))
    assert names(found) == {"never-begun"}
    assert proposals(found) == {"TH26-23"}  # of the two that wait the one with the same digits


def test_the_next_piece_of_a_series_without_gaps_has_its_first_card_late(shop):
    assert shop(leak_card(("TH26-25", NEW, 1.1))) == []
    assert names(shop(leak_card(("TH26-27", NEW, 1.1)))) == {"never-begun"}


def test_a_piece_that_two_cards_name_only_lost_its_first_one(shop):
    one = leak_card(("TH26-30", NEW, 1.1))
    assert names(shop(one)) == {"never-begun"}
    heads = ["Date", "Serial", "Model", "Person", "Mass loss"]
    other = [["Card", "Polishing card"], [], heads, [NEW.isoformat(), "TH26-30", "tenor", "AB", "18.1"]]
    assert shop(one, other) == []


def test_a_piece_that_waits_goes_in(shop):
    assert shop(leak_card(("TH26-23", NEW, 1.1))) == []


def test_the_same_card_on_another_day(shop):
    again = wall_card([[NEW.isoformat(), *row[1:]] for row in wall("TH26-20", begun(20))])
    assert names(shop(again)) == {"same-card-twice"}


def test_a_card_before_the_stage_it_follows(shop):
    found = shop(leak_card(("TH26-23", begun(23) - timedelta(days=9), 1.1)))
    assert names(found) == {"wrong-day"}
    assert "TH26-23" in found[0]["sentence"]


def test_the_year_before(shop):
    found = shop(wall_card(wall("TH26-25", date(2025, 5, 12))))
    assert names(found) == {"wrong-day"}
    assert proposals(found) == {"2026-05-12"}


def test_a_card_after_shipping(shop):
    left = {"TH26-23": date(2026, 5, 1)}
    assert names(shop(leak_card(("TH26-23", NEW, 1.1)), left=left)) == {"after-shipping"}
    assert shop(leak_card(("TH26-23", NEW, 1.1)), left={"TH26-23": NEW}) == []


def test_a_second_card_while_another_piece_waits(shop):
    found = shop(leak_card(("TH26-20", NEW, 1.4)))
    assert names(found) == {"doubled-serial"}
    assert "TH26-23 or TH26-24" in found[0]["mend"]


def test_a_second_card_after_a_gauge_was_found_off_is_what_was_asked_for(shop):
    first = begun(20) + timedelta(days=9)
    good, off = GaugeCheck("LR-1", first - timedelta(days=1), 0.0, True), GaugeCheck("LR-1", NEW, 0.7, True)
    again = leak_card(("TH26-20", NEW, 1.4))
    assert shop(again, gauge_checks=(good, off)) == []
    later = GaugeCheck("LR-1", first + timedelta(days=1), 0.0, True)
    assert names(shop(again, gauge_checks=(good, later, off))) == {"doubled-serial"}, (
        "the first was read well"
    )


def test_a_second_card_that_a_limit_or_a_signal_asks_for_is_not_asked_about(shop):
    again = leak_card(("TH26-20", NEW, 1.4))
    assert shop(again, again=frozenset({("TH26-20", "joints")})) == []
    assert names(shop(again, again=frozenset({("TH26-20", "bell"), ("TH26-19", "joints")}))) == {
        "doubled-serial"
    }


def test_a_second_card_of_another_model_is_asked_about_though_one_is_expected(shop):
    again = leak_card(("TH26-20", NEW, 1.4))
    again[-1][2] = "tenor-f"
    found = shop(again, again=frozenset({("TH26-20", "joints")}))
    assert "TH26-20" in found[0]["sentence"] and names(found) & {"doubled-serial", "model-differs"}


def test_one_figure_far_from_the_others_of_its_card(shop):
    found = shop(wall_card(wall("TH26-25", NEW, changes={7: "0.77"})))
    assert names(found) == {"far-from-usual"}
    assert "TH26-25 reads 0.77 mm" in found[0]["sentence"]


def test_a_piece_that_has_changed_as_a_whole_goes_in(shop):
    assert shop(wall_card(wall("TH26-25", NEW, shift=0.1))) == []


def test_digits_changed_over(shop):
    found = shop(wall_card(wall("TH26-25", NEW, changes={7: "0.94"})))
    assert names(found) == {"digits-swapped"}
    assert proposals(found) == {"0.49"}


def test_digits_changed_over_have_no_nought_in_front():
    assert changed_over(40.0) == []
    assert changed_over(81.85) == [18.85, 88.15, 81.58]


def test_a_serial_taken_apart():
    parts = taken_apart("TH26-07")
    assert parts is not None
    assert (parts.year(), parts.with_year(2027)) == (2026, "TH27-07")
