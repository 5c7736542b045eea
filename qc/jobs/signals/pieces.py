"""Pieces made under the cause of a signal: where each is, what to do with it, and what was done."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date

from qc.jobs.pieces import (
    TO_DECIDE,
    HoldRow,
    PieceDecided,
    departures,
    figures_outside,
    measured_since_mended,
    under_cause,
)
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.sayings import (
    CLOSED_STATES,
    MENDED,
    OUTCOME_WORDS,
    Said,
    last_closing,
    outcome_of,
    pieces_done,
    state_after,
    told_here,
)
from qc.watch import Point, SeriesVerdict, SignalResult
from qc.words import day_words

BEYOND = "beyond the limit"

TOGETHER = 3
"""So many pieces of which the same is asked stand under one sentence; chosen."""


@dataclass(frozen=True, slots=True)
class MadeUnder:
    """One piece made while the cause of a signal acted.

    Attributes
    ----------
    serial : str
        The piece.
    day : date
        When it was measured.
    inside : str
        Serial of the instrument it went into, empty otherwise.
    shipped : date or None
        When it, or its instrument, left.
    to_do : str
        What to do with it.
    done : Said or None
        What was done, by whom and when.
    asked : str
        Of a piece that left what is asked about it, without the day; several have it in common.
    released : PieceDecided or None
        Who let it go by name and reason from what this signal says of it; nothing more is asked then.
    """

    serial: str
    day: date
    inside: str
    shipped: date | None
    to_do: str
    done: Said | None = None
    asked: str = ""
    released: PieceDecided | None = None

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        told = self.done
        done = (
            {"who": told.who, "when": told.when.astimezone(UTC).isoformat(), "text": told.text}
            if told
            else None
        )
        return {
            "serial": self.serial,
            "day": self.day.isoformat(),
            "inside": self.inside or None,
            "shipped": self.shipped.isoformat() if self.shipped else None,
            "to_do": self.to_do,
            "done": done,
            "released": self.released.to_dict() if self.released else None,
        }

    def to_text(self) -> str:
        """Say it in a line."""
        if self.done is None:
            return f"{self.named}: {self.to_do}"
        text = f": {self.done.text}" if self.done.text else ""
        return f"{self.named}: {self.done.who}, {self.done.when.date().isoformat()}{text}"

    @property
    def named(self) -> str:
        """Its tick and its name."""
        part = f" in {self.inside}" if self.inside else ""
        return f"[{' ' if self.done is None else 'x'}] {self.serial}{part}"


def under_lines(pieces: Sequence[MadeUnder]) -> list[str]:
    """Say each piece in a line; what is asked of several that left is said once, above them."""
    open_ = [piece.asked for piece in pieces if piece.asked and piece.done is None]
    many = {asked for asked in open_ if open_.count(asked) >= TOGETHER}
    lines: list[str] = []
    told: set[str] = set()
    for piece in pieces:
        if piece.done is not None or piece.asked not in many:
            lines.append(piece.to_text())
        elif piece.asked not in told:
            told.add(piece.asked)
            same = [one for one in pieces if one.asked == piece.asked and one.done is None]
            lines.append(f"These {len(same)} left; of each: {piece.asked}")
            lines += [f"  {one.named}: {one.to_do.partition(';')[0]}" for one in same]
    return lines


def made_under(
    workshop: Workshop,
    verdict: SeriesVerdict,
    found: SignalResult,
    events: Sequence[Said],
    earlier: Sequence[SignalResult] = (),
) -> tuple[MadeUnder, ...]:
    """Return the pieces made since a change began, up to the first after its mend or until it was over.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    verdict : SeriesVerdict
        What is known of the series now.
    found : SignalResult
        One of its signals.
    events : sequence of Said
        What was said of the signal; says which pieces are dealt with.
    earlier : sequence of SignalResult
        Signals that stand in it now, as they were told last: what they held was made under it, too.
    """
    points = under_cause(found, earlier, verdict)
    serials = [point.serial for point in points]
    inside = {
        part: serial
        for part, serial in workshop.store.events("part", subjects=serials)
        .select("subject", "serial")
        .iter_rows()
        if part and serial
    }
    asked = sorted({*serials, *inside.values()})
    out = departures(workshop, asked)  # what came back since is here
    left = {serial: one.day for serial, one in out.items()}
    done = pieces_done(told_here(events, workshop.plan.workshop.time_zone))
    outside = _outside(workshop, verdict)
    again = measured_since_mended(workshop, verdict, points, events)
    let_go = _let_go(events)
    pieces = []
    for point in points:
        shipped = left.get(inside.get(point.serial, point.serial))
        own_again = again.get(point.serial)
        beyond = point.serial in outside
        to_do, asked_of = _to_do(
            point, verdict, shipped, workshop.today, outside=beyond, again=own_again, let_go=let_go
        )
        own, told = inside.get(point.serial, ""), done.get(point.serial)
        pieces.append(MadeUnder(point.serial, point.day, own, shipped, to_do, told, asked_of))
    return tuple(pieces)


def with_released(
    piece: MadeUnder, rows: Sequence[HoldRow], names: Collection[str], today: date
) -> MadeUnder:
    """Return a piece with what the lead decided about it: who was released is not asked about once more.

    Parameters
    ----------
    piece : MadeUnder
        A piece with which nobody has dealt.
    rows : sequence of HoldRow
        What stands on the list of pieces to hold for it and the figure of the signal.
    names : collection of str
        What the signal goes or went by.
    today : date
        The day that is asked about.
    """
    own = [row for row in rows if row.serial == piece.serial]
    under = [row for row in own if any(name in names for rests in row.rests_on for name in rests)]
    let_go = next((row.released for row in under if row.released and not row.by_answer), None)
    gone = f"left on {day_words(piece.shipped, today)}; " if piece.shipped else ""
    if let_go is not None:
        told = f"{gone}released by {_said_by(let_go, today)}."
        return replace(piece, to_do=told, asked="", released=let_go)
    limit = next((row.released for row in own if row.why == "limit" and row.released), None)
    if limit is None or piece.shipped or not piece.to_do.startswith(BEYOND):
        return piece
    told = f"{BEYOND}, released for that by {_said_by(limit, today)}; measure it again before it leaves."
    return replace(piece, to_do=told)


def _said_by(decided: PieceDecided, today: date) -> str:
    return f"{decided.who} on {day_words(decided.day, today)} ({decided.why})"


def _let_go(events: Sequence[Said]) -> str:
    """Return the words of the answer that asks nothing more of the pieces; empty for a mend."""
    closing = last_closing(events)
    if closing is None or state_after(events) not in CLOSED_STATES or outcome_of(closing) == MENDED:
        return ""
    return OUTCOME_WORDS[outcome_of(closing)]


def _outside(workshop: Workshop, verdict: SeriesVerdict) -> set[str]:
    """Return the pieces whose figure is outside by what decides in the plan: at its worst place, mostly."""
    own = verdict.key.stage, verdict.key.characteristic
    figures = figures_outside(workshop, keep=False)
    return {one.serial for one in figures if (one.stage, one.characteristic) == own and one.inside is False}


def _to_do(
    point: Point,
    verdict: SeriesVerdict,
    shipped: date | None,
    today: date,
    *,
    outside: bool,
    again: date | None = None,
    let_go: str = "",
) -> tuple[str, str]:
    """Say what to do with a piece, and of one that left what is asked about it without the day.

    `again` is the day on which it was measured once more after a mend, `let_go` the answer that asks nothing
    more of what lies inside the limits.
    """
    low, high = verdict.lower, verdict.upper
    # the newest day counts, where it was measured again
    beyond = outside or (again is None and verdict.is_outside(point))
    known = "; it is inside the limits on record" if low is not None or high is not None else ""
    if again is not None and not beyond:
        gone = f"; left on {day_words(shipped, today)}" if shipped is not None else ""
        return f"measured again on {day_words(again, today)}{known}{gone}.", ""
    if shipped is not None:
        gone = f"left on {day_words(shipped, today)}"
        if let_go and not beyond:
            return f"{gone}{known}; nothing more is asked of it: {let_go}.", ""
        how = "it has a figure beyond the limit" if beyond else known.removeprefix("; ")
        asked = f"{how}: {TO_DECIDE}, and tick it off." if how else f"{TO_DECIDE}, and tick it off."
        return f"{gone}; {asked}", asked
    if beyond:
        return f"{BEYOND}: keep it back until it is mended and measured again.", ""
    if let_go:
        return f"nothing more is asked of it{known}: {let_go}.", ""
    return "measure it again before it leaves.", ""
