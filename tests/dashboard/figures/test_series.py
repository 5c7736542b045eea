from dataclasses import replace
from itertools import pairwise

import plotly.graph_objects as go
import pytest

from dashboard.figures import draw_series
from dashboard.figures.series import story, value_range
from dashboard.theme import LIGHT


def texts(figure):
    return [note["text"] for note in figure["layout"]["annotations"]]


def lines(figure, colour):
    return [s for s in figure["layout"]["shapes"] if s["type"] == "line" and s["line"]["color"] == colour]


def test_plotly_takes_every_figure_as_it_is(board):
    for verdict in board.verdicts():
        for narrow in (False, True):
            figure = draw_series(board.series(verdict.key), 60, narrow)
            assert go.Figure(figure).to_dict()["data"][0]["type"] == "scatter"


def test_points_are_ink_and_the_changed_stretch_is_the_drift_colour(view):
    marker = draw_series(view)["data"][0]["marker"]
    assert marker["color"] == [LIGHT["ink"]] * 35 + [LIGHT["drift"]] * 11


def test_a_quiet_series_has_no_drift_colour_anywhere(board):
    figure = draw_series(board.series(board.verdicts("valves")[0].key))
    assert LIGHT["drift"] not in str(figure) and LIGHT["drift-soft"] not in str(figure)


def test_an_older_change_that_was_lived_with_is_not_coloured(view):
    before, now = view.verdict.stretches
    lived_with = replace(view.verdict, stretches=(replace(before, changed=True), now))
    marker = draw_series(replace(view, verdict=lived_with))["data"][0]["marker"]
    assert marker["color"][:35] == [LIGHT["ink"]] * 35


def test_both_stretches_have_their_own_mean_with_value_and_pieces(view):
    figure = draw_series(view)
    before, now = view.verdict.stretches
    assert f"<b>before +{before.mean:.1f} mm (35)</b>" in texts(figure)
    assert f"<b>now +{now.mean:.1f} mm (11)</b>" in texts(figure)
    assert [line["y0"] for line in lines(figure, LIGHT["drift"])] == [now.mean]
    assert [line["y0"] for line in lines(figure, LIGHT["steady"])] == [before.mean]


def test_a_single_stretch_is_simply_the_mean(board):
    view = board.series(board.verdicts("valves")[0].key)
    assert any(text.startswith("<b>mean ") and text.endswith("(64)</b>") for text in texts(draw_series(view)))


def test_wear_is_drawn_as_the_line_it_is(view):
    before, now = view.verdict.stretches
    worn = replace(view.verdict, stretches=(before, replace(now, line_from=20.0, line_to=26.0)))
    line = lines(draw_series(replace(view, verdict=worn)), LIGHT["drift"])[0]
    assert (line["y0"], line["y1"]) == (20.0, 26.0)


def test_a_worn_line_is_cut_where_the_chart_begins(view):
    before, now = view.verdict.stretches
    worn = replace(view.verdict, stretches=(before, replace(now, line_from=20.0, line_to=30.0)))
    line = lines(draw_series(replace(view, verdict=worn), last=6), LIGHT["drift"])[0]
    assert (
        line["x0"] == pytest.approx(40.2)
        and line["y0"] == pytest.approx(24.6, abs=0.5)
        and line["y1"] == 30.0
    )


def test_limits_carry_their_values_at_the_right_edge(view):
    figure = draw_series(view)
    assert "limit +12 mm" in texts(figure) and "limit −12 mm" in texts(figure)
    assert sorted(line["y0"] for line in lines(figure, LIGHT["ink"])) == [-12.0, 12.0]


def test_usual_limits_say_what_they_rest_on(board):
    view = board.series(board.verdicts("valves")[0].key)
    assert any("usual to" in text and "(64)" in text for text in texts(draw_series(view)))


def test_a_far_limit_is_named_not_drawn(view):
    far = replace(view, verdict=replace(view.verdict, upper=4000.0))
    figure = draw_series(far)
    assert "↑ limit +4000 mm" in texts(figure)
    assert value_range(far, far.verdict.points)[1] < 100


