"""The chart by lot: what the pieces of each lot have in common, in order of making."""

from __future__ import annotations

from html import escape

from dashboard import words
from dashboard.figures.frame import EdgeLabel, Figure, bare_axis, level, value_sheet
from dashboard.theme import LIGHT
from qc.jobs.board import Point, SeriesView
from qc.words import pieces_words, told_name

HEIGHT_PX, TOP_PX, BOTTOM_PX = 250, 46, 70

NEWEST, NEWEST_NARROW = 20, 8
"""So many lots are shown at most, the newest, on a desk and on a phone: more and their names run together."""


LONGEST = 12
"""Letters of a lot's name that stand under the chart; the whole name stands at its mark."""


def draw_lots(view: SeriesView, narrow: bool = False) -> Figure | None:
    """Return the means of the newest lots with their pieces, or None where no lots are told apart.

    Parameters
    ----------
    view : SeriesView
        The series.
    narrow : bool
        Fewer lots, for a screen too narrow for their names.
    """
    verdict = view.verdict
    lots: dict[str, list[Point]] = {}
    for point in verdict.points:
        if point.lot and not point.left_out:
            lots.setdefault(point.lot, []).append(point)
    shown = list(lots.items())[-(NEWEST_NARROW if narrow else NEWEST) :]
    if len(shown) < 2:
        return None
    decimals = words.decimals_of(verdict)
    means = [sum(p.value for p in own) / len(own) for _, own in shown]
    values = [p.value for _, own in shown for p in own]
    pad = 0.1 * ((max(values) - min(values)) or 1.0)
    y_range = (min(values) - pad, max(values) + pad)
    across = bare_axis(
        range=[-0.6, len(shown) - 0.4],
        tickmode="array",
        tickvals=list(range(len(shown))),
        ticktext=[escape(told_name(name, LONGEST)) for name, _ in shown],
        tickangle=-40 if narrow or len(shown) > NEWEST_NARROW else 0,
        tickfont={"size": 12, "color": LIGHT["soft"]},
    )
    mean_of_all = sum(values) / len(values)
    said = f"mean of all shown {words.amount(mean_of_all, verdict.unit, decimals, verdict.centered)}"
    shapes = [level(mean_of_all, -0.6, len(shown) - 0.4, LIGHT["soft"], 1, "dot")]
    labels = [EdgeLabel(mean_of_all, said, LIGHT["soft"])]
    layout = value_sheet(
        (verdict.name, verdict.unit, verdict.centered),
        labels,
        y_range,
        (HEIGHT_PX, TOP_PX, BOTTOM_PX, 58),
        narrow=narrow,
        signed=verdict.centered,
        across=across,
        shapes=shapes,
        wanted=4,
    )
    pieces = {
        "type": "scatter",
        "mode": "markers",
        "x": [place for place, (_, own) in enumerate(shown) for _ in own],
        "y": values,
        "text": [f"<b>{escape(p.serial)}</b> {words.day(p.day)}" for _, own in shown for p in own],
        "hovertemplate": "%{text}: %{y}<extra></extra>",
        "customdata": [p.serial for _, own in shown for p in own],
        "marker": {"size": 6, "color": LIGHT["soft"], "opacity": 0.45},
        "cliponaxis": False,
    }
    middles = {
        "type": "scatter",
        "mode": "lines+markers",
        "x": list(range(len(shown))),
        "y": means,
        "text": [
            f"<b>{escape(name)}</b>, {pieces_words(len(own))} from {escape(own[0].serial)} on: mean "
            + words.amount(mean, verdict.unit, decimals, verdict.centered)
            for (name, own), mean in zip(shown, means, strict=True)
        ],
        "hovertemplate": "%{text}<extra></extra>",
        "line": {"color": LIGHT["ink"], "width": 1},
        "marker": {"size": 9, "color": LIGHT["ink"], "symbol": "diamond"},
        "cliponaxis": False,
    }
    return {"data": [pieces, middles], "layout": layout}
