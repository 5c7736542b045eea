from dataclasses import replace

import plotly.graph_objects as go
import pytest

from dashboard.figures import draw_checks, draw_study
from dashboard.theme import LIGHT


@pytest.fixture
def gauge(board):
    return board.gauges()[0]


def test_checks_stand_between_their_limits_and_one_outside_is_told_apart(gauge, today):
    figure = draw_checks(gauge, today)
    (trace,) = figure["data"]
    assert trace["y"] == [c.value for c in gauge.checks]
    assert trace["marker"]["color"] == [LIGHT["ink"]] * 3 + [LIGHT["drift"]]
    assert trace["marker"]["symbol"][-1] != trace["marker"]["symbol"][0]
    assert "outside its tolerance" in trace["text"][-1] and "by KM" in trace["text"][-1]
    texts = [note["text"] for note in figure["layout"]["annotations"]]
    assert "limit +0.004 mm" in texts and "limit −0.004 mm" in texts and "Off its master [mm]" in texts
    assert go.Figure(figure) and go.Figure(draw_checks(gauge, today, narrow=True))


def test_the_axis_reaches_today_and_missed_days_are_shaded(gauge, today):
    figure = draw_checks(gauge, today)
    assert figure["layout"]["xaxis"]["range"][1] > today.isoformat()
    assert LIGHT["drift-soft"] not in str(figure["layout"]["shapes"])
    missed = draw_checks(replace(gauge, missed=3, next_check=gauge.checks[-1].day), today)
    band = next(s for s in missed["layout"]["shapes"] if s.get("fillcolor") == LIGHT["drift-soft"])
    assert band["x0"] == gauge.checks[-1].day.isoformat() and band["x1"] == today.isoformat()


def test_a_gauge_without_checks_or_tolerance(gauge, today):
    assert draw_checks(replace(gauge, checks=()), today) is None
    free = draw_checks(replace(gauge, tolerance=None), today)
    assert "limit" not in str(free["layout"]["annotations"])


def test_a_study_shows_each_spread_with_its_interval(study):
    figure = draw_study(study["study"], study["value"])
    (trace,) = figure["data"]
    assert trace["x"] == [12.0, 5.0, 4.0, 3.0]  # the pooled interaction has no row
    spans = [(s["x0"], s["x1"]) for s in figure["layout"]["shapes"]]
    assert spans[1] == (4.0, 8.0) and spans[2] == (4.0, 4.0) and spans[3] == (2.0, 4.0)
    kept = draw_study({**study["study"], "pooled": False}, "bore")
    assert "person and part together" in kept["layout"]["yaxis"]["ticktext"]
    assert go.Figure(figure)
