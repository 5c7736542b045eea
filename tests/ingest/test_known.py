from datetime import date

import polars as pl
import pytest

from qc.ingest import identity, known_from, usual_figures
from qc.ingest.frames import event_frame, reading_frame

DAY = date(2026, 5, 12)


def reading(serial="TH-1001", value=14.9, **more):
    row = {
        "serial": serial,
        "model": "tenor",
        "stage": "draw",
        "characteristic": "tube_od",
        "surface": "",
        "repeat": 1,
        "day": DAY,
        "value": value,
    }
    return {**row, **more}


def test_identity_tells_measurements_apart_but_not_by_their_value():
    rows = [
        reading(),
        reading(value=14.8),
        reading(serial="TH-1002"),
        reading(repeat=2),
        reading(station="mouth"),
        reading(day=date(2026, 5, 13)),
        reading(partial=3),
    ]
    keys = identity(reading_frame(rows)).to_list()
    assert keys[0] == keys[1]
    assert len(set(keys)) == len(rows) - 1


def test_usual_figures_are_median_and_robust_spread():
    frame = reading_frame([reading(value=v) for v in (10.0, 11.0, 12.0, 13.0, 1000.0)])
    usual = usual_figures(frame)["draw", "tube_od", "tenor"]
    assert (usual.median, usual.count) == (12.0, 5)
    assert usual.spread == pytest.approx(1.4826 * 1.0)  # by hand: median of 2, 1, 0, 1, 988


def test_usual_figures_leave_out_bodies_and_old_readings():
    rows = [reading(value=13.8, surface="body"), reading(value=None)]
    assert usual_figures(reading_frame(rows)) == {}
    old = [reading(value=1.0, day=date(2020, 1, 1)) for _ in range(300)]
    new = [reading(value=2.0, day=date(2026, 1, 1)) for _ in range(200)]
    assert usual_figures(reading_frame(old + new))["draw", "tube_od", "tenor"].median == 2.0


def test_known_from_frames_of_the_store():
    readings = reading_frame([reading(), reading(serial="T-1", model="")]).with_columns(
        pl.Series("id", [7, 8])
    )
    events = event_frame(
        [
            {"kind": "shipped", "serial": "TH-0900", "day": DAY},
            {"kind": "gauge-check", "subject": "BG-1", "value": 0.002, "code": "zeroed", "day": DAY},
            {"kind": "gauge-check", "subject": "BG-1", "value": None, "code": "zeroed", "day": DAY},
        ]
    )
    known = known_from(date(2026, 5, 20), readings, events)
    assert known.serials == {"TH-1001": "tenor", "T-1": ""}
    assert known.shipped == {"TH-0900"}
    assert [(c.gauge, c.deviation, c.zeroed) for c in known.gauge_checks] == [("BG-1", 0.002, True)]
    assert known.newest_day == DAY
    assert known.recorded[identity(readings)[0]].id == 7


def test_missing_text_counts_as_empty():
    """A store may give null where ingest gave an empty text."""
    with_nulls = reading_frame(
        [reading(surface=None, leg=None, model=None, value=v) for v in (1.0, 2.0, 3.0)]
    )
    with_text = reading_frame([reading(surface="", leg="", model="", value=v) for v in (1.0, 2.0, 3.0)])
    assert identity(with_nulls).to_list() == identity(with_text).to_list()
    assert usual_figures(with_nulls) == usual_figures(with_text)
    known = known_from(date(2026, 5, 20), with_nulls, event_frame([]))
    assert known.serials == {"TH-1001": ""}


def test_known_from_an_empty_store():
    known = known_from(date(2026, 5, 20), reading_frame([]), event_frame([]))
    assert known.newest_day is None
    assert (known.serials, known.recorded, known.usual, known.gauge_checks) == ({}, {}, {}, ())
