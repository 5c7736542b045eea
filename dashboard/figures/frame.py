"""What all charts share: paper, axes, labels at the right edge, the toolbar that stays at home."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from math import ceil, floor, log10
from typing import Any, Final, TypeAlias

from dashboard import words
from dashboard.theme import FONTS, LIGHT, SMALL_PX

Figure: TypeAlias = dict[str, Any]
Layout: TypeAlias = dict[str, Any]
Axis: TypeAlias = dict[str, Any]
Trace: TypeAlias = dict[str, Any]
Shape: TypeAlias = dict[str, Any]
Note: TypeAlias = dict[str, Any]
"""A figure and its parts in plotly's own schema, plain so that plotly need not be loaded; a note is there
called an annotation."""

GRAPH_CONFIG: Final = {
    # Plotly's toolbar can send a chart to a server of its maker: never from here.
    "showSendToCloud": False,
    "plotlyServerURL": "",
    "displaylogo": False,
    "responsive": True,
    "scrollZoom": False,
    "doubleClick": False,
    "modeBarButtons": [["toImage"]],
    "toImageButtonOptions": {"format": "png", "filename": "chart", "scale": 2},
    "locale": "en",
    "locales": {"en": {"dictionary": {"Download plot as a PNG": "Save the picture"}}},
}

SYMBOLS: Final = {
    "circle": "circle",
    "square": "square-open",
    "diamond": "diamond-open",
    "triangle": "triangle-up-open",
    "cross": "x-thin-open",
}
"""Plan symbol -> Plotly marker."""

WIDTHS: Final = {"mwMW%": 0.99, "ABCDEGHKNOPQRSTUVXYZ+−=_#&": 0.84, " .,:;|/()[]'-iljtfrI": 0.42}
"""Widths of letters in the widest of the board's fonts (DejaVu Sans), rounded up [em]; else `OTHER`."""

OTHER, BOLD = 0.64, 1.12
"""Width of a letter or digit of none of these kinds [em], and how much wider bold ones are."""

LABEL_GAP_PX: Final = 17
"""Least distance between two labels at the right edge [px]."""


@dataclass(frozen=True, slots=True)
class EdgeLabel:
    """A line's name and value, written where the line ends."""

    y: float
    text: str
    colour: str
    bold: bool = False


def base_layout(height: int, top: int, right: int, bottom: int, left: int) -> Layout:
    """Return a bare sheet of paper of this height and these margins [px]."""
    return {
        "height": height,
        "margin": {"t": top, "r": right, "b": bottom, "l": left, "pad": 0},
        # on the screen the card shows through (board.css); a saved picture has the card's colour behind it
        "paper_bgcolor": LIGHT["card"],
        "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"family": FONTS, "size": SMALL_PX, "color": LIGHT["soft"]},
        "showlegend": False,
        "hovermode": "closest",
        "hoverdistance": 24,
        "dragmode": False,
        "hoverlabel": {
            "bgcolor": LIGHT["card"],
            "bordercolor": LIGHT["soft"],
            "align": "left",
            "font": {"family": FONTS, "size": SMALL_PX, "color": LIGHT["ink"]},
        },
        "modebar": {"bgcolor": "rgba(0,0,0,0)", "color": LIGHT["soft"], "activecolor": LIGHT["brass"]},
    }


def bare_axis(**more: Any) -> Axis:
    """Return an axis without grid, zero line or frame."""
    return {"showgrid": False, "zeroline": False, "showline": False, "ticks": "", "fixedrange": True, **more}


def label_margin(labels: Sequence[EdgeLabel]) -> int:
    """Return the width that the labels at the right edge need [px]."""
    return round(max([60.0, *(text_px(label.text, label.bold) for label in labels)])) + 16


def text_px(text: str, bold: bool = False) -> float:
    """Return how wide a label is at most: counting letters alone cut those with many wide ones [px].

    Examples
    --------
    >>> text_px("mm") > text_px("il")
    True
    """
    ems = sum(next((own for letters, own in WIDTHS.items() if one in letters), OTHER) for one in text)
    return ems * SMALL_PX * (BOLD if bold else 1.0)


def nice_ticks(low: float, high: float, wanted: int = 6) -> list[float]:
    """Return round places between two ends, about `wanted` of them.

    Examples
    --------
    >>> nice_ticks(-14.0, 33.0)
    [-10.0, 0.0, 10.0, 20.0, 30.0]
    """
    rough = (high - low) / max(1, wanted)
    size = 10.0 ** floor(log10(rough))
    step = next(m * size for m in (1, 2, 5, 10) if m * size >= rough)
    # a hair of slack: an end that is a round figure but for rounding keeps its line
    first = ceil(low / step - 1e-9)
    return [round(k * step, 10) for k in range(first, floor(high / step + 1e-9) + 1)]


def value_axis(low: float, high: float, signed: bool, wanted: int = 6) -> Axis:
    """Return the vertical axis: hairlines at round figures, with true minus signs."""
    ticks = nice_ticks(low, high, wanted)
    step = ticks[1] - ticks[0] if len(ticks) > 1 else 1.0
    decimals = max(0, -floor(log10(step) + 1e-9))
    return bare_axis(
        range=[low, high],
        showgrid=True,
        gridcolor=LIGHT["line"],
        gridwidth=1,
        tickvals=ticks,
        ticktext=[words.number(tick, decimals, signed) for tick in ticks],
        tickfont={"color": LIGHT["soft"], "size": SMALL_PX},
    )


