"""Chart constants and limit factors as a person reads them: the first in a sentence, all in a table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from qc.report.terminal.columns import Row, table
from qc.stats import Factors


def chart_factors_text(rows: Sequence[Factors]) -> str:
    """Say the factors of some sample sizes, a factor a line."""
    first, plain = rows[0], [row.to_dict() for row in rows]
    lines: list[Row] = [("", *(f"n = {row.n}" for row in rows))]
    for name in first.to_dict():
        if name != "n":
            lines.append((name.replace("_", " "), *(f"{one[name]:.5f}" for one in plain)))
    said = (
        f"In samples of {first.n} the range is {first.d2:.4f} sigma on average (d2) and the sd "
        f"{first.c4:.4f} sigma (c4)."
    )
    return "\n".join([said, "", *table(lines, "<>")])


def limit_factors_text(found: Mapping[str, Any]) -> str:
    """Say limit factors by number of pieces; `found` is what `--json` prints of them."""
    sides, first, sure = found["sides"], found["factors"][0], f"{100 * found['confidence']:g} %"
    content = f"{100 * found['content']:g} %"
    where = "mean +- k sd" if sides == 2 else "mean + k sd"
    following = "the next piece" if found["future"] == 1 else f"the mean of the next {found['future']}"
    lines = [
        f"From {first['n']} pieces, {where} holds {content} of all pieces with {sure} confidence at "
        f"k = {first['tolerance']:.3f}; at k = {first['prediction']:.3f} it holds {following} with chance "
        f"{content}.",
        "",
    ]
    other = sides == 2 and found["rate"] != 1.0 - found["content"]  # else guaranteed is tolerance
    head = ["pieces", "tolerance", "prediction"]
    head += ["guaranteed"] if other else []
    head += [f"{found['k']:g} sd holds with"] if first["confidence_of"] is not None else []
    head += [f"printed ({'Howe' if sides == 2 else 'Natrella'})"] if found["known"] is None else []
    rows: list[Row] = [tuple(head)]
    for row in found["factors"]:
        cells = [str(row["n"]), f"{row['tolerance']:.4f}", f"{row['prediction']:.4f}"]
        cells += [f"{row['guaranteed']:.4f}"] if other else []
        cells += [f"{100 * row['confidence_of']:.1f} %"] if row["confidence_of"] is not None else []
        if found["known"] is None:
            cells.append("none" if row["approximate"] is None else f"{row['approximate']:.4f}")
        rows.append(tuple(cells))
    lines += table(rows, "<>")
    if sides == 2:
        name = "guaranteed" if other else "tolerance, read as limits of a chart"
        promise = f"false-alarm rate at most {100 * found['rate']:.3g} % with {sure} confidence"
        lines += ["", f"{name}: {promise}"]
    return "\n".join(lines)


def t2_limits_text(figures: int, rate: float, rows: Sequence[tuple[int, float, float]]) -> str:
    """Say the limits of T2 by number of points: within the baseline, and afterwards."""
    n, first, second = rows[0]
    lines: list[Row] = [("points", "in the baseline", "afterwards")]
    lines += [(str(n), f"{within:.4f}", f"{after:.4f}") for n, within, after in rows]
    said = (
        f"T2 of {figures} figures from {n} points: up to {first:.4g} within the baseline, up to "
        f"{second:.4g} afterwards, false-alarm rate {100 * rate:.3g} % a point."
    )
    return "\n".join([said, "", *table(lines, "<>")])
