"""What a lead decided about a series: its settled state frozen, pieces left out; both can be undone.

Decisions are kept in order and never changed; what stands on a day is what they add up to.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date

from qc.sayings import Said, What
from qc.watch.mends import Mend
from qc.watch.results import Point
from qc.words import day_words

FROZEN, LEFT_OUT = "Settled state frozen:", "Left out of judging:"
DECIDED = (FROZEN, LEFT_OUT)
"""How the notes begin that tell a lead's decisions."""


@dataclass(frozen=True, slots=True)
class Span:
    """Pieces from one serial to another, both included, with who decided about them, when and why."""

    first: str
    last: str
    who: str = ""
    day: date | None = None
    why: str = ""

    def ordinals(self, points: Sequence[Point]) -> tuple[int, int] | None:
        """Return the first and last ordinal among these points; None where neither end is among them.

        An end that lies outside the pieces read stands for the nearest of them.
        """
        place = {p.serial: p.ordinal for p in points}
        if self.first not in place and self.last not in place:
            return None
        first, last = place.get(self.first, 1), place.get(self.last, len(points))
        return min(first, last), max(first, last)

    def sentence(self, what: str) -> str:
        """Say the decision: what, which pieces, by whom, when and why."""
        by = f" by {self.who}" if self.who else ""
        on = f" on {day_words(self.day)} {self.day.year}" if self.day else ""
        return f"{what} {self.first} to {self.last}{by}{on}{f': {self.why}' if self.why else ''}."


@dataclass(frozen=True, slots=True)
class Decisions:
    """What stands for one series on one day.

    Attributes
    ----------
    baseline : Span or None
        The frozen settled state.
    left_out : tuple of Span
        Stretches that are not representative.
    mends : tuple of Mend
        Causes that were mended, by the signals that people closed.
    """

    baseline: Span | None = None
    left_out: tuple[Span, ...] = ()
    mends: tuple[Mend, ...] = ()


def standing(said: Iterable[Said], today: date | None = None) -> dict[str, Decisions]:
    """Add up decisions, oldest first.

    Parameters
    ----------
    said : iterable of Said
        About series, their moments in the zone whose days count.
    today : date, optional
        Later decisions do not count.

    Returns
    -------
    dict of str to Decisions
        By series; a series of which nothing stands is absent.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> when = datetime(2026, 5, 4, 16, tzinfo=UTC)
    >>> one = Said(What.FREEZE, "IS", "new jig", first="S-1", last="S-9", id=1, about="a/b/all", when=when)
    >>> standing([one])["a/b/all"].baseline.last
    'S-9'
    """
    found: dict[str, Decisions] = {}
    for one in said:
        day = one.when.date()
        if today is not None and day > today:
            continue
        span = Span(one.first, one.last, one.who, day, one.text)
        found[one.about] = _after(found.get(one.about, Decisions()), one.what, span)
    return {series: one for series, one in found.items() if one != Decisions()}


def without(points: Sequence[Point], spans: Sequence[Span]) -> tuple[Point, ...]:
    """Mark the points that were left out; the others come back as they are."""
    apart: set[int] = set()
    for span in spans:
        ends = span.ordinals(points)
        if ends is not None:
            apart.update(range(ends[0], ends[1] + 1))
    return tuple(replace(p, left_out=True) if p.ordinal in apart else p for p in points)


def decision_notes(decisions: Decisions, points: Sequence[Point], use: str = "") -> tuple[str, ...]:
    """Say in sentences what a lead decided about a series.

    Parameters
    ----------
    decisions : Decisions
        What stands.
    points : sequence of Point
        The series, in order of making.
    use : str
        What is to be known of how the frozen pieces are used.

    Returns
    -------
    tuple of str
        Empty where nothing was decided.
    """
    notes = []
    if decisions.baseline is not None:
        notes.append(decisions.baseline.sentence(FROZEN))
        if decisions.baseline.ordinals(points) is None:
            notes.append("None of the frozen pieces gives a point any more; judged without them.")
        elif use:
            notes.append(use)
    notes += [span.sentence(LEFT_OUT) for span in decisions.left_out]
    return tuple(notes)


def _after(before: Decisions, what: What, span: Span) -> Decisions:
    if what is What.FREEZE:
        return replace(before, baseline=span)
    if what is What.UNDO_FREEZE:
        return replace(before, baseline=None)
    kept = tuple(s for s in before.left_out if (s.first, s.last) != (span.first, span.last))
    return replace(before, left_out=(*kept, span) if what is What.LEAVE_OUT else kept)
