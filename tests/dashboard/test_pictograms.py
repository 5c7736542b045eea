import pytest

from dashboard import pictograms
from dashboard.drawing import Drawing, markup, node, svg

EVIL = '"><script>alert(1)</script>'


def count(tree, tag):
    return (tree[0] == tag) + sum(count(child, tag) for child in tree[2] if not isinstance(child, str))


def attributes(tree):
    yield tree[1]
    for child in tree[2]:
        if not isinstance(child, str):
            yield from attributes(child)


def test_behaviour_is_the_outline():
    steady, drifting, learning = (
        next(a for a in attributes(pictograms.draw_ring(b, "proven")) if "stroke-width" in a)
        for b in ("steady", "drifting", "learning")
    )
    assert drifting["stroke-width"] > steady["stroke-width"]
    assert "stroke-dasharray" in learning and "stroke-dasharray" not in steady
    assert len({steady["stroke"], drifting["stroke"], learning["stroke"]}) == 3


def test_capability_is_the_core_by_shape_not_colour():
    cores = [pictograms.draw_core(c, "var(--ink)", 10, 10, 5) for c in ("proven", "unproven", "no", "")]
    shapes = [tuple(part[0] for part in core) for core in cores]
    assert shapes == [("circle",), ("path", "circle"), ("rect",), ()]


def test_a_learning_ring_has_no_core():
    assert markup(pictograms.draw_ring("learning", "proven")) == markup(
        pictograms.draw_ring("learning", "no")
    )


@pytest.mark.parametrize("behaviour", ["steady", "drifting", "learning"])
@pytest.mark.parametrize("capable", ["proven", "unproven", "no", ""])
def test_colours_come_from_the_theme(behaviour, capable):
    for tree in (pictograms.draw_ring(behaviour, capable), pictograms.draw_mark(behaviour, capable)):
        for found in attributes(tree):
            for name in ("fill", "stroke"):
                assert found.get(name, "none") == "none" or found[name].startswith("var(--")


def test_the_bell_stands_upright_on_a_phone():
    lying, upright = pictograms.draw_bell(), pictograms.draw_bell(upright=True)
    assert lying[1]["width"] == upright[1]["height"]
    assert "rotate(90)" in markup(upright) and "rotate" not in markup(lying)


def test_a_sparkline_tints_the_changed_part():
    tree = pictograms.draw_spark([1.0, 1.2, 0.9, 3.0, 3.1], start=3)
    assert count(tree, "rect") == 1 and count(tree, "path") == 2
    assert count(pictograms.draw_spark([1.0, 1.2]), "rect") == 0


@pytest.mark.parametrize("values", [[], [2.0], [2.0, 2.0, 2.0]])
def test_a_sparkline_bears_few_and_equal_values(values):
    tree = pictograms.draw_spark(values)
    assert tree[0] == "svg" and "nan" not in markup(tree)


def test_a_sparkline_stays_within_its_box():
    width, height = pictograms.SPARK_PX
    path = next(a["d"] for a in attributes(pictograms.draw_spark([5.0, -7.0, 100.0, 3.0])) if "d" in a)
    numbers = [float(x) for x in path.replace("M", " ").replace("L", " ").split()]
    assert all(0 <= x <= width for x in numbers[::2]) and all(0 <= y <= height for y in numbers[1::2])


def test_a_start_beyond_the_values_draws_nothing_odd():
    assert count(pictograms.draw_spark([1.0, 2.0], start=9), "rect") == 0


@pytest.mark.parametrize("symbol", ["circle", "square", "diamond", "triangle", "cross"])
def test_each_model_symbol_differs(symbol):
    others = {"circle", "square", "diamond", "triangle", "cross"} - {symbol}
    assert all(
        markup(pictograms.draw_symbol(symbol)) != markup(pictograms.draw_symbol(other)) for other in others
    )


def test_markup_escapes_text_and_attributes():
    text = markup(svg(10, 10, [node("text", {"x": EVIL}, [EVIL])]))
    assert "<script" not in text and "&lt;script&gt;" in text


def test_a_drawing_goes_out_as_plain_data():
    drawing = Drawing(pictograms.draw_peak(), label="moved").to_plotly_json()
    assert drawing["namespace"] == "dashboard" and drawing["type"] == "Drawing"
    assert drawing["props"]["tree"][0] == "svg" and drawing["props"]["label"] == "moved"
