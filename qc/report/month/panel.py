"""One panel of the report: a series drawn the way the board draws it, as SVG for print.

Points in ink, a changed stretch in the drift colour with its own mean, the band where the change began,
limits with their values at the right edge. Models differ by symbol, so that a copy in grey still reads.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from qc.report.month.content import MonthContent
from qc.watch import SeriesVerdict, StretchResult
from qc.words import level_words, unit_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

INK, SOFT, LINE, CARD = "#1D2A31", "#5C6A70", "#D9D4C7", "#FFFEFB"
STEADY, DRIFT, BAND = "#1B6F8A", "#B84714", "#F3E3D8"
SYMBOLS = ("o", "s", "D", "^", "X")
NEWEST = 60
"""A panel shows the newest pieces; the store keeps all."""

PICTURE_IN = (3.1, 1.35)
"""Size of the picture beside a change: its lettering stays as large as that of a panel. [inch]"""

LABEL_IN = 0.12
"""Height of one line of the labels, and a little; chosen for their size. [inch]"""

EDGES_IN = (0.5, 1.12, 0.3, 0.17)
"""Room for the scale, for the labels at the right, below and above. [inch]"""


@dataclass(frozen=True, slots=True)
class Drawings:
    """All drawings of a report as SVG, by the name of the series."""

    panels: dict[str, bytes]
    pictures: dict[str, bytes]


class ShowDrawn(Protocol):
    """Shows how far the drawings are."""

    def __call__(self, done: int, total: int, what: str) -> None:
        """Take how many are done, of how many, and what they are."""


def draw_all(content: MonthContent, progress: ShowDrawn | None = None, *, panels: bool = True) -> Drawings:
    """Draw every panel, and a picture for each of the changes, once.

    Parameters
    ----------
    content : MonthContent
        Its verdicts and changes.
    progress : callable, optional
        Told how many are done.
    panels : bool
        False where only the first pages are looked at: no panel is drawn, and none is shown.
    """
    verdicts = {str(v.key): v for v in content.verdicts}
    asked = [key for key, verdict in verdicts.items() if verdict.points and panels]
    drawn = {}
    for number, key in enumerate(asked, start=1):
        drawn[key] = draw_panel(verdicts[key])
        if progress is not None:
            progress(number, len(asked), "series drawn:")
    shown = [verdicts[change.key] for change in content.changes] + list(content.near)
    pictures = {
        str(one.key): draw_panel(one, width=PICTURE_IN[0], height=PICTURE_IN[1], newest=34) for one in shown
    }
    return Drawings(drawn, pictures)


def draw_panel(
    verdict: SeriesVerdict, *, width: float = 6.9, height: float = 1.58, newest: int = NEWEST
) -> bytes:
    """Draw one series as SVG.

    Parameters
    ----------
    verdict : SeriesVerdict
        What is known of the series; without points an empty frame says so.
    width, height : float
        Size on paper. [inch]
    newest : int
        So many pieces at the end are shown.

    Returns
    -------
    bytes
        The SVG, the same bytes for the same verdict.
    """
    import matplotlib as mpl
    from matplotlib.figure import Figure

    style = {
        # ids in the svg by the series and not by chance: the same content gives the same bytes
        "svg.hashsalt": f"{verdict.key} {width}",
        "svg.fonttype": "none",
        "font.family": "DejaVu Sans",
        "font.size": 7,
        "axes.edgecolor": LINE,
        "axes.linewidth": 0.6,
        "xtick.color": SOFT,
        "ytick.color": SOFT,
        # the sentences beside it write it so too: one sign for minus on a page
        "axes.unicode_minus": False,
    }
    with mpl.rc_context(style):
        figure = Figure(figsize=(width, height))
        left, right, under, over = (
            edge / size for edge, size in zip(EDGES_IN, (width, width, height, height), strict=True)
        )
        axes = figure.add_axes((left, under, 1.0 - left - right, 1.0 - under - over))
        _frame(axes, verdict)
        if verdict.points:
            _evidence(axes, verdict, newest, height * (1.0 - under - over), legend=width > PICTURE_IN[0])
        else:
            axes.text(0.5, 0.5, "nothing measured yet", transform=axes.transAxes, ha="center", color=SOFT)
        return _svg(figure)


def _svg(figure: Figure) -> bytes:
    out = io.BytesIO()
    # no date of making: the same content gives the same bytes
    figure.savefig(out, format="svg", metadata={"Date": None}, transparent=True)
    return out.getvalue()


def _frame(axes: Axes, verdict: SeriesVerdict) -> None:
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    axes.tick_params(length=0, labelsize=6.5)
    axes.set_axisbelow(True)
    axes.grid(axis="y", color=LINE, lw=0.4)
    axes.set_xticks([])
    what = "deviation from target" if verdict.centered else verdict.name
    axes.set_title(
        f"{what} [{unit_words(verdict.unit) or 'number'}]", loc="left", fontsize=6.5, color=SOFT, pad=3
    )


def _evidence(axes: Axes, verdict: SeriesVerdict, newest: int, tall: float, *, legend: bool) -> None:
    """Draw points over the band, so that it covers none; labels come last, when the axes are known."""
    shown = verdict.points[-newest:]
    first = shown[0].ordinal
    changed = {
        ordinal
        for stretch in verdict.stretches
        if stretch.changed
        for ordinal in range(stretch.first, stretch.last + 1)
    }
    signal = verdict.current
    if signal is not None and signal.kind != "single" and signal.start_high >= first:
        axes.axvspan(max(signal.start_low, first) - 0.5, signal.start_high + 0.5, color=BAND, lw=0)
    models = list(dict.fromkeys(p.model for p in verdict.points))
    for number, model in enumerate(models):
        rows = [p for p in shown if p.model == model]
        colors = [DRIFT if p.ordinal in changed else INK for p in rows]
        # every other model is hollow: symbols this small are told apart by that sooner than by their shape
        face = colors if number % 2 == 0 else "none"
        axes.scatter(
            [p.ordinal for p in rows],
            [p.value for p in rows],
            s=9,
            marker=SYMBOLS[number % len(SYMBOLS)],
            facecolors=face,
            edgecolors=colors,
            linewidths=0.8,
            zorder=3,
        )
    labels = _levels(axes, verdict, first) + _limits(axes, verdict)
    axes.set_xlim(first - 1, shown[-1].ordinal + 1)
    _label_edge(axes, labels, tall)
    text = f"in order of making, {shown[0].serial} to {shown[-1].serial}"
    if legend and len(models) > 1:
        symbols = "●□◆△✕"
        text += "   " + "   ".join(f"{symbols[i % 5]} {m}" for i, m in enumerate(models) if m)
    axes.set_xlabel(text, loc="left", fontsize=6.5, color=SOFT, labelpad=3)


def _levels(axes: Axes, verdict: SeriesVerdict, first: int) -> list[tuple[float, str, str]]:
    """Draw each stretch's mean; return the labels of the last two."""
    labels: list[tuple[float, str, str]] = []
    visible = [s for s in verdict.stretches if s.last >= first]
    for stretch in visible:
        color = DRIFT if stretch.changed else STEADY
        ends = [stretch.first - 0.4, stretch.last + 0.4]  # the frame cuts off what lies before its window
        heights = [_height(stretch, at_start=True), _height(stretch)]
        axes.plot(ends, heights, color=color, lw=1.4)
    for word, stretch in _named(visible):
        color = DRIFT if stretch.changed else STEADY
        labels.append(
            (_height(stretch), f"{word} {level_words(_height(stretch), verdict.span)} ({stretch.n})", color)
        )
    return labels


