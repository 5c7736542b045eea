"""The checks of a study as a person reads them: what several of them mean, then one line for each."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from qc.intervals import digits_words
from qc.report.terminal.columns import Row, table
from qc.stats import Check, ChecksTogether, SeriesChecks
from qc.words import places_words

LETTERS = {
    "anderson_darling": "A2",
    "grubbs": "G",
    "runs": "z",
    "lag_1": "r",
    "mean_change": "t",
    "mean_change_from_target": "z",
    "anova": "F",
    "bartlett": "T",
    "levene": "W",
    "brown_forsythe": "W",
    "gauge_resolution": "steps",
}
"""What the statistic of each check is usually called."""


def checks_text(checks: Mapping[str, SeriesChecks], together: ChecksTogether | None) -> str:
    """Say what the checks found, by series; `together` is None for the one series without a name."""
    if together is not None:
        return "\n".join(_many(checks, together))
    return "\n".join(_single(next(iter(checks.values()))))


def _single(found: SeriesChecks) -> list[str]:
    lines = ["Checks", found.sentence, ""]
    rows: list[Row] = [("asks", "figure", "p", "answer")]
    rows += [_row(check) for check in found.checks if check.reason is None]
    if len(rows) > 1:
        lines += table(rows)
    if found["lag_1"].clear:
        lines += _allowing(found["lag_1"])
    reasons: dict[str, list[str]] = {}
    for check in found.checks:
        if check.reason is not None:
            reasons.setdefault(check.reason, []).append(_name(check.name))
    lines += [f"  not made ({', '.join(names)}): {reason}" for reason, names in reasons.items()]
    return lines + [f"Note: {sentence}." for sentence in found.notes]


def _row(check: Check) -> Row:
    figure = "" if check.statistic is None else f"{LETTERS[check.name]} {digits_words(check.statistic, 4)}"
    p_value = "" if check.p_value is None else _p(check.p_value)
    return (check.asks, figure, p_value, check.verdict or "")


def _allowing(check: Check) -> list[str]:
    """Say where limits lie that allow for neighbours alike."""
    figures: Mapping[str, Any] = check.figures
    limits, allowing = figures.get("limits"), figures.get("limits_allowing")
    if limits is None or allowing is None:
        return []
    return [
        f"  limits by the moving range: {digits_words(limits[0], 6)} to {digits_words(limits[1], 6)}; "
        f"allowing for neighbours: {digits_words(allowing[0], 6)} to {digits_words(allowing[1], 6)}"
    ]


def _many(checks: Mapping[str, SeriesChecks], together: ChecksTogether) -> list[str]:
    """Say how often each check is clear over many series: clear in one of them means nothing yet."""
    asks = {check.name: check.asks for one in checks.values() for check in one.checks}
    rows: list[Row] = [("asks", "clear in", "made in", "by chance in")]
    for name, count in together.made.items():
        if count:
            expected = together.by_chance.get(name)
            by_chance = "" if expected is None else digits_words(expected, 3)
            rows.append((asks[name], str(together.clear[name]), str(count), by_chance))
    lines = [
        f"Checks of {together.series} series",
        "Each check finds something by chance in one of twenty settled series: hold how often it is clear "
        "against how often chance alone makes it so.",
        "",
        *table(rows),
    ]
    if together.lag_1 is not None and together.lag_1_bound is not None:
        beyond = "beyond" if abs(together.lag_1) > together.lag_1_bound else "within"
        lines.append(
            "  likeness of neighbours over all series together (lag-1): "
            f"{places_words(together.lag_1, 3, signed=True)}, {beyond} the "
            f"{together.lag_1_bound:.3f} that chance allows"
        )
    return lines


def _p(p_value: float) -> str:
    return "< 0.0001" if p_value < 1e-4 else f"{p_value:.4f}"


def _name(name: str) -> str:
    return name.replace("_", "-")
