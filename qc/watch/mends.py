"""Causes that people have mended: the state before is the reference again, from which piece on.

A signal closed as mended splits its series. What was made under the cause, and what was in work while it was
mended, belongs to neither side; pieces from the first after the mend are compared with the state before.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date

from qc.sayings import CLOSINGS, MENDED, Said, What, outcome_of
from qc.watch.results import Point, SignalResult, Suspect
from qc.words import day_words, pieces_words

ON_A_CARD = {"batch", "tool", "person", "gauge"}
"""What a point of a series tells of its own reading."""

CONFIRMED_BY = 8
"""So many pieces after a mend have to speak before it is borne out; a change that begins among them is the
old one come back (house rule, as of a quiet return)."""


@dataclass(frozen=True, slots=True)
class Mend:
    """One closing that says that the cause is mended.

    Attributes
    ----------
    told : SignalResult
        The signal that was closed, as it was told last.
    number : int
        Of the closing, among all that was said.
    day : date
        Of the closing, in the plan's zone.
    first : str
        Serial of the first piece made after the mend; empty: the first one measured after the closing.
    known : frozenset of str
        Pieces measured on the day of the closing that were on record when it was said.
    """

    told: SignalResult
    number: int
    day: date
    first: str = ""
    known: frozenset[str] = frozenset()

    @property
    def root(self) -> str:
        """The piece at which the signal was raised first: it goes by that, however often it opens anew."""
        return self.told.reopens or self.told.raised_serial

    def place_among(self, points: Sequence[Point]) -> int:
        """Return the place (from 0) of the first piece after the mend; their number where none is there yet.

        Where that piece was named and has no figure yet, every piece so far is one that was in work.
        """
        after = (place for place, point in enumerate(points) if self._is_after(point))
        return next(after, len(points))

    def _is_after(self, point: Point) -> bool:
        if self.first:
            return point.serial == self.first
        return point.day > self.day or (point.day == self.day and point.serial not in self.known)


def standing_mends(said: Iterable[Said]) -> list[Said]:
    """Return the closings as mended that stand after what was said of a signal, oldest first.

    A person who reopens a signal takes its last closing back; that it opened anew by the pieces does not.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> when = datetime(2026, 5, 4, tzinfo=UTC)
    >>> closing = Said(What.CLOSED, "IS", cause="jig", outcome="mended", id=1, about="ab12", when=when)
    >>> again = Said(What.REOPENED, "IS", id=2, about="ab12", when=when)
    >>> [one.id for one in standing_mends([closing])], standing_mends([closing, again])
    ([1], [])
    """
    found: list[Said] = []
    last: Said | None = None
    for one in said:
        if one.what in CLOSINGS:
            last = one
            if outcome_of(one) == MENDED:
                found.append(one)
        elif one.what is What.REOPENED and last is not None and found and found[-1] is last:
            found.pop()
    return found


def begun_before(signal: SignalResult, mends: Sequence[Mend], points: Sequence[Point]) -> SignalResult:
    """Say of a finding that opens an earlier one again where that began, and count the pieces made since.

    Its own start is the first piece after the mend from which the change shows again; its cause is as old as
    the first finding, and so is what that coincided with. Pieces that were as before in between do not count.
    """
    own = [mend for mend in mends if mend.root == signal.reopens]
    if not own:
        return signal
    first = min(own, key=lambda mend: mend.number).told
    begin = next((p.ordinal for p in points if p.serial == first.since_serial), signal.start)
    last = points[-1].ordinal if signal.ended is None else signal.ended - 1
    between, suspects = range(0), signal.suspects or first.suspects
    if still_there(signal, mends, points):
        suspects = _explaining(suspects, first, points, _mended_at(signal, mends, points))
        suspects = suspects or _explaining(first.suspects, first, points, _mended_at(signal, mends, points))
    else:
        between = range(_mended_at(signal, mends, points), signal.start)
    under = [p for p in points if begin <= p.ordinal <= last and p.ordinal not in between and not p.left_out]
    return replace(
        signal,
        began_serial=first.since_serial,
        began_day=first.since_day,
        pieces=len(under),
        suspects=suspects,
    )


def _explaining(
    suspects: tuple[Suspect, ...], first: SignalResult, points: Sequence[Point], mended: int
) -> tuple[Suspect, ...]:
    """Leave out what cannot explain a change that was there before a mend and on the first piece after it.

    That is what began after the change did, and what was no longer in use on that piece.
    """
    places = {point.serial: point.ordinal for point in reversed(points)}
    latest = places.get(first.since_serial, 1) + first.start_high - first.start

    def went_on_without(one: Suspect) -> bool:
        words = [getattr(point, one.kind).split(" + ") for point in points] if one.kind in ON_A_CARD else []
        here = any(one.name in word for word in words)  # else it stands on another card: not known here
        return here and words[mended - 1] != [""] and one.name not in words[mended - 1]

    return tuple(s for s in suspects if places.get(s.serial, 1) <= latest and not went_on_without(s))


def still_there(signal: SignalResult, mends: Sequence[Mend], points: Sequence[Point]) -> bool:
    """Say whether a change that opens again may have been there on the very first piece after the mend."""
    return signal.start_low <= _mended_at(signal, mends, points)


def after_mend(sentence: str, signal: SignalResult, mends: Sequence[Mend], points: Sequence[Point]) -> str:
    """Add to the sentence of a finding that opens again when it was mended, and that it is there after it."""
    day = next((mend.day for mend in mends if mend.number == signal.closing), None)
    if day is None or signal.kind == "single":
        return sentence
    again = f"back since {signal.start_serial} ({day_words(signal.start_day, points[-1].day)})"
    after = "still there after it" if still_there(signal, mends, points) else again
    return f"{sentence.removesuffix('.')}; mended on {day_words(day, points[-1].day)}, and {after}."


def _mended_at(signal: SignalResult, mends: Sequence[Mend], points: Sequence[Point]) -> int:
    """Return the ordinal of the first piece after the mend that a finding gives the lie to."""
    own = next((mend for mend in mends if mend.number == signal.closing), None)
    return signal.start if own is None else own.place_among(points) + 1


def opened_again(signal: SignalResult, mends: Sequence[Mend], today: date) -> str:
    """Say of a finding that gives the lie to a mend that the signal is open again, and why.

    Examples
    --------
    >>> day = date(2026, 5, 4)
    >>> shift = SignalResult(
    ...     "shift", "above", 34, "S-034", day, 33, "S-033", day, 32, 33, 2.0, 1.0, 3.0, 2.0, "mm", 0.004, 2,
    ...     reopens="S-020", closing=7,
    ... )
    >>> opened_again(shift, [Mend(shift, 7, date(2026, 5, 1))], day)
    'Open again: closed as mended on 1 May, but S-034 shows it once more.'
    """
    when = next((f" on {day_words(m.day, today)}" for m in mends if m.number == signal.closing), "")
    return f"Open again: closed as mended{when}, but {signal.raised_serial} shows it once more."


def mend_words(signal: SignalResult, points: Sequence[Point], *, first: str = "") -> str:
    """Say how far a mend is borne out by the pieces made since; empty of a signal that was not mended.

    `first` is the piece that was named as the first after it: until it comes in no other one counts.
    """
    if signal.mended is None:
        return ""
    since = [p for p in points if p.ordinal >= signal.mended and not p.left_out]
    if not since and first and all(point.serial != first for point in points):
        return (
            f"Mended from {first} on, of which there is no reading here yet: until there is, the mend is not "
            "borne out by any piece, and none that shows the change again opens it anew."
        )
    if not since:
        return "Mended; no piece made after the mend is measured yet."
    head = f"Mended; {pieces_words(len(since))} since, from {since[0].serial} on"
    if signal.held:
        return f"{head}, as before the change: the mend is borne out by {pieces_words(len(since))}."
    if signal.held is False:
        return f"{head}: the mend did not hold."
    if len(since) < CONFIRMED_BY:
        return f"{head}, not yet borne out: {len(since)} of {CONFIRMED_BY} that have to be as before."
    return f"{head}: the change has not come back, but they are not as before either; it is not borne out."
