"""The chart of rework: hours by cause, most first, and what they come to with those above."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import Final

from dashboard.figures.frame import Figure, bare_axis, base_layout
from dashboard.theme import LIGHT, SMALL_PX
from qc.jobs.board import ReworkCause, summed
from qc.shares import adding_up
from qc.words import pieces_words, told_name

ROW_PX: Final = 34
TOP_PX: Final = 40
BOTTOM_PX: Final = 44
LONGEST: Final = 24
"""Letters of a cause that stand beside its bar, before its hours."""

NAME_PX: Final = 7.4
ROOM: Final = 1.03
"""Times all hours, so that the last mark does not sit on the frame."""


def draw_pareto(causes: Sequence[ReworkCause], narrow: bool = False) -> Figure | None:
    """Return hours by cause as bars, most first, with the cumulative line; None where nothing was reworked.

    Parameters
    ----------
    causes : sequence of ReworkCause
        Most hours first.
    narrow : bool
        For a screen as narrow as a phone.
    """
    if not causes:
        return None
    names = [escape(told_name(one.name, LONGEST)) for one in causes]
    hours = adding_up([one.hours for one in causes], 2)
    shares = [int(share) for share in adding_up([100 * one.share for one in causes])]
    so_far = [sum(shares[: place + 1]) for place in range(len(shares))]
    rows = list(range(len(causes)))
    labels = [f"{name}, {spent} h" for name, spent in zip(names, hours, strict=True)]
    left = round(min(190 if narrow else 270, 24 + NAME_PX * max(map(len, labels))))
    layout = base_layout(TOP_PX + BOTTOM_PX + ROW_PX * len(causes), TOP_PX, 46, BOTTOM_PX, left)
    tick = {"color": LIGHT["soft"], "size": 12}
    layout["yaxis"] = bare_axis(
        range=[len(causes) - 0.5, -0.5],
        tickmode="array",
        tickvals=rows,
        ticktext=labels,
        tickfont={"color": LIGHT["ink"], "size": SMALL_PX},
    )
    # one scale: all hours are 100 %, so the line begins where the first bar ends
    total = summed([one.hours for one in causes]) or 1.0
    layout["xaxis"] = bare_axis(
        range=[0, ROOM * total],
        showline=True,
        linecolor=LIGHT["soft"],
        nticks=4 if narrow else 6,
        tickfont=tick,
        title={"text": "hours of rework [h]", "font": {"color": LIGHT["soft"], "size": SMALL_PX}},
    )
    layout["xaxis2"] = bare_axis(
        range=[0, 100 * ROOM],
        overlaying="x",
        side="top",
        tickmode="array",
        tickvals=[0, 50, 100],
        ticktext=["0 %", "50 %", "100 %"],
        tickfont={**tick, "color": LIGHT["mark"]},
    )
    layout["bargap"] = 0.42
    bars = {
        "type": "bar",
        "orientation": "h",
        "x": [one.hours for one in causes],
        "y": rows,
        "marker": {"color": LIGHT["brass"]},
        "hovertemplate": "%{customdata}<extra></extra>",
        "customdata": [
            f"<b>{name}</b>: {spent} h, {share} %, {pieces_words(one.pieces)}"
            for one, name, spent, share in zip(causes, names, hours, shares, strict=True)
        ],
    }
    line = {
        "type": "scatter",
        "mode": "lines+markers",
        "xaxis": "x2",
        "x": so_far,
        "y": rows,
        "line": {"color": LIGHT["mark"], "width": 1.5},
        "marker": {"color": LIGHT["mark"], "size": 6},
        "hovertemplate": "with those above %{x} %<extra></extra>",
        "cliponaxis": False,
    }
    return {"data": [bars, line], "layout": layout}
