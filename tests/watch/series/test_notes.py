"""Lengths planted in a simulated note set come back through the tidy table."""

import math
from datetime import date

import pytest

from qc.watch import series_points
from qc.watch.series.notes import LEAST_NOTES, note_figures

L, F = 2944.9, 986.1
PARTIALS = (2, 3, 4, 5, 6, 8)


def natural(partial):
    """Cents of a harmonic above the nearest tempered note (trade checks T006 to T009)."""
    exact = 1200 * math.log2(partial)
    return exact - 100 * round(exact / 100)


def cents(column, longer, partial):
    """Raw cents of a partial when the column is `longer` mm too long."""
    return 1200 * math.log2(column / (column + longer)) + natural(partial)


def note_rows(serial, wrap=0.0, main=0.0, flat_fifth=0.0, air=20.0):
    rows = []
    for partial in PARTIALS:
        bend = flat_fifth if partial == 5 else 0.0
        warm = 2.953 * (air - 20.0)
        rows.append(("open", partial, cents(L, main, partial) + bend + warm))
        rows.append(("F", partial, cents(L + F, main + wrap, partial) + bend + warm))
    return [
        {
            "serial": serial,
            "model": "tenor",
            "stage": "tuning",
            "characteristic": "note",
            "valve": valve,
            "position": 1,
            "partial": partial,
            "value": value,
            "air_c": air,
            "method": "stop",
            "day": date(2026, 3, 2),
            "tool": "M-7",
        }
        for valve, partial, value in rows
    ]


def figures(plan, frame):
    table = note_figures(frame, {m.id: m for m in plan.models}, 20.0)
    return {(row["serial"], row["figure"]): row["value"] for row in table.to_dicts()}


def test_planted_lengths_come_back(small_plan, readings):
    found = figures(small_plan, readings(note_rows("S-1", wrap=23.0, main=-4.0)))
    assert found["S-1", "wrap-length:F"] == pytest.approx(23.0, abs=0.3)
    assert found["S-1", "main-length"] == pytest.approx(-4.0, abs=0.2)


def test_a_long_wrap_is_judged_on_the_whole_column_not_on_the_wrap(small_plan, readings):
    """Taken on its own 986 mm the same cents would give a quarter of the length: the wrong answer."""
    found = figures(small_plan, readings(note_rows("S-1", wrap=27.0)))["S-1", "wrap-length:F"]
    assert found == pytest.approx(27.0, abs=0.3)
    assert found > 3 * 27.0 * F / (L + F)


def test_natural_partials_are_no_defects(small_plan, readings):
    found = figures(small_plan, readings(note_rows("S-1")))
    assert all(abs(value) < 0.05 for value in found.values())


def test_one_flat_partial_does_not_pass_for_length(small_plan, readings):
    found = figures(small_plan, readings(note_rows("S-1", flat_fifth=-9.0)))
    assert found["S-1", "partial:5"] < -7.0
    # spread evenly over the six partials it would be 1.5 cents or 3.4 mm of the F column
    assert abs(found["S-1", "wrap-length:F"]) < 1.5


def test_room_temperature_is_taken_off(small_plan, readings):
    warm = figures(small_plan, readings(note_rows("S-1", air=26.0)))
    assert warm["S-1", "main-length"] == pytest.approx(0.0, abs=1.0)


def test_too_few_notes_give_no_figure(small_plan, readings):
    assert figures(small_plan, readings(note_rows("S-1")[: LEAST_NOTES - 1])) == {}


def test_unknown_model_gives_no_figure(small_plan, readings):
    rows = [{**row, "model": "serpent"} for row in note_rows("S-1")]
    assert figures(small_plan, readings(rows)) == {}


def test_the_series_has_one_point_a_piece_and_carries_the_tool(small_plan, readings):
    stage = small_plan.stage("tuning")
    frame = readings(note_rows("S-1", wrap=5.0) + note_rows("S-2", wrap=-5.0))
    found = series_points(frame, small_plan, stage, stage.characteristics[0], "tenor").points
    assert [(p.serial, round(p.value), p.tool) for p in found] == [("S-1", 5, "M-7"), ("S-2", -5, "M-7")]
