from dataclasses import replace

import plotly.graph_objects as go
import pytest

from dashboard.figures import draw_lots
from dashboard.figures.lots import NEWEST, NEWEST_NARROW


def in_lots(view, size=3, **more):
    points = tuple(replace(p, lot=f"B-{(p.ordinal - 1) // size}", **more) for p in view.verdict.points)
    return replace(view, verdict=replace(view.verdict, points=points))


def test_each_lot_stands_at_the_mean_of_its_pieces_in_order_of_making(view):
    laid = in_lots(view, 20)
    pieces, means = draw_lots(laid)["data"]
    values = [p.value for p in laid.verdict.points]
    expected = [sum(values[i : i + 20]) / len(values[i : i + 20]) for i in range(0, len(values), 20)]
    assert means["y"] == pytest.approx(expected) and list(means["x"]) == list(range(len(expected)))
    assert pieces["y"] == values and pieces["customdata"] == [p.serial for p in laid.verdict.points]
    assert go.Figure(draw_lots(laid)).layout.xaxis.ticktext[0] == "B-0"


def test_the_newest_lots_are_shown_and_fewer_on_a_phone(view):
    laid = in_lots(view, 1)
    last = laid.verdict.points[-1].lot
    for narrow, most in ((False, NEWEST), (True, NEWEST_NARROW)):
        names = draw_lots(laid, narrow)["layout"]["xaxis"]["ticktext"]
        assert len(names) == most and names[-1] == last


def test_names_are_text_and_kept_short(view):
    laid = in_lots(view, 20)
    long = tuple(replace(p, lot=f"<i>{'x' * 40}{p.lot}") for p in laid.verdict.points)
    figure = draw_lots(replace(laid, verdict=replace(laid.verdict, points=long)))
    assert all("<" not in name and len(name) < 20 for name in figure["layout"]["xaxis"]["ticktext"])
    assert "<i>" not in figure["data"][1]["text"][0]


def test_pieces_left_out_and_without_a_lot_are_not_drawn(view):
    laid = in_lots(view, 20)
    first = laid.verdict.points[0]
    points = (
        replace(first, left_out=True),
        replace(laid.verdict.points[1], lot=""),
        *laid.verdict.points[2:],
    )
    figure = draw_lots(replace(laid, verdict=replace(laid.verdict, points=points)))
    assert len(figure["data"][0]["y"]) == len(points) - 2


def test_nothing_is_drawn_where_no_lots_are_told_apart(view):
    assert draw_lots(view) is None
    assert draw_lots(in_lots(view, 10_000)) is None
