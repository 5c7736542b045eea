from dataclasses import replace

import plotly.graph_objects as go
import pytest

from dashboard.figures import draw_capability
from dashboard.theme import LIGHT


def test_only_the_present_stretch_is_shown(view):
    figure = draw_capability(view)
    assert sorted(figure["data"][0]["x"]) == sorted(p.value for p in view.verdict.points[35:])
    assert figure["data"][0]["marker"]["color"] == LIGHT["drift"]


def test_limits_and_target_stand_where_they_are(view):
    figure = draw_capability(view)
    assert [s["x0"] for s in figure["layout"]["shapes"]] == [-12.0, 12.0, 0.0]
    low, high = figure["layout"]["xaxis"]["range"]
    assert low < -12.0 and high > max(p.value for p in view.verdict.points[35:])


def test_the_axis_carries_name_and_unit(view):
    assert draw_capability(view)["layout"]["xaxis"]["title"]["text"] == "F wrap length [mm]"


def test_names_of_limits_do_not_run_into_each_other(view):
    tight = replace(view, verdict=replace(view.verdict, lower=-0.5, upper=0.5))
    notes = draw_capability(tight)["layout"]["annotations"]
    assert len(notes) < 3


def test_equal_pieces_are_piled_not_hidden(view):
    same = tuple(replace(p, value=3.0) for p in view.verdict.points)
    figure = draw_capability(replace(view, verdict=replace(view.verdict, points=same)))
    assert sorted(figure["data"][0]["y"]) == pytest.approx([n + 0.6 for n in range(11)])


def test_one_sided_and_missing_limits_are_fine(view):
    for verdict in (
        replace(view.verdict, lower=None, target=None),
        replace(view.verdict, lower=None, upper=None, target=None),
    ):
        assert go.Figure(draw_capability(replace(view, verdict=verdict))).data


def test_without_points_there_is_an_empty_chart(view):
    assert draw_capability(replace(view, verdict=replace(view.verdict, points=(), present=())))["data"] == []
