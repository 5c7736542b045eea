from datetime import date

import pytest

from dashboard.figures.events import CHARACTER_PX, ROWS, lay_out_events
from qc.jobs.board.views import ChartMark

DAY = date(2026, 10, 9)


def mark(ordinal, text):
    return ChartMark(ordinal, DAY, "tool", text)


def span(note, x_range, width):
    scale = width / (x_range[1] - x_range[0])
    middle, size = (note["x"] - x_range[0]) * scale, len(note["text"]) * CHARACTER_PX
    left = {"center": middle - size / 2, "left": middle, "right": middle - size}[note["xanchor"]]
    return left, left + size


def test_no_events_take_no_room():
    lane = lay_out_events([], (0, 50), 700)
    assert (lane.marks, lane.annotations, lane.height_px) == ((), (), 0)


def test_events_out_of_view_are_left_out():
    assert lay_out_events([mark(80, "M-7 fitted")], (0, 50), 700).marks == ()


@pytest.mark.parametrize("count", [2, 5, 20])
def test_names_never_run_into_each_other(count):
    marks = [mark(20 + i * 0.5, f"mandrel M-{i} fitted") for i in range(count)]
    lane = lay_out_events(marks, (0, 50), 700)
    rows = {}
    for note in lane.annotations:
        rows.setdefault(note["yshift"], []).append(span(note, (0, 50), 700))
    assert len(rows) <= ROWS
    for spans in rows.values():
        spans.sort()
        assert all(a[1] <= b[0] for a, b in zip(spans, spans[1:], strict=False))


def test_every_event_keeps_its_tick_even_without_a_name():
    marks = [mark(20 + i * 0.1, f"mandrel M-{i} fitted") for i in range(9)]
    lane = lay_out_events(marks, (0, 50), 300)
    assert len(lane.marks) == 9 > len(lane.annotations)


def test_the_event_nearest_to_the_change_is_named_first(view):
    signal = view.verdict.current
    marks = [mark(30, "far away event"), mark(signal.start - 0.5, "mandrel M-7 fitted")]
    lane = lay_out_events(marks, (0, 50), 90, signal)
    assert lane.annotations[0]["text"] == "mandrel M-7 fitted"


@pytest.mark.parametrize("ordinal, anchor", [(0.2, "left"), (49.9, "right"), (25, "center")])
def test_names_stay_within_the_chart(ordinal, anchor):
    note = lay_out_events([mark(ordinal, "mandrel M-7 fitted")], (0, 50), 700).annotations[0]
    left, right = span(note, (0, 50), 700)
    assert note["xanchor"] == anchor and left >= 0 and right <= 700


def test_a_name_never_becomes_markup():
    assert "&lt;i&gt;" in lay_out_events([mark(5, "<i>M</i>")], (0, 50), 700).annotations[0]["text"]
