import pytest

from dashboard.figures.frame import (
    GRAPH_CONFIG,
    LABEL_GAP_PX,
    EdgeLabel,
    edge_annotations,
    label_margin,
    nice_ticks,
    spread_labels,
    value_axis,
)

RANGE, HEIGHT = (0.0, 100.0), 340.0
GAP = LABEL_GAP_PX * 100 / HEIGHT


@pytest.mark.parametrize(
    "ys",
    [
        [50.0],
        [50.0, 50.0, 50.0],
        [10.0, 90.0, 11.0, 89.0, 50.0],
        [0.0, 0.1, 0.2, 0.3],
        [99.0, 99.5, 100.0],
        [40.0, 44.0, 48.0, 52.0, 56.0],
    ],
)
def test_labels_never_touch_and_keep_their_order(ys):
    placed = spread_labels(ys, RANGE, HEIGHT)
    ranked = sorted(range(len(ys)), key=lambda i: (ys[i], placed[i]))
    heights = [placed[i] for i in ranked]
    assert all(b - a >= GAP * (1 - 1e-6) for a, b in zip(heights, heights[1:], strict=False))
    assert min(placed) >= RANGE[0]


def test_labels_with_room_stay_on_their_lines():
    ys = [5.0, 40.0, 80.0]
    assert spread_labels(ys, RANGE, HEIGHT) == pytest.approx(ys)


def test_no_labels_need_no_place():
    assert spread_labels([], RANGE, HEIGHT) == []


def test_a_label_names_its_line_without_running_markup():
    found = edge_annotations([EdgeLabel(1.0, "<b>x</b>", "#000000")], RANGE, HEIGHT)
    assert found[0]["text"] == "&lt;b&gt;x&lt;/b&gt;"


def test_inside_labels_have_a_ground_and_hang_left():
    inside = edge_annotations([EdgeLabel(1.0, "x", "#000000")], RANGE, HEIGHT, inside=True)[0]
    outside = edge_annotations([EdgeLabel(1.0, "x", "#000000")], RANGE, HEIGHT)[0]
    assert inside["xanchor"] == "right" and "bgcolor" in inside
    assert outside["xanchor"] == "left" and "bgcolor" not in outside


def test_the_margin_grows_with_the_longest_label():
    short, long = (
        label_margin([EdgeLabel(0, text, "#000000")]) for text in ("mean", "usual from 14.892 mm (34)")
    )
    assert long > short and label_margin([]) > 0


@pytest.mark.parametrize(
    "low, high, ticks",
    [
        (0.0, 1.0, [0.0, 0.2, 0.4, 0.6, 0.8, 1.0]),
        (-0.5, 0.5, [-0.4, -0.2, 0.0, 0.2, 0.4]),
        (13.851, 13.869, [13.855, 13.86, 13.865]),
        (0.0, 50000.0, [0.0, 10000.0, 20000.0, 30000.0, 40000.0, 50000.0]),
    ],
)
def test_ticks_are_round_and_within(low, high, ticks):
    assert nice_ticks(low, high) == pytest.approx(ticks)


def test_the_axis_writes_signs_and_no_plus_before_nothing():
    axis = value_axis(-14.0, 33.0, signed=True)
    assert axis["ticktext"] == ["−10", "0", "+10", "+20", "+30"]
    assert value_axis(13.851, 13.869, signed=False)["ticktext"][0] == "13.855"


def test_charts_stay_at_home():
    assert GRAPH_CONFIG["showSendToCloud"] is False
    assert GRAPH_CONFIG["plotlyServerURL"] == "" and GRAPH_CONFIG["displaylogo"] is False
