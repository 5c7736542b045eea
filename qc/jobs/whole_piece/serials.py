"""Which piece a person means: its serial in small letters or in part; the nearest where it is unknown."""

from __future__ import annotations

import difflib
from collections.abc import Sequence

from qc.jobs.errors import JobError
from qc.jobs.pieces import rows_words
from qc.jobs.workshop import Workshop
from qc.words import count_words

MOST_NEAR = 4
"""Serials offered for one that is not known; chosen."""


def unknown_piece(workshop: Workshop, serial: str) -> str:
    """Say that a piece is not known, or only by held rows, and offer the serials that look most like it."""
    rows = [row.id for row in workshop.store.held() if row.as_typed().get("serial") == serial]
    if rows:
        verb = "names it and waits" if len(rows) == 1 else "name it and wait"
        said = f"Nothing of {serial!r} was accepted yet: {rows_words(rows)} {verb} for a decision."
        return f"{said} See what is asked: qc held list"
    near = nearest_to(workshop, serial)
    if not near and workshop.store.pieces().is_empty():
        return f"There is no piece {serial!r}: no card has been handed in yet. Begin with: qc upload FILE"
    offered = f"The nearest known: {', '.join(near)}." if near else "No known serial looks like it."
    return f"There is no piece {serial!r}. {offered} All of them: qc board, page Instruments"


def known_serial(workshop: Workshop, typed: str) -> str:
    """Return the one serial that a person means who types it in small letters, or a part of it.

    As typed where it is a serial, or where none or several have it: these are told as unknown.

    Raises
    ------
    JobError
        Several serials have it, and it is none itself; they are named.
    """
    typed = typed.strip()
    if not typed or not workshop.store.pieces([typed]).is_empty():
        return typed
    known = _serials(workshop)
    if typed in known:
        return typed
    low = typed.casefold()
    prefix = workshop.plan.workshop.serial_prefix.rstrip("-/. _").casefold()
    # the number alone is the instrument's; a part may bear the same one behind letters of its own
    same = [one for one in known if one.casefold() == low]
    same = same or [one for one in known if prefix and _bare(one) == _bare(prefix + typed)]
    found = same or [one for one in known if low in one.casefold()]
    if len(found) > 1 and not same:
        some = ", ".join(sorted(found)[:MOST_NEAR])
        more = f" and {len(found) - MOST_NEAR} others" if len(found) > MOST_NEAR else ""
        raise JobError(
            f"{count_words(len(found), 'piece')} have {typed!r} in the serial: {some}{more}. Name one."
        )
    return found[0] if len(found) == 1 else typed


def _serials(workshop: Workshop) -> set[str]:
    known = {one for one in workshop.store.pieces()["serial"] if one}
    return known | {one for one in workshop.store.events("part")["subject"] if one}


def nearest_to(workshop: Workshop, serial: str) -> list[str]:
    """Return the serials of a workshop, of parts too, that look most like one."""
    return nearest_serials(serial, sorted(_serials(workshop)))


def nearest_serials(typed: str, known: Sequence[str]) -> list[str]:
    """Return the known serials that look most like one, the nearest first.

    Examples
    --------
    >>> nearest_serials("kw 117", ["KW-107", "KW-117", "KW-118", "T-0099"])
    ['KW-117', 'KW-118', 'KW-107']
    """
    plain = {one: _bare(one) for one in known}
    bare = _bare(typed)
    ranked = difflib.get_close_matches(bare, sorted(set(plain.values())), n=MOST_NEAR, cutoff=0.6)
    found = [one for match in ranked for one in known if plain[one] == match]
    return found[:MOST_NEAR]


def _bare(serial: str) -> str:
    """Leave of a serial what a person does not mistype: no case, no dashes, O for nought."""
    return "".join(one for one in serial.upper() if one.isalnum()).replace("O", "0").replace("I", "1")
