from dataclasses import replace

import plotly.graph_objects as go
import pytest

from dashboard.figures import draw_capability
from dashboard.theme import LIGHT


def test_only_the_present_stretch_is_shown(view):
    figure = draw_capability(view)
    values = sorted(p.value for p in view.verdict.points[35:])
    drawn = figure["data"][0]
    # each stands on the pile of its figure: half the width of a pile away from it at most
    assert all(abs(x - v) <= 1.1 for x, v in zip(drawn["x"], values, strict=True))
    assert [text.split("</b> ")[1] for text in drawn["text"]] == [f"+{v:.1f} mm" for v in values]
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


def test_piles_stand_upright_and_no_pile_straddles_a_limit(view):
    # 12 is the upper limit: a piece on it is inside, one just beyond it is not
    values = [11.7, 12.0, 12.01, 12.2, -12.0, -12.01]
    points = tuple(replace(p, value=v) for p, v in zip(view.verdict.points, values * 8, strict=False))[
        : len(values)
    ]
    verdict = replace(view.verdict, points=points, present=tuple(p.ordinal for p in points))
    drawn = draw_capability(replace(view, verdict=verdict))["data"][0]
    inside = [-12.0 < x < 12.0 for x in drawn["x"]]
    assert inside == [-12.0 <= v <= 12.0 for v in sorted(values)]
    piles = {}
    for x, y in zip(drawn["x"], drawn["y"], strict=True):
        piles.setdefault(x, []).append(y)
    assert sorted(map(len, piles.values())) == [1, 1, 2, 2]
    assert all(own == pytest.approx([n + 0.6 for n in range(len(own))]) for own in piles.values())


def test_figures_in_coarse_steps_stand_where_they_are(view):
    points = tuple(replace(p, value=float(2 * (p.ordinal % 5))) for p in view.verdict.points)
    verdict = replace(view.verdict, points=points, present=tuple(p.ordinal for p in points))
    drawn = draw_capability(replace(view, verdict=verdict))["data"][0]
    assert set(drawn["x"]) == {0.0, 2.0, 4.0, 6.0, 8.0}


def test_one_sided_and_missing_limits_are_fine(view):
    for verdict in (
        replace(view.verdict, lower=None, target=None),
        replace(view.verdict, lower=None, upper=None, target=None),
    ):
        assert go.Figure(draw_capability(replace(view, verdict=verdict))).data


def test_without_points_there_is_an_empty_chart(view):
    assert draw_capability(replace(view, verdict=replace(view.verdict, points=(), present=())))["data"] == []