def test_the_band_holds_the_start(view):
    signal = view.verdict.current
    band = next(s for s in draw_series(view)["layout"]["shapes"] if s["type"] == "rect")
    assert band["x0"] < signal.start < band["x1"]
    assert (band["x0"], band["x1"]) == (signal.start_low - 0.5, signal.start_high + 0.5)
    assert "began in this band, 9 in 10 sure" in texts(draw_series(view))


def test_a_band_out_of_view_is_not_drawn(view):
    figure = draw_series(view, last=5)
    assert not [s for s in figure["layout"]["shapes"] if s["type"] == "rect"]


def test_axes_carry_name_and_unit(view):
    assert "F wrap length, from target [mm]" in texts(draw_series(view))
    count = replace(view, verdict=replace(view.verdict, unit="count", centered=False))
    assert "F wrap length [number]" in texts(draw_series(count))


def test_models_differ_by_symbol(view):
    symbols = draw_series(view)["data"][0]["marker"]["symbol"]
    by_model = {p.model: s for p, s in zip(view.verdict.points, symbols, strict=True)}
    assert by_model == {"tenor-bass": "circle", "bass": "square-open"}


def test_only_the_newest_points_are_shown_when_asked(view):
    assert draw_series(view, last=5)["data"][0]["x"] == [42, 43, 44, 45, 46]


def test_the_story_of_a_reading(view):
    point = view.verdict.points[-1]
    told = story(view, point)
    assert told.startswith(f"<b>{point.serial}</b>  {'bass' if point.model == 'bass' else 'tenor-bass'}, ")
    for part in (
        "from target (measured",
        "6 readings, spread",
        "by KM",
        "with G-03",
        "tool M-7, draw",
        "room 21.4 °C",
    ):
        assert part in told


def test_a_story_leaves_out_what_is_not_known(view):
    bare = replace(view.verdict.points[0], readings=1, person="", gauge="", tool="", batch="", air_c=None)
    assert story(view, bare).count("<br>") == 1


def test_nothing_typed_becomes_markup_in_a_story(view):
    evil = replace(view.verdict.points[0], serial="<b>x", note="<a href='http://evil'>y</a>")
    told = story(view, evil)
    assert "<a" not in told and "&lt;b&gt;x" in told


def test_months_are_named_once_and_with_their_year(view):
    axis = draw_series(view)["layout"]["xaxis"]
    assert axis["ticktext"][0].endswith("2026") and len(set(axis["ticktext"])) == len(axis["ticktext"])
    assert all(1 <= value <= 46 for value in axis["tickvals"])


def test_a_series_without_points_is_an_empty_chart(view):
    empty = replace(view, verdict=replace(view.verdict, points=(), stretches=(), signals=()))
    assert draw_series(empty)["data"] == []


def test_equal_points_have_room(view):
    same = tuple(replace(p, value=5.0) for p in view.verdict.points)
    low, high = value_range(
        replace(view, verdict=replace(view.verdict, points=same, lower=None, upper=None)), same
    )
    assert low < 5.0 < high


def test_counts_start_at_zero(board):
    view = board.series(next(v for v in board.verdicts("lacquer") if v.unit == "count").key)
    points = tuple(replace(p, value=abs(p.value) % 4) for p in view.verdict.points)
    verdict = replace(view.verdict, points=points, lower=None, target=None, natural_lower=None)
    assert value_range(replace(view, verdict=verdict), points)[0] == 0.0


def test_on_a_narrow_screen_labels_stand_above_the_plot(view):
    wide, narrow = draw_series(view), draw_series(view, narrow=True)
    assert narrow["layout"]["margin"]["r"] < 20 < wide["layout"]["margin"]["r"]
    named = [note for note in narrow["layout"]["annotations"] if note["text"].lstrip("<b>").startswith("— ")]
    assert len(named) == 4 and narrow["layout"]["margin"]["t"] == wide["layout"]["margin"]["t"] + 4 * 17
    plots = [
        f["layout"]["height"] - f["layout"]["margin"]["t"] - f["layout"]["margin"]["b"]
        for f in (wide, narrow)
    ]
    assert plots[0] == plots[1]


