"""What follows for measuring: twice, every second piece, not at all, with a finer gauge, or as it is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from qc.watch.budget import DAYS_PER_MONTH
from qc.watch.words import DAYS_OF_A_WEEK
from qc.watch.worth.results import Advice, Delay, FigureWorth, GaugePart
from qc.words import count_words, listed, pieces_words, quantity_words

SOON = 5
"""Pieces within which a change that breaks a limit is to be told (house rule)."""

SOONER = 0.75
"""Measuring twice, or more finely, is advised where it leaves no more than such a share of the delay (house
rule)."""

FORETOLD = 0.8
"""From such a share of the variance on, its error taken off, a figure is said to be known without measuring
it (house rule)."""

WANDERS = 0.2
"""Where more courses than that are told without any change, the settled figures wander (house rule): twice
and more what the budget alone brings about in most series by the time a change is told."""

NOT_KEPT = (
    "More than one piece in twenty lies outside a limit as it is: no change is needed to break it. Measure "
    "every piece, and work on the process."
)


def advise(worth: FigureWorth) -> tuple[Advice, str]:
    """Return the advice for a series and the sentence that gives its figures.

    Where pieces lay outside, or a signal was raised that nobody called false, nothing is left out: measuring
    finds what it is there to find.
    """
    if worth.told is None:
        return ("too early" if worth.settled is None else "keep"), worth.not_simulated
    if worth.behaviour == "drifting":
        return "keep", f"It has moved: measure every piece until the signal is answered. {_now(worth)}"
    change = worth.change
    if change is not None and change.limit is not None and change.size == 0:
        return "keep", NOT_KEPT
    if worth.told_unchanged is not None and worth.told_unchanged > WANDERS:
        return "keep", (
            f"{_now(worth)} But so are {_percent(worth.told_unchanged)} of the courses in which nothing "
            "changes: its settled figures wander by themselves, and no delay can be relied on. Look for what "
            "wanders."
        )
    dropped = _droppable(worth)
    if dropped:
        return "drop", dropped
    second = worth.told_every_second
    if _may_thin(worth) and second is not None and second.pieces is not None and second.pieces <= SOON:
        saved = worth.cost.hours_a_month / 2
        return (
            "every second piece",
            f"{_now(worth)} Measured on every second piece only, {_after(second)}; that saves "
            f"{hours_words(saved)} a month. A piece that is not measured is not checked against its limits.",
        )
    if worth.told.pieces is not None and worth.told.pieces <= SOON:
        return "keep", f"{_now(worth)} {_why_not_thinner(worth)}".rstrip()
    return _sharper(worth)


def one_at_a_time(found: Sequence[FigureWorth]) -> list[FigureWorth]:
    """Advise to leave out one figure only of those that foretell each other, the first in order.

    Two figures that foretell each other may each be left out, but not both: then nothing foretells either.
    """
    dropped: list[FigureWorth] = []
    kept = []
    for worth in found:
        rests_on = next((one for one in dropped if _foretold_with(worth, one)), None)
        if worth.advice == "drop" and rests_on is not None:
            because = (
                f"It could be left out as well, but what foretells it is {rests_on.title}, which is to be "
                "left out first. Leave out one at a time, and ask again."
            )
            worth = replace(worth, advice="keep", because=because)
        elif worth.advice == "drop":
            dropped.append(worth)
        kept.append(worth)
    return kept


def _foretold_with(one: FigureWorth, other: FigureWorth) -> bool:
    """Say whether either of two figures is among those that foretell the other."""
    told = [() if worth.others is None else worth.others.figures for worth in (one, other)]
    return other.name in told[0] or one.name in told[1]


def _sharper(worth: FigureWorth) -> tuple[Advice, str]:
    """Advise on a change that is told late: what of the scatter is the gauge's can be lessened."""
    gauge, twice, exactly = worth.gauge, worth.told_twice, worth.told_exactly
    if gauge is not None and gauge.sd is not None and _better(twice, worth.told):
        more = worth.cost.hours_a_month
        return (
            "measure twice",
            f"{_now(worth)} With each reading taken twice, {_after(twice)}: {gauge_words(gauge)}. That costs "
            f"{hours_words(more)} more a month.",
        )
    if gauge is not None and _better(exactly, worth.told):
        what = "its steps" if gauge.sd is None or gauge.sd <= gauge.step_sd else "the gauge"
        makes = "make up" if what == "its steps" else "makes up"
        return (
            "finer gauge",
            f"{_now(worth)} By a gauge without scatter of its own, {_after(exactly)}: {what} {makes} "
            f"{_percent(gauge.share)} of the variance.",
        )
    return "keep", f"{_now(worth)} {_own_scatter(worth)}"


def _droppable(worth: FigureWorth) -> str:
    """Return why a figure need not be measured, empty where it has to be."""
    others, found = worth.others, worth.found
    if others is None or others.share - others.error < FORETOLD:
        return ""
    if found.outside or found.true or worth.cost.shared_with:
        return ""
    return (
        f"The other figures of the same piece ({listed(others.figures[:4])}"
        f"{' and more' if len(others.figures) > 4 else ''}) foretell {_percent(others.share)} of its "
        f"variance, and in a year it found nothing in {pieces_words(found.pieces)}. Left out, it saves "
        f"{hours_words(worth.cost.hours_a_month)} a month; its own limits are then no longer checked."
    )


