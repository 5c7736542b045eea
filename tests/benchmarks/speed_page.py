"""What the benchmarks found, as a table for a terminal and as a page with pictures."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from measuring import exponent

PAGE = Path(__file__).resolve().parents[2] / "docs" / "reference" / "speed.md"
PICTURES = PAGE.parents[1] / "pictures"


@dataclass(frozen=True)
class Line:
    """One row of the table.

    Attributes
    ----------
    what, unit : str
        What was measured; ``x`` is a ratio.
    clock, processor : float or None
        By the clock and of the processor; None where only the other says anything.
    budget, least : float or None
        Most or least that was set beforehand.
    """

    what: str
    unit: str
    clock: float | None
    processor: float | None
    budget: float | None = None
    least: float | None = None

    def kept(self) -> str:
        """Say whether the budget is kept; by the processor alone where a busy machine stretched the clock."""
        figures = [figure for figure in (self.clock, self.processor) if figure is not None]
        if self.least is not None:
            return "kept" if max(figures) >= self.least else "missed"
        if self.budget is None:
            return ""
        if figures[0] <= self.budget:
            return "kept"
        return "kept by the processor" if min(figures) <= self.budget else "missed"

    def wanted(self) -> str:
        """Say the budget."""
        if self.least is not None:
            return f"at least {self.least:g}"
        return "" if self.budget is None else f"{self.budget:g}"


@dataclass(frozen=True)
class Curve:
    """How the processor's seconds of a work grow with something."""

    what: str
    against: str
    sizes: Sequence[float]
    costs: Sequence[float]

    @property
    def power(self) -> float:
        """The fitted k of cost = c size^k."""
        return exponent(self.sizes, self.costs)

    def range(self) -> str:
        """Say from where to where."""
        return f"{self.sizes[0]:,.0f} to {self.sizes[-1]:,.0f}"


def figure(value: float | None) -> str:
    """Write a figure with three digits."""
    return "" if value is None else f"{value:,.0f}" if abs(value) >= 1000 else f"{value:.3g}"


def table_text(lines: Sequence[Line], curves: Sequence[Curve], told: str) -> str:
    """Set the table for a terminal."""
    width = max([len(line.what) for line in lines] + [len(c.what) + 4 + len(c.against) for c in curves])
    out = [told, f"{'':<{width}} {'clock':>9} {'processor':>9}       budget"]
    for line in lines:
        own = f"{figure(line.clock):>9} {figure(line.processor):>9} {line.unit:<5}"
        out.append(f"{line.what:<{width}} {own} {line.wanted():<12} {line.kept()}".rstrip())
    out += [""]
    for curve in curves:
        name = f"{curve.what} by {curve.against}"
        out.append(f"{name:<{width}} grows as size^{curve.power:.2f}   ({curve.range()})")
    return "\n".join(out) + "\n"


def write_page(lines: Sequence[Line], curves: Sequence[Curve], told: str) -> None:
    """Write the page between its marks, and a picture of the growth."""
    text = PAGE.read_text("utf-8")
    before, _, rest = text.partition("<!-- table -->\n")
    after = rest.partition("<!-- end -->\n")[2]
    rows = [
        f"| {line.what} | {figure(line.clock)} | {figure(line.processor)} | {line.unit} | "
        f"{line.wanted()} | {line.kept()} |"
        for line in lines
    ]
    grown = [f"| {c.what} | {c.against}, {c.range()} | {c.power:.2f} |" for c in curves]
    table = "\n".join([
        f"Measured on {told}.",
        "",
        "| what | by the clock | processor | unit | budget | |",
        "| --- | --- | --- | --- | --- | --- |",
        *rows,
        "",
        "| what | against | exponent |",
        "| --- | --- | --- |",
        *grown,
        "",
        "![How the work grows](../pictures/speed.svg)",
        "",
    ])  # fmt: skip
    PAGE.write_text(f"{before}<!-- table -->\n{table}<!-- end -->\n{after}", "utf-8")
    draw(curves, PICTURES / "speed.svg")


def draw(curves: Sequence[Curve], file: Path) -> None:
    """Draw each curve in a panel of its own, both axes by as many tens: in proportion is a diagonal."""
    import matplotlib as mpl

    mpl.use("svg")
    from matplotlib import pyplot as plt
    from matplotlib.ticker import LogLocator, NullFormatter

    with mpl.rc_context({"svg.hashsalt": "speed", "svg.fonttype": "none", "font.family": "sans-serif"}):
        across = (len(curves) + 1) // 2
        drawn, panels = plt.subplots(2, across, figsize=(3.2 * across, 5.4), layout="constrained")
        for panel, curve in zip(panels.flat, curves, strict=False):
            panel.loglog(curve.sizes, curve.costs, "o-", color="#8a5a14")
            panel.set_title(f"{curve.what}\nsize^{curve.power:.2f}", fontsize=9)
            panel.set_xlabel(curve.against, fontsize=8)
            panel.set_ylabel("processor [s]", fontsize=8)
            _same_decades(panel, curve)
            for axis in (panel.xaxis, panel.yaxis):
                axis.set_major_locator(LogLocator())
                axis.set_minor_formatter(NullFormatter())
            panel.grid(True, which="major", alpha=0.3)
            panel.tick_params(labelsize=7)
        for panel in list(panels.flat)[len(curves) :]:
            panel.set_visible(False)
        file.parent.mkdir(parents=True, exist_ok=True)
        drawn.savefig(file, metadata={"Date": None})
        plt.close(drawn)


def _same_decades(panel: Any, curve: Curve) -> None:
    """Give both axes as many decades, so that how steep a line is can be seen."""
    ends = [(math.log10(min(own)), math.log10(max(own))) for own in (curve.sizes, curve.costs)]
    room = 0.6 * max(2.0, *(high - low for low, high in ends))  # two decades at least show a label each
    for (low, high), put in zip(ends, (panel.set_xlim, panel.set_ylim), strict=True):
        middle = (low + high) / 2
        put(10 ** (middle - room), 10 ** (middle + room))
