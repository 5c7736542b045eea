"""Pairs of tubes as a person reads them, then the leftovers and the tubes before pairing."""

from __future__ import annotations

from collections.abc import Sequence

from qc.report.terminal.columns import figures
from qc.trade import Pairing

Run = tuple[str, Sequence[float], float, float | None]
"""Side, mean diameters in the order of the file [mm], their spread and, where clear, their drift [um]."""


def pair_text(
    pairing: Pairing, limits: tuple[float, float], runs: Sequence[Run], shares: Sequence[float | None]
) -> str:
    """Say what goes into what.

    Parameters
    ----------
    pairing : Pairing
    limits : (float, float)
        Of the clearance. [um]
    runs : sequence of Run
        The tubes of each side: pairing hides a drifting die.
    shares : (float or None, float or None)
        Expected within the limits, taken at random and paired.
    """
    total = len(pairing.pairs)
    rows = [("inner", "outer", "least um", "mean um", "greatest", "")]
    for pair in pairing.pairs:
        least, mean, most = f"{pair.least_um:.1f}", f"{pair.mean_um:.1f}", f"{pair.greatest_um:.1f}"
        rows.append((pair.inner, pair.outer, least, mean, most, "" if pair.inside else "  outside"))
    lines = [
        f"{pairing.inside} of {total} pairs lie wholly within {limits[0]:g} to {limits[1]:g} um"
        + ("" if pairing.inside == total else "; fit those first and look at the rest below"),
        "",
        *figures(rows, "<>>>><"),
    ]
    for tube in (*pairing.left_inner, *pairing.left_outer):
        mate = "bore" if tube.side == "inner" else "stocking"
        lines.append(
            f"{tube.name} is left: it wants a {mate} of {tube.wanted_mm:.3f} mm; nearest {tube.nearest}, "
            f"{tube.nearest_off_um:+.0f} um off target: {_mend(tube.side, tube.nearest_off_um)}"
        )
    random, best = shares
    if random is not None and best is not None:
        lines.append(f"Expected within limits: {random:.0%} taken at random, {best:.0%} paired")
    lines += [
        "",
        "Pairing hides a drifting die: these are the tubes before pairing, in the order of the file",
    ]
    return "\n".join(lines + [_run_line(*run) for run in runs])


def _mend(side: str, off_um: float) -> str:
    """Say which die would mend a leftover tube, and by how much."""
    tool = "the outers' mandrel" if side == "inner" else "the inners' die"
    smaller = off_um > 0 if side == "inner" else off_um < 0
    return f"{tool} {abs(off_um):.0f} um {'smaller' if smaller else 'larger'}, or keep it for the next lot"


def _run_line(side: str, means_mm: Sequence[float], sd_um: float, drift_um: float | None) -> str:
    mean = sum(means_mm) / len(means_mm)
    said = f"{side:6} n {len(means_mm)}, mean {mean:.4f} mm, sd {sd_um:.1f} um"
    if drift_um is not None:
        said += f", DRIFTING by {drift_um:+.1f} um from first to last: look at its die"
    return said
