"""What a month's figures stand beside: the month before and the same month a year ago, as they were told.

A closed month stays as its report has it, also where the next one shows it beside its own: a card that came
late is told there by itself. An open month is counted anew.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date

from qc.errors import QcError
from qc.jobs.monthly.stored import stored_report
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.report.month import Rolled, Yield


@dataclass(frozen=True, slots=True)
class AsClosed:
    """The figures of a closed month that another month shows.

    Attributes
    ----------
    yields : mapping of str to (int, int)
        Of each stage by its name, pieces that passed and pieces that came.
    rolled : (float, float, float) or None
        Yield of all stages in a row with its interval; None where no piece came to any.
    shipped : int
        Instruments that left.
    """

    yields: Mapping[str, tuple[int, int]]
    rolled: tuple[float, float, float] | None
    shipped: int


def as_closed(workshop: Workshop, first: date) -> AsClosed | None:
    """Return the figures of the month that begins on a day as they were closed.

    None where it is open, or where its stored answer cannot be had: `qc verify` names a file that is lost.
    """
    try:
        stored = stored_report(workshop, f"{first:%Y-%m}")
    except QcError:
        return None
    return None if stored is None else _figures(stored[0])


def _figures(answer: JsonObject) -> AsClosed | None:
    """Take them out of the answer of the command; None of one that an earlier program wrote without them."""
    whole = answer.get("rolled") or {}
    share, interval = whole.get("share"), whole.get("interval")
    if "first_pass" not in answer or "shipped" not in answer:
        return None
    return AsClosed(
        {one["stage"]: (one["passed"], one["of"]) for one in answer["first_pass"]},
        (share, *interval) if share is not None and interval else None,
        answer["shipped"],
    )


def yields_beside(
    yields: tuple[Yield, ...], before: AsClosed | None, year_ago: AsClosed | None
) -> tuple[Yield, ...]:
    """Put the yields of closed months in the place of those that were counted anew.

    A stage that bears another name since stays as it was counted.
    """
    found = yields
    if before is not None:
        found = tuple(replace(y, before=before.yields.get(y.stage, y.before)) for y in found)
    if year_ago is not None:
        found = tuple(replace(y, year_ago=year_ago.yields.get(y.stage, y.year_ago)) for y in found)
    return found


def rolled_beside(whole: Rolled | None, before: AsClosed | None, year_ago: AsClosed | None) -> Rolled | None:
    """Put the yields of all stages of closed months in the place of those that were counted anew."""
    if whole is None:
        return None
    return replace(
        whole,
        before=whole.before if before is None else before.rolled,
        year_ago=whole.year_ago if year_ago is None else year_ago.rolled,
    )
