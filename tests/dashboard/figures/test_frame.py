import pytest

from dashboard.figures.frame import (
    GRAPH_CONFIG,
    LABEL_GAP_PX,
    EdgeLabel,
    edge_annotations,
    label_margin,
    nice_ticks,
    spread_labels,
    stacked_annotations,
    text_px,
    value_axis,
)

MEASURED = [
    ("mean 0.4 mm (42)", True, 134.1),
    ("+0.069 mm / 100 draws", True, 173.6),
    ("usual from 14.892 mm (34)", False, 179.1),
    ("limit −12 mm", False, 89.6),
    ("before +1.7 µm (101)", True, 157.6),
    ("now 12.1 cm³/min (20)", True, 164.8),
    ("as its master", False, 85.0),
]
"""Label, whether bold, and its width in DejaVu Sans at 13 px as a browser drew it (Chromium 156) [px]."""

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


def test_stacked_labels_stand_above_the_plot_in_the_order_of_their_lines():
    labels = [EdgeLabel(y, f"at {y:g}", "#000000") for y in (40.0, 90.0, 41.0)]
    found = stacked_annotations(labels, 44)
    heights = {note["text"]: note["yshift"] for note in found}
    assert heights["— at 90"] > heights["— at 41"] > heights["— at 40"] >= 40
    assert all(note["y"] == 1 and note["yref"] == "paper" for note in found)
    gaps = sorted(heights.values())
    assert all(b - a == LABEL_GAP_PX for a, b in zip(gaps, gaps[1:], strict=False))


@pytest.mark.parametrize("text, bold, drawn", MEASURED)
def test_a_label_has_the_room_that_a_browser_needs(text, bold, drawn):
    assert drawn <= text_px(text, bold) <= 1.35 * drawn


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
