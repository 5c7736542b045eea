"""Rework by cause, yields of the stages and what goes with the final results, in words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date

from qc.report.terminal.columns import table
from qc.shares import adding_up, between_words, percent_words
from qc.stats import RolledYield
from qc.watch import FEW, SCREENED_BY, ReworkCause, ScreenedResult, StageYield, summed
from qc.words import count_words, dated_words, pieces_words

COUNTS = (
    "A piece passes a stage at the first go if nothing of it was reworked there, nothing was outside its "
    "limits, and no verdict failed. Intervals: 95 %, exact (Clopper and Pearson); of the rolled yield by "
    "Lindstrom and Madden, on the pieces of the smallest stage."
)

Hour = tuple[float, str]
"""What an hour of rework costs, and in what."""


def rework_text(
    first: date,
    last: date,
    causes: Sequence[ReworkCause],
    yields: Sequence[StageYield],
    whole: RolledYield | None,
    hour: Hour | None = None,
) -> str:
    """Say what was reworked in a stretch of days, and how the stages passed at the first go."""
    days = f"{dated_words(first)} to {dated_words(last)}"
    lines = [f"{days}: {_head(causes, hour)}", *_causes(causes, hour)]
    lines += ["", "First-pass yield:" if yields else "First-pass yield: no piece came to any stage."]
    lines += table([_yield_row(one) for one in yields], "<>><<")
    if whole is not None:
        rolled = f"{percent_words(whole.share)} ({between_words(*whole.interval)})"
        said = f"Through {count_words(whole.stages, 'stage')} without any of it: {rolled}"
        lines += ["", f"{said}, on {pieces_words(whole.least)} at the smallest.{_few(whole.least)}"]
        lines += ["", COUNTS]
    return "\n".join(lines)


def yield_words(one: StageYield) -> tuple[str, str, str]:
    """Return a yield as share, interval and count: ``92 %``, ``64 to 100 %``, ``12 of 13``."""
    found = one.found
    return percent_words(found.share), between_words(*found.interval), f"{one.passed} of {one.of}"


def cost_words(hours: float, hour: Hour | None) -> str:
    """Write what so many hours cost in round figures, empty without a rate.

    Examples
    --------
    >>> cost_words(5.5, (55.0, "EUR")), cost_words(5.5, None)
    ('303 EUR', '')
    """
    return "" if hour is None else f"{adding_up([hours * hour[0]])[0]} {hour[1]}".rstrip()


def upstream_text(as_of: date, results: Sequence[ScreenedResult]) -> str:
    """Say of each final result which earlier figures go with it, and by what method."""
    lines = [f"{dated_words(as_of)}: what goes with the final results."]
    for one in results:
        lines += ["", f"{one.result.title}, {pieces_words(one.pieces)}:"]
        lines.append(f"  {one.sentence}")
        if one.looked_at:
            names = ", ".join(figure.title for figure in one.looked_at)
            lines.append(f"  Looked at: {names}.")
        if one.too_few and one.looked_at:
            names = ", ".join(figure.title for figure in one.too_few)
            lines.append(f"  Too few pieces: {names}.")
    return "\n".join([*lines, "", SCREENED_BY])


def _head(causes: Sequence[ReworkCause], hour: Hour | None) -> str:
    if not causes:
        return "no rework."
    hours = summed([one.hours for one in causes])
    cost = f", {cost_words(hours, hour)} at {hour[0]:g} {hour[1]} an hour".replace("  ", " ") if hour else ""
    return f"{adding_up([hours], 2)[0]} h of rework from {count_words(len(causes), 'cause')}{cost}."


def _causes(causes: Sequence[ReworkCause], hour: Hour | None) -> Iterator[str]:
    """Set the causes in columns, most hours first; what is printed adds up."""
    if not causes:
        return
    yield ""
    hours = adding_up([one.hours for one in causes], 2)
    shares = adding_up([100 * one.share for one in causes])
    so_far = 0
    lines: list[tuple[str, ...]] = []
    for one, spent, share in zip(causes, hours, shares, strict=True):
        so_far += int(share)
        lines.append((one.name, f"{spent} h", f"{share} %", f"{so_far} %", pieces_words(one.pieces)))
    head = ("", "hours", "share", "with those above", "")
    if hour:
        costs = adding_up([one.hours * hour[0] for one in causes])
        lines = [(*line, f"{cost} {hour[1]}".rstrip()) for line, cost in zip(lines, costs, strict=True)]
    yield from table([head, *lines], "<>>>>>")


def _yield_row(one: StageYield) -> tuple[str, ...]:
    share, between, of = yield_words(one)
    few = ("too few to tell",) if one.few else ()
    return (one.name, of, share, f"({between})", *few)


def _few(pieces: int) -> str:
    return f" Fewer than {FEW} pieces tell little." if pieces < FEW else ""
