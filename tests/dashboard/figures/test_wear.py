from dataclasses import replace

import plotly.graph_objects as go
import pytest

from dashboard.figures import draw_wear


def test_the_line_has_the_slope_of_the_forecast_and_runs_through_the_pieces_since_the_change(wearing):
    figure = draw_wear(wearing)
    line = figure["layout"]["shapes"][0]
    slope = (line["y1"] - line["y0"]) / (line["x1"] - line["x0"])
    assert slope == pytest.approx(wearing.verdict.forecast.slope_per_100 / 100)
    first = wearing.verdict.stretches[-1].first
    since = [p for p in wearing.verdict.points if p.ordinal >= first]
    middle = sum(p.tool_count for p in since) / len(since)
    assert line["x0"] == since[0].tool_count and len(since) == 24
    level = line["y0"] + slope * (middle - line["x0"])
    assert level == pytest.approx(sum(p.value for p in since) / len(since))


def test_the_draw_to_change_by_is_marked_with_its_day(wearing):
    notes = [n["text"] for n in draw_wear(wearing)["layout"]["annotations"]]
    assert "change by draw 470, about 3 Dec" in notes and "limit 20 µm" in notes
    assert "Outer tube bore [µm]" in notes
    assert draw_wear(wearing)["layout"]["xaxis"]["title"]["text"] == "draws of M-7 since it was fitted"


def test_only_the_tool_in_use_is_shown(wearing):
    verdict = wearing.verdict
    mixed = tuple(replace(p, tool="M-1") if i < 10 else p for i, p in enumerate(verdict.points))
    figure = draw_wear(replace(wearing, verdict=replace(verdict, points=mixed)))
    assert len(figure["data"][0]["x"]) == len(verdict.points) - 10


def test_a_forecast_without_slope_limit_or_count_still_draws(wearing):
    bare = replace(
        wearing.verdict.forecast, slope_per_100=None, limit=None, change_by_count=None, change_by_day=None
    )
    figure = draw_wear(replace(wearing, verdict=replace(wearing.verdict, forecast=bare)))
    assert figure["layout"]["shapes"] == [] and go.Figure(figure).data


def test_nothing_is_drawn_without_a_forecast_or_its_pieces(view, wearing):
    assert draw_wear(view) is None
    other = replace(wearing.verdict.forecast, tool="none")
    assert draw_wear(replace(wearing, verdict=replace(wearing.verdict, forecast=other))) is None
