"""Run lengths as a person reads them: price and speed in a sentence, then a small table over shifts."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from qc.report.terminal.columns import Row, table
from qc.stats import EstimatedLimits, RunLength

# of runs, or of baselines. chosen: the middle half and nine in ten; run lengths lean far to the right,
# so that their mean misleads or is infinite
SHARES = (0.05, 0.25, 0.5, 0.75, 0.95)
LONGEST = 1e12  # points: an average run above it is not worked out, see `qc.stats.run_length_of_chain`
ESTIMATORS = {
    "sd": "standard deviation",
    "sd-unbiased": "standard deviation over c4",
    "moving-range": "mean moving range",
    "range": "mean range",
}


def run_lengths_text(
    kind: str,
    design: Mapping[str, Any],
    wanted: float | None,
    shifts: Sequence[tuple[float, RunLength | None]],
    false_signals: float | None,
) -> str:
    """Say how long a chart runs.

    `design` is what sets the chart, `wanted` its wanted in-control run length; the first of the shifts is 0,
    and `false_signals` are those to expect in the points judged.
    """
    still = shifts[0][1]
    spread = design.get("spread", 1.0)
    when = "While nothing changes" if spread == 1.0 else f"Without a shift, at {spread:g} times the spread"
    lines = [f"{when}, this chart never signals: its run is longer than {LONGEST:.0e} points."]
    if still is not None:
        lines = [
            f"{when}, a signal comes after {_points(still.mean)} points on average; one chart in twenty has "
            f"its first within {_points(still.quantile(0.05))}."
        ]
    moved = [(shift, found) for shift, found in shifts if abs(shift - 1.0) < 1e-12] or list(shifts[1:2])
    if moved:
        shift, found = moved[0]
        after = f"signals after {_points(found.mean)} points on average" if found else "never signals"
        lines.append(f"A shift of {shift:g} sigma {after}.")
    if false_signals is not None:
        lines.append(f"False signals to expect in the points judged: {false_signals:.3g}.")
    lines += ["", _setting(kind, design, wanted), ""]
    rows = [("shift", "average", "sd", *(f"{100 * share:g} %" for share in SHARES))]
    for shift, found in shifts:
        if found is None:
            rows.append((f"{shift:g}", "never", *("" for _ in (0, *SHARES))))
            continue
        quantiles = (f"{found.quantile(share):,}" for share in SHARES)
        rows.append((f"{shift:g}", _points(found.mean), _points(found.sd), *quantiles))
    last = ["", "Shifts in sigma, from the first point on; the rest in points."]
    if any(found is None for _, found in shifts):
        last[-1] += f" never: more than {LONGEST:.0e} points on average, where rounding eats the figures."
    return "\n".join(lines + table(rows, "<>") + last)


def estimated_text(
    design: Mapping[str, Any],
    shifts: Sequence[tuple[float, EstimatedLimits]],
    quantiles: Mapping[float, float],
    chances: Mapping[float, float],
    *,
    worth: float,
    promise: tuple[float, float] | None,
    false_signals: float | None,
) -> str:
    """Say what limits estimated from a baseline may do.

    Parameters
    ----------
    design : mapping
        Points, readings in each, estimator and limit factor.
    shifts : sequence of (float, EstimatedLimits)
    quantiles, chances : mapping
        Run length by share of baselines; chance by run length.
    worth : float
        Degrees of freedom of sigma.
    promise : (float, float) or None
        Run length that the factor guarantees, and the share of baselines that keep it.
    false_signals : float or None
        To expect in the points judged.
    """
    baseline = f"{design['points']} points" + (f" of {design['n']}" if design["n"] > 1 else "")
    what = (
        f"Limits at {design['factor']:.4g} estimated sigma from {baseline} "
        f"({ESTIMATORS[design['estimator']]})"
    )
    lines = [
        f"{what} are a lottery: nine in ten such baselines give a chart that runs between "
        f"{_length(quantiles[0.05])} and {_length(quantiles[0.95])} points to a false signal."
    ]
    if promise is not None:
        lines = [
            f"{what} run {_points(promise[0])} points or more to a false signal in "
            f"{100 * promise[1]:g} % of all baselines."
        ]
    lines += [
        f"Chance that your own run under {_points(length)}: {chance:.2f}."
        for length, chance in chances.items()
    ]
    if false_signals is not None:
        lines.append(f"False signals to expect in the points judged: {false_signals:.3g}.")
    lines += ["", "Points to a false signal, over all baselines", ""]
    rows: list[Row] = [
        ("share of baselines under", *(f"{100 * share:g} %" for share in quantiles)),
        ("points", *(_length(length) for length in quantiles.values())),
    ]
    lines += table(rows, "<>")
    rows = [("shift", "signals a point", "average run length", "sd between baselines")]
    for shift, limits in shifts:
        rows.append(
            (
                f"{shift:g}",
                f"{100 * limits.signal_rate:.3g} %",
                _points(limits.average_run_length),
                _points(limits.sd_between_baselines),
            )
        )
    lines += ["", *table(rows, "<>"), "", f"Sigma is worth {worth:.3g} degrees of freedom."]
    if any(math.isinf(limits.sd_between_baselines) for _, limits in shifts):
        lines.append(
            "Note: none means that the average does not exist: a few very wide sets of limits hardly ever "
            "signal, and they carry it. Read the shares above."
        )
    return "\n".join(lines)


def _setting(kind: str, design: Mapping[str, Any], wanted: float | None) -> str:
    """Name the chart and what sets it."""
    words = {
        "limits": "limits at {factor:.5g} sigma of points of {n}",
        "rules": "rules {rules}",
        "ewma": "ewma, weight {weight:g}, width {width:.5g}",
        "cusum": "cusum, reference {reference:g}, decision {decision:.5g}, sides {sides}",
        "mewma": "mewma of {figures} figures, weight {weight:g}, limit {limit:.5g}",
    }[kind].format(**design)
    if design.get("time_varying"):
        words += ", limits that open up"
    if design.get("fast_start"):
        words += ", fast start"
    if design.get("spread", 1.0) != 1.0:
        words += f", true spread {design['spread']:g} times the assumed one"
    return words if wanted is None else f"{words}: found for {_points(wanted)} points"


def _points(count: float) -> str:
    """Write a number of points: a decimal while small, thousands set apart, none when it does not exist."""
    if math.isinf(count):
        return "none"
    if isinstance(count, int):
        return f"{count:,}"
    return f"{count:.2f}" if count < 10 else f"{count:.1f}" if count < 1000 else f"{count:,.0f}"


def _length(count: float) -> str:
    """Write a run length that a share of baselines stays under."""
    return "over 1e14" if math.isinf(count) else _points(count)