def _height(stretch: StretchResult, *, at_start: bool = False) -> float:
    """Return the height a stretch is drawn at: its mean, or an end of its line where it wears."""
    end = stretch.line_from if at_start else stretch.line_to
    return stretch.mean if end is None else end


def _named(stretches: Sequence[StretchResult]) -> list[tuple[str, StretchResult]]:
    if not stretches:
        return []
    if len(stretches) == 1:
        return [("mean", stretches[-1])]
    return [("before", stretches[-2]), ("now", stretches[-1])]


def _limits(axes: Axes, verdict: SeriesVerdict) -> list[tuple[float, str, str]]:
    labels = []
    for value in (verdict.lower, verdict.upper):
        if value is not None:
            axes.axhline(value, color=INK, lw=0.7)
            labels.append((value, f"limit {value:g} {unit_words(verdict.unit)}", INK))
    return labels


def _label_edge(axes: Axes, labels: list[tuple[float, str, str]], tall: float) -> None:
    """Write the labels at the right edge, pushed apart where they would cover each other; `tall` in inch."""
    low, high = axes.get_ylim()
    least = (high - low) * LABEL_IN / tall
    placed: list[float] = []
    for value, text, color in sorted(labels):
        where = value if not placed else max(value, placed[-1] + least)
        placed.append(where)
        axes.annotate(
            text,
            (1.0, where),
            xycoords=("axes fraction", "data"),
            xytext=(5, 0),
            textcoords="offset points",
            va="center",
            fontsize=6.5,
            color=color,
            annotation_clip=False,
        )
    axes.set_ylim(low, high)