def _may_thin(worth: FigureWorth) -> bool:
    """Say whether pieces may go unmeasured: limits proven, nothing outside or found, readings of its own."""
    return (
        worth.capable == "proven"
        and not worth.found.outside
        and not worth.found.true
        and not worth.cost.shared_with
    )


def _why_not_thinner(worth: FigureWorth) -> str:
    """Say why a figure should not be measured more seldom; empty where nothing speaks against it."""
    found = worth.found
    if found.outside:
        return (
            f"{count_words(found.outside, 'piece')} of {found.pieces} lay outside in a year: only measuring "
            "every piece finds those."
        )
    if found.true:
        return f"It found {count_words(found.true, 'change')} in a year: measure on."
    if worth.capable != "proven" and worth.change is not None and worth.change.limit is not None:
        return "Its limits are not proven: each piece has to be measured against them."
    if worth.cost.shared_with:
        return f"The same readings give {listed(worth.cost.shared_with)}: less of them would thin those, too."
    second = worth.told_every_second
    return f"Measured on every second piece only, {_after(second)}: too late." if second is not None else ""


def _own_scatter(worth: FigureWorth) -> str:
    """Say why nothing at the gauge would help."""
    gauge = worth.gauge
    if gauge is None:
        return "Counts grow surer with more pieces only."
    if gauge.sd is None:
        return (
            "How far the gauge itself scatters is not known (no `spread` in the plan, too few checks), so "
            "neither is whether reading twice would help: a gauge study tells it."
        )
    said = gauge_words(gauge)
    return f"{said[:1].upper()}{said[1:]}: reading twice would hardly help, the scatter is the pieces' own."


def _now(worth: FigureWorth) -> str:
    """Say what is told now, and when."""
    assert worth.told is not None
    return f"{change_words(worth)} {told_words(worth.told)}{_time_words(worth)}."


def change_words(worth: FigureWorth) -> str:
    """Say which change is meant, as the head of a sentence.

    Its size is in the unit of the figure, then in standard deviations of the settled figures (sigma).
    """
    change = worth.change
    assert change is not None
    if change.size_sigma is None:
        return "A doubled rate" if change.limit is None else "A rate that would break the limit"
    size = quantity_words(abs(change.size), worth.unit)
    if change.limit is None:
        return f"The plan has no limits for it; a change of {change.size_sigma:.0f} sigma ({size})"
    return f"A change that would break the limits ({size}, {change.size_sigma:.1f} sigma)"


def told_words(delay: Delay) -> str:
    """Say after how many pieces something is told.

    Examples
    --------
    >>> told_words(Delay(4, 3, 4, 400, 60)), told_words(Delay(None, None, None, 400, 60))
    ('is told after 4 pieces (3 to 4)', 'is mostly not told within 60 pieces')
    """
    if delay.pieces is None:
        return f"is mostly not told within {delay.length} pieces"
    return f"is told after {pieces_words(delay.pieces)}{error_words(delay)}"


def error_words(delay: Delay) -> str:
    """Write the error of a simulated number of pieces behind it, empty where the courses leave none.

    Examples
    --------
    >>> error_words(Delay(21, 18, 22, 400, 60)), error_words(Delay(2, 2, 2, 400, 60))
    (' (18 to 22)', '')
    >>> error_words(Delay(58, 51, None, 400, 60))
    ' (51 to over 60)'
    """
    if delay.low == delay.high:
        return ""
    most = f"over {delay.length}" if delay.high is None else str(delay.high)
    return f" ({delay.low} to {most})"


def gauge_words(gauge: GaugePart) -> str:
    """Say how much of the scatter is the gauge's, and by what that is known.

    Examples
    --------
    >>> gauge_words(GaugePart(0.5, 0.1, 0.25, by_checks=True))
    'the gauge makes up 25 % of the variance (by its checks on the master)'
    """
    by = " (by its checks on the master)" if gauge.by_checks else ""
    return f"the gauge makes up {_percent(gauge.share)} of the variance{by}"


def _time_words(worth: FigureWorth) -> str:
    """Say how long these pieces take at the present pace, where that is more than a day."""
    pace = worth.cost.pieces_a_month
    if worth.told is None or worth.told.pieces is None or not pace > 0:
        return ""
    days = worth.told.pieces / pace * DAYS_PER_MONTH
    if days < 1:
        return ""
    if days < 2 * DAYS_OF_A_WEEK:
        return f", about {count_words(round(days), 'day')}"
    if days < 2 * DAYS_PER_MONTH:
        return f", about {round(days / DAYS_OF_A_WEEK)} weeks"
    return f", about {round(days / DAYS_PER_MONTH)} months"


def _after(delay: Delay | None) -> str:
    assert delay is not None
    if delay.pieces is None:
        return f"it is mostly not told within {delay.length}"
    return f"it is told after {delay.pieces}{error_words(delay)}"


def _better(found: Delay | None, now: Delay | None) -> bool:
    if found is None or found.pieces is None or now is None:
        return False
    return now.pieces is None or found.pieces <= SOONER * now.pieces


def _percent(share: float | None) -> str:
    return "an unknown part" if share is None else f"{100 * share:.0f} %"


def hours_words(hours: float) -> str:
    """Write bench time: minutes below an hour.

    Examples
    --------
    >>> hours_words(0.4), hours_words(3.25)
    ('24 min', '3.2 h')
    """
    return f"{60 * hours:.0f} min" if hours < 1 else f"{hours:.1f} h"