def axis_title(name: str, unit: str, centered: bool) -> Note:
    """Return the name and unit of the vertical axis, written level above its top."""
    what = name + (", from target" if centered else "")
    return {
        "xref": "paper",
        "x": 0,
        "xanchor": "left",
        "xshift": -40,
        "yref": "paper",
        "y": 1,
        "yanchor": "bottom",
        "yshift": 21,
        "showarrow": False,
        "text": escape(f"{what} [{words.unit(unit) or 'number'}]"),
        "font": {"color": LIGHT["soft"], "size": SMALL_PX},
    }


def value_sheet(
    title: tuple[str, str, bool],
    labels: Sequence[EdgeLabel],
    y_range: tuple[float, float],
    size: tuple[int, int, int, int],
    *,
    narrow: bool,
    signed: bool,
    across: Axis,
    shapes: list[Shape],
    wanted: int = 6,
    notes: Sequence[Note] = (),
) -> Layout:
    """Return a sheet of paper with a scale of values at its left and named lines at its right edge.

    `title` holds name, unit and whether deviations from target are told; `size` the height and the margins at
    the top, the bottom and, on a wide screen, the left [px]; `notes` stand under the names of the lines.
    """
    height, top, bottom, left = size
    right = 14 if narrow else label_margin(labels)
    # on a phone there is no room beside the plot: the names stand in lines of their own above it
    above = LABEL_GAP_PX * len(labels) if narrow else 0
    layout = base_layout(height + above, top + above, right, bottom, left - 12 if narrow else left)
    layout["xaxis"] = across
    layout["yaxis"] = value_axis(*y_range, signed=signed, wanted=wanted)
    layout["shapes"] = shapes
    names = (
        stacked_annotations(labels, top)
        if narrow
        else edge_annotations(labels, y_range, height - top - bottom)
    )
    layout["annotations"] = [axis_title(*title), *notes, *names]
    return layout


def shade(left: float | str, right: float | str, colour: str) -> Shape:
    """Return a shade over the whole height between two places of the horizontal axis, under the points."""
    return {
        "type": "rect",
        "xref": "x",
        "yref": "paper",
        "x0": left,
        "x1": right,
        "y0": 0,
        "y1": 1,
        "layer": "below",
        "fillcolor": colour,
        "line": {"width": 0},
    }


def level(
    y: float,
    x0: float | str,
    x1: float | str,
    colour: str,
    width: float,
    dash: str = "solid",
    end: float | None = None,
) -> Shape:
    """Return a line between two places of the horizontal axis, under the points; level without `end`."""
    return {
        "type": "line",
        "x0": x0,
        "x1": x1,
        "y0": y,
        "y1": y if end is None else end,
        "layer": "below",
        "line": {"color": colour, "width": width, "dash": dash},
    }


def edge_annotations(labels: Sequence[EdgeLabel], y_range: tuple[float, float], plot_px: float) -> list[Note]:
    """Return the labels at the right edge, moved apart where two would touch."""
    heights = spread_labels([label.y for label in labels], y_range, plot_px)
    return [
        _named(label, label.text) | {"xshift": 8, "yref": "y", "y": height, "yanchor": "middle", "x": 1}
        for label, height in zip(labels, heights, strict=True)
    ]


def stacked_annotations(labels: Sequence[EdgeLabel], top: float) -> list[Note]:
    """Return the labels one under the other above the plot, in the order of their lines, highest first.

    `top` is the room that title and band keep between them and the plot [px].
    """
    ordered = sorted(labels, key=lambda label: label.y)
    return [
        _named(label, f"— {label.text}")
        | {
            "x": 0,
            "xshift": -40,
            "yref": "paper",
            "y": 1,
            "yanchor": "bottom",
            "yshift": top - 4 + LABEL_GAP_PX * place,
        }
        for place, label in enumerate(ordered)
    ]


def _named(label: EdgeLabel, text: str) -> Note:
    return {
        "xref": "paper",
        "xanchor": "left",
        "showarrow": False,
        "align": "left",
        "text": f"<b>{escape(text)}</b>" if label.bold else escape(text),
        "font": {"color": label.colour, "size": SMALL_PX},
    }


def spread_labels(ys: Sequence[float], y_range: tuple[float, float], plot_px: float) -> list[float]:
    """Return where labels go so that no two stand closer than `LABEL_GAP_PX`, each near its line.

    Examples
    --------
    >>> [round(y, 2) for y in spread_labels([0.0, 0.1, 5.0], (0.0, 10.0), 170.0)]
    [0.0, 1.0, 5.0]
    """
    if not ys:
        return []
    gap = LABEL_GAP_PX * (y_range[1] - y_range[0]) / plot_px
    order = sorted(range(len(ys)), key=lambda i: ys[i])
    # Labels that touch form a block, centred on what it names; blocks that touch merge.
    blocks: list[list[int]] = []
    for index in order:
        blocks.append([index])
        while len(blocks) > 1 and _bottom(blocks[-1], ys, gap, y_range) < _top(
            blocks[-2], ys, gap, y_range
        ) + gap * (1 - 1e-9):
            blocks[-2:] = [blocks[-2] + blocks[-1]]
    placed = [0.0] * len(ys)
    for block in blocks:
        low = _bottom(block, ys, gap, y_range)
        for rank, index in enumerate(block):
            placed[index] = low + rank * gap
    return placed


def _bottom(block: Sequence[int], ys: Sequence[float], gap: float, y_range: tuple[float, float]) -> float:
    middle = sum(ys[i] for i in block) / len(block)
    low = middle - gap * (len(block) - 1) / 2
    # The lowest label never sinks below the axis, where the events are named.
    return max(low, y_range[0])


def _top(block: Sequence[int], ys: Sequence[float], gap: float, y_range: tuple[float, float]) -> float:
    return _bottom(block, ys, gap, y_range) + gap * (len(block) - 1)
