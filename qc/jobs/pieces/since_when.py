"""Pieces of a signal of which "since ..." is not true, or does not look it, and what is said of them."""

from __future__ import annotations

import re
from collections.abc import Sequence

from qc.jobs.judging import SignalOfDay
from qc.jobs.workshop import Workshop
from qc.watch import Point, SeriesVerdict, kept_pieces
from qc.words import day_words


def since_words(workshop: Workshop, signal: SignalOfDay, verdict: SeriesVerdict) -> dict[str, str]:
    """Say of each piece of a signal of which its "since ..." leaves a doubt why it is among them.

    Later pieces move the beginning of a change, and its end; a piece that was held by what was told is held
    until the signal is answered. What it was told of stands there, since "since QH-1221" is not true of it.
    Of one with an earlier serial that was measured later it is true, and does not look it.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    signal : SignalOfDay
        A signal that holds pieces.
    verdict : SeriesVerdict
        What is known of its series.

    Returns
    -------
    dict
        Words by serial, which follow the signal's sentence; pieces that need none are not there.
    """
    kept = {p.ordinal: p for one in (signal.found, *signal.earlier) for p in kept_pieces(verdict, one)}
    told = [kept[ordinal] for ordinal in sorted(kept)]
    found, places = signal.found, {point.serial: point.ordinal for point in verdict.points}
    if found.kind == "single":
        left_out = [point for point in told if point.serial != found.raised_serial]
        return dict.fromkeys((point.serial for point in left_out), _told_of(workshop, told))
    since, back = found.since_serial, places.get(found.over_since, len(verdict.points) + 1)
    first = places.get(since, found.start)
    words = {}
    for point in told:
        if point.ordinal < first:
            words[point.serial] = (
                f" It was told of the pieces since {_dated(workshop, told[0])} before; those made before"
                f" {since} it holds by that until it is answered."
            )
        elif point.ordinal >= back:
            words[point.serial] = (
                f" What was made from {found.over_since} on it holds until it is answered: it was told of"
                " them before it was over."
            )
    by_day = (
        " It goes by the day of measuring, not by the serial: earlier serials that were measured on"
        f" {day_words(found.since_day, workshop.today)} or later are among them."
    )
    for point in verdict.points:
        if first <= point.ordinal < back and _is_earlier(point.serial, since):
            words[point.serial] = by_day
    return words


def _is_earlier(serial: str, other: str) -> bool:
    """Say whether a serial counts as earlier than another one of the same kind."""
    own, its = (re.fullmatch(r"(.*?)(\d+)", one) for one in (serial, other))
    return own is not None and its is not None and own[1] == its[1] and int(own[2]) < int(its[2])


def _dated(workshop: Workshop, point: Point) -> str:
    return f"{point.serial} ({day_words(point.day, workshop.today)})"


def _told_of(workshop: Workshop, told: Sequence[Point]) -> str:
    """Say of which stretch a finding was told that is about a single piece now."""
    if not told:
        return ""
    ends = _dated(workshop, told[0]), _dated(workshop, told[-1])
    return f" It was told of the pieces {ends[0]} to {ends[1]} before, and holds them until it is answered."