@pytest.mark.parametrize("width", [300, 390, 590])
def test_names_of_months_have_room_on_every_screen(board, width):
    for verdict in board.verdicts():
        view = board.series(verdict.key)
        axis = draw_series(view, None, width_px=width)["layout"]["xaxis"]
        scale = width / max(1, len(verdict.points) - 1)
        names = list(zip(axis["tickvals"], axis["ticktext"], strict=True))
        for (left, name), (right, following) in pairwise(names):
            # half of each name on either side, at 6.4 px a character
            assert (right - left) * scale >= (len(name) + len(following)) * 6.4 / 2, (verdict.key, name)


@pytest.mark.parametrize(
    ("value", "limits", "centre"),
    [
        (13.86, (13.84, 13.88), 13.86),
        (13.86, (None, 13.90), 13.86),
        (13.86, (None, None), 13.86),
        (0.0, (None, None), 0.0),
    ],
)
def test_one_piece_stands_on_a_scale_as_wide_as_its_limits_are_far(view, value, limits, centre):
    point = replace(view.verdict.points[0], value=value)
    verdict = replace(
        view.verdict, lower=limits[0], upper=limits[1], target=None, points=(point,), stretches=()
    )
    low, high = value_range(replace(view, verdict=verdict), (point,))
    assert low < centre < high
    assert all(low <= limit <= high for limit in limits if limit is not None)
    far = max([abs(value - limit) for limit in limits if limit is not None], default=abs(value) or 1.0)
    assert high - low <= 3 * far


def test_one_piece_without_a_fault_stands_on_its_zero(view):
    point = replace(view.verdict.points[0], value=0.0)
    verdict = replace(view.verdict, kind="count", lower=None, upper=None, target=None, points=(point,))
    low, high = value_range(replace(view, verdict=verdict), (point,))
    assert low == 0.0 < high <= 1.0


def test_pass_or_fail_is_a_running_rate_with_its_limit_and_its_story(view):
    points = tuple(replace(p, value=float(n % 6 == 0)) for n, p in enumerate(view.verdict.points))
    plain = {
        "kind": "pass-fail",
        "lower": None,
        "upper": None,
        "target": None,
        "centered": False,
        "unit": "fault",
    }
    present = tuple(p.ordinal for p in points)
    stretch = replace(view.verdict.stretches[0], first=1, last=len(points), n=len(points), changed=False)
    verdict = replace(
        view.verdict, **plain, points=points, present=present, stretches=(stretch,), signals=(), told_by=None,
        behaviour="steady",
    )  # fmt: skip
    figure = draw_series(replace(view, verdict=verdict, marks=()))
    (trace,) = figure["data"]
    assert {0.0, 100.0} & set(trace["y"]) == set() and max(trace["y"]) < 50
    assert [size > 4 for size in trace["marker"]["size"]] == [p.value == 1.0 for p in points]
    said = texts(figure)
    assert any("of the newest 20 pieces [in 100]" in text for text in said)
    assert any(text.startswith("usual to ") and "in 100" in text for text in said)
    assert "of the newest 20 pieces: " in trace["text"][0]


def test_whole_numbers_are_usual_up_to_a_whole_number(view):
    points = tuple(replace(p, value=float(n % 4)) for n, p in enumerate(view.verdict.points))
    plain = {
        "kind": "count",
        "lower": None,
        "upper": None,
        "target": None,
        "natural_upper": 4.83,
        "unit": "count",
    }
    verdict = replace(view.verdict, **plain, centered=False, points=points, signals=(), behaviour="steady")
    figure = draw_series(replace(view, verdict=verdict, marks=()))
    (usual,) = [note for note in figure["layout"]["annotations"] if "usual to" in note["text"]]
    assert usual["text"].startswith("usual to 4 ") and usual["y"] == pytest.approx(4.0)
