"""Findings in words a technician uses: what, since when, how much, coincides with, next."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING

from qc.intervals import interval_words
from qc.plan import Characteristic
from qc.states import KEPT, NO_LIMITS, NOT_JUDGED, NOT_KEPT, NOT_PROVEN, NOTHING_MEASURED, TOO_FEW
from qc.watch.results import LEARNING, Forecast, Point, Scatter, SeriesVerdict, SignalResult
from qc.words import (
    count_words,
    day_words,
    is_plural,
    listed,
    pieces_words,
    plain_words,
    quantity_words,
    unit_words,
    whole_words,
)

if TYPE_CHECKING:
    from qc.watch.series import NewTarget

LIMITS_WORDS = {"proven": KEPT, "unproven": NOT_PROVEN, "no": NOT_KEPT}
STILL_MOVING = "It is still climbing or falling: an index would describe nothing that lasts."
NOTHING_EXPLAINS = "Nothing recorded explains it."
SAME_GAUGE = "the same gauge"
"""Stands for "gauge" among what did not change where no good check is on record since: it may be wrong."""

# with either sign: sentences kept by earlier versions have a hyphen for a minus
INTERVAL = re.compile(r" \([−-]?[\d.]+ to [−-]?[\d.]+\)")
"""The interval of a size, as it stands in a sentence."""

DAYS_OF_A_WEEK = 7
LEAST_FOR_INDEX = 20
"""With fewer pieces `qc.stats.capability` withholds the index; here only to say why, without loading it."""
_LEARNED = re.compile(r" \(learned since [^()]*\)")


def signal_sentence(
    characteristic: Characteristic,
    family: str,
    kind: str,
    side: str,
    size: float | None,
    serial: str,
    day: date,
    today: date | None = None,
    pace: str = "",
    ends: tuple[float | None, float | None] = (None, None),
) -> str:
    """Say what a signal found, in one sentence, with the interval of its size (`ends`) where one is known.

    A trend is told with its pace, as `pace_words` gives it.

    Examples
    --------
    >>> wrap = Characteristic(id="wrap_f", name="F wrap length", unit="mm",
    ...                       words={"noun": "F wraps", "above": "long", "below": "short"})
    >>> signal_sentence(wrap, "tenor", "shift", "above", 22.9, "A-0418", date(2026, 10, 9))
    'F wraps (tenor family) have come out 23 mm long since A-0418 (9 Oct).'
    >>> signal_sentence(wrap, "all", "shift", "above", 22.9, "A-0418", date(2026, 10, 9), ends=(19.6, 26.2))
    'F wraps have come out 23 mm long (20 to 26) since A-0418 (9 Oct).'
    """
    named = characteristic.words.get("noun")
    noun = named or characteristic.name
    have = "have" if is_plural(noun) else "has"
    subject = noun[:1].upper() + noun[1:]
    if family != "all":
        subject += f" ({family})" if characteristic.pool == "model" else f" ({family} family)"
    way = characteristic.words.get("above" if side == "above" else "below", _plain_side(side))
    since = f"since {serial} ({day_words(day, today)})"
    much, between = _much(size, ends, characteristic.unit)
    if kind == "single":
        return f"{subject}: {serial} ({day_words(day, today)}) stands apart from the rest, {much}{way}."
    if kind == "spread":
        more = (size or 0.0) > 0 if side == "both" else side == "above"
        return f"{subject} {have} scattered {'more' if more else 'less'} {since}."
    if kind == "trend":
        return f"{subject} {have} crept {much}{way}{between} {since}{pace and f': {pace}'}."
    if kind == "count":
        often = f"{'more' if side == 'above' else 'less'} often {since}"
        if characteristic.kind == "pass-fail" and not named:  # the name says what is asked, not what is wrong
            return f"{subject} {have} failed {often}."
        return f"{subject} {have} come {often}."
    return f"{subject} {have} come out {much}{way}{between} {since}."


def scatter_notes(scatter: Scatter) -> tuple[str, ...]:
    """Return in short what a reader of all series must know of one: at most two sentences, none for most.

    That no single odd piece is told, and that pieces hang together. How that was learned stands on the page
    of the series, so that series of one kind are told alike.

    Examples
    --------
    >>> said = "Readings of this figure lean (learned since 3 Aug from 42 pieces): told together."
    >>> scatter_notes(Scatter("auto", {}, None, "", False, None, None, said))
    ('Readings of this figure lean: told together.',)
    """
    shape, hang = scatter.sentence, ""
    if scatter.counts_as is not None:
        shape, _, hang = scatter.sentence.rpartition(". ")
        shape = f"{shape}." if shape else ""
    short = "" if scatter.tells_single else _LEARNED.sub("", shape)
    return tuple(filter(None, (short, hang)))


def without_interval(sentence: str) -> str:
    """Return the sentence of a finding without its interval, which narrows a little with every piece.

    Examples
    --------
    >>> without_interval("F wraps have come out 23 mm long (20 to 26) since A-0418 (9 Oct).")
    'F wraps have come out 23 mm long since A-0418 (9 Oct).'
    """
    return INTERVAL.sub("", sentence)


def _much(size: float | None, ends: tuple[float | None, float | None], unit: str) -> tuple[str, str]:
    """Return the size with its unit, and its interval in brackets, both with as many places."""
    if size is None:
        return "", ""
    low, high = ends
    if low is None or high is None:
        return f"{quantity_words(abs(size), unit)} ", ""
    sign = -1.0 if size < 0 else 1.0
    much, bracket, between = interval_words(sign * size, sign * low, sign * high, unit, sure="").partition(
        " ("
    )
    return f"{much} ", bracket + between


def pace_words(size: float | None, pieces: int, days: int, unit: str) -> str:
    """Say how fast a trend goes, by the piece and, where it has lasted a week, by the week.

    Examples
    --------
    >>> pace_words(0.012, 30, 28, "mm"), pace_words(-6.0, 12, 3, "cent")
    ('0.4 µm a piece, about 3.0 µm a week', '0.5 cents a piece')
    """
    if size is None or pieces < 1:
        return ""
    own = f"{quantity_words(abs(size) / pieces, unit)} a piece"
    return (
        own if days < DAYS_OF_A_WEEK else f"{own}, about {quantity_words(7 * abs(size) / days, unit)} a week"
    )


def moved_words(signal: SignalResult, kind: str) -> str:
    """Say in a few words what moved, for one line of a list; `kind` is that of the figure.

    A change of the level is told by its size alone; any other one by what it is.
    """
    more = (signal.size or 0.0) > 0 if signal.side == "both" else signal.side == "above"
    if signal.kind == "spread":
        return f"scatters {'more' if more else 'less'}"
    if kind == "pass-fail":
        return f"fails {'more' if more else 'less'} often"
    if signal.size is None:
        return ""
    if kind == "count":
        return f"{quantity_words(abs(signal.size), signal.unit)} a piece {'more' if more else 'fewer'}"
    much = quantity_words(signal.size, signal.unit)
    return f"{much}, {'climbing' if more else 'falling'}," if signal.kind == "trend" else much


def not_kept_words(verdict: SeriesVerdict) -> str:
    """Say that a new level stays, as somebody said, and that the limits are not kept there; else nothing."""
    found = verdict.not_kept_since
    if found is None:
        return ""
    since = f"{found.serial} ({day_words(found.day, verdict.points[-1].day)})"
    return f"{verdict.title}: the new level stays, limits not kept since {since}."


def new_target_words(change: NewTarget, unit: str, today: date | None = None, models: str = "") -> str:
    """Say that the plan asks for another figure, and whether the pieces went along.

    Examples
    --------
    >>> from qc.watch.series import NewTarget
    >>> moved = NewTarget(("tenor",), date(2026, 11, 6), old=0.38, new=0.355, met=False)
    >>> new_target_words(moved, "mm")
    'Since 6 Nov the target is 0.355 mm (0.38 mm before): the pieces have stayed as they were.'
    """
    which = f"of {models} " if models else ""
    went = (
        "the pieces went along, and each is shown by its distance from the target of its day"
        if change.met
        else "the pieces have stayed as they were"
    )
    return (
        f"Since {day_words(change.since, today)} the target {which}is {plain_words(change.new)} "
        f"{unit_words(unit)} ({plain_words(change.old)} {unit_words(unit)} before): {went}."
    )


def settled_words(verdict: SeriesVerdict, today: date | None = None) -> str:
    """Say that a series settled and nobody has answered; empty for one that did not."""
    if verdict.settled_since is None:
        return ""
    what = "scatter" if verdict.unanswered is not None and verdict.unanswered.kind == "spread" else "level"
    return f"settled at a new {what} since {day_words(verdict.settled_since, today)}, nobody has said why"


def forecast_words(forecast: Forecast, today: date) -> str:
    """Say where a tool is going, and whether its day has passed without the draws that were to come."""
    left, day, last = forecast.draws_left, forecast.change_by_day, forecast.last_day
    idle = "" if left is None or day is None or last is None else idle_words(day, last, left, today)
    return f"{forecast.sentence} {idle}" if idle else forecast.sentence


def idle_words(day: date, last: date, left: float, today: date) -> str:
    """Say that the day to change a tool by has passed with draws left; empty where it has not.

    Examples
    --------
    >>> idle_words(date(2026, 10, 6), date(2026, 9, 11), 30, date(2026, 10, 9))
    'That day has passed with 30 draws left: nothing was drawn on it since Fri 11 Sep.'
    >>> idle_words(date(2026, 10, 6), date(2026, 9, 11), 30, date(2026, 10, 6))
    ''
    """
    if left <= 0 or day >= today:
        return ""
    draws = count_words(round(left), "draw")
    since = f"{last:%a} {day_words(last, today)}"
    return f"That day has passed with {draws} left: nothing was drawn on it since {since}."


def because_sentence(
    suspects: Sequence[str],
    unchanged: Sequence[str],
    pieces: int,
    back: str = "",
    left_open: str = "",
    *,
    over: bool = True,
) -> str:
    """Say what a signal coincides with and what did not change.

    `back` is the piece since which it is over, or, where that is not `over`, the first one after its mend.
    `left_open` is what the record cannot tell, in a sentence: of the suspects, or whether there is one.

    Examples
    --------
    >>> because_sentence(["bending mandrel M-7, fitted 8 Oct"], ["person", "gauge"], 11)
    'Coincides with bending mandrel M-7, fitted 8 Oct. 11 pieces since; person and gauge did not change.'
    """
    first = f"Coincides with {suspects[0]}." if suspects else left_open or NOTHING_EXPLAINS
    if suspects and left_open:
        first += f" {left_open[:1].upper()}{left_open[1:]}"
    count = f"{pieces_words(pieces)} since"
    if back and not over:
        count = f"{pieces_words(pieces)} until the mend, {back}"
    elif back:
        count = f"It lasted {pieces_words(pieces)} and is over since {back}"
    rest = f"; {unchanged_words(unchanged)}" if unchanged else ""
    return f"{first} {count}{rest}."


def unchanged_words(unchanged: Sequence[str]) -> str:
    """Say what did not change; of a gauge that nobody checked since, only that it is the same one.

    Examples
    --------
    >>> unchanged_words(["person", "the same gauge"])
    'person did not change; the same gauge, without a good check on record since'
    """
    rest = [name for name in unchanged if name != SAME_GAUGE]
    said = [f"{listed(rest)} did not change"] if rest else []
    return "; ".join(
        [*said, *([f"{SAME_GAUGE}, without a good check on record since"] if SAME_GAUGE in unchanged else [])]
    )


def is_few(verdict: SeriesVerdict) -> bool:
    """Return whether the answer about the limits is open only because the pieces are too few."""
    withheld = verdict.capable == "unproven" and verdict.ppk is None and verdict.ppk_reason != STILL_MOVING
    return withheld and verdict.rests_on < LEAST_FOR_INDEX


def limits_words(verdict: SeriesVerdict) -> str:
    """Say how a series stands to its limits, by one of the names of `qc.states.LIMITS`."""
    if not verdict.pieces:
        return NOTHING_MEASURED
    if verdict.lower is None and verdict.upper is None:
        return NO_LIMITS
    if is_few(verdict):
        return TOO_FEW
    if not verdict.capable:
        return TOO_FEW if verdict.kind == "measured" else NOT_JUDGED
    return LIMITS_WORDS[verdict.capable]


def behaviour_words(verdict: SeriesVerdict) -> str:
    """Say how a series behaves: its state, of one that learns with the pieces it has of those it needs."""
    told = f", {verdict.pieces} of {LEARNING} pieces" if verdict.behaviour == "learning" else ""
    return f"{verdict.behaviour}{told}"


def rate_words(rate: float) -> str:
    """Say a chance per piece as a bench would: ``once in 260 pieces``.

    Examples
    --------
    >>> rate_words(0.00383)
    'once in 260 pieces'
    """
    return f"once in {whole_words(1 / rate)} pieces" if rate > 0 else "never"


def _plain_side(side: str) -> str:
    return {"above": "higher", "below": "lower"}.get(side, "apart")


def pace_of(points: Sequence[Point], signal: SignalResult) -> str:
    """Say how fast a trend goes, by the pieces it has lasted for; of anything else nothing."""
    if signal.kind != "trend":
        return ""
    own = points[signal.start - 1 : None if signal.ended is None else signal.ended - 1]
    pieces = sum(not p.left_out for p in own)
    return pace_words(signal.size, pieces, (own[-1].day - signal.start_day).days, signal.unit)
