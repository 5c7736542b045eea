"""Pieces to hold: what is in the house line by line, what has left folded into one."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from itertools import groupby

from qc.words import count_words, dated_words, some_of

HoldLine = tuple[str, str, str, str, str]
"""Serial, figure, why, where it is, what to do."""

FEW_LINES = 3
"""In the short note of other answers; chosen: the worst are told, the list has all."""


def hold_text(
    as_of: date,
    waiting: Sequence[HoldLine],
    shipped: Sequence[HoldLine],
    released: Sequence[HoldLine],
    near: Sequence[HoldLine],
    *,
    every: bool = False,
) -> str:
    """Say which pieces are to be held; those that left and those released line by line with `every`."""
    here = _pieces(waiting)
    head = f"{dated_words(as_of)}: {_to_hold(here)} in the house."
    lines = [head, *_blocks(waiting)]
    lines += _folded(shipped, "left before anybody released", every=every)
    if near:
        said = "Inside, but not proven (within the gauge's own spread of the limit)"
        lines += ["", f"{said}: {_serials(near)}."]
    lines += _folded(released, "on the list released by name and reason", every=every)
    if waiting or shipped:
        lines += ["", "Release one by name and reason: qc hold release SERIAL --who CODE --why REASON"]
    return "\n".join(lines)


def hold_note(waiting: Sequence[HoldLine], shipped: int) -> str:
    """Say in one short paragraph how many pieces are to be held, and the worst of them; empty for none.

    Examples
    --------
    >>> hold_note([("A-7", "Lacquer: Thickness", "8.4 µm, under 10 µm", "Lacquer, 3 Nov", "")], 2)
    'To hold: 1 piece in the house. A-7, Lacquer: Thickness: 8.4 µm, under 10 µm. 2 have left. See: qc hold'
    """
    if not waiting and not shipped:
        return ""
    worst: dict[str, str] = {}
    for serial, name, because, _, _ in waiting:
        worst.setdefault(serial, f"{serial}, {name}: {because.rstrip('.')}.")
    more = len(worst) - FEW_LINES
    left = f"{shipped} {'has' if shipped == 1 else 'have'} left." if shipped else ""
    parts = [f"To hold: {count_words(len(worst), 'piece')} in the house.", *list(worst.values())[:FEW_LINES]]
    parts += [f"And {more} more."] if more > 0 else []
    return " ".join([*parts, *([left] if left else []), "See: qc hold"])


def decided_text(serial: str, sentence: str, rows: Sequence[HoldLine]) -> str:
    """Say what was decided about a piece, and what still holds it."""
    rest = ["It is still to be held:", *_blocks(rows)] if rows else []
    return "\n".join([f"{serial}: {sentence}", *rest])


def tags_text(tags: int, file: str) -> str:
    """Say how many tags were written, and where to."""
    return f"{count_words(tags, 'tag')} written to {file}."


def _blocks(rows: Sequence[HoldLine]) -> Iterator[str]:
    """Set rows that tell the same under one head, with what to do once."""
    for (name, because, step), own in groupby(rows, key=lambda row: (row[1], row[2], row[4])):
        same = list(own)
        yield ""
        if len(same) == 1:
            serial, _, _, where, _ = same[0]
            yield f"{serial}  {name}: {because}  ({where})"
        else:
            yield f"{name}: {because}"
            yield from (f"  {serial}  ({where})" for serial, _, _, where, _ in same)
        yield f"  Next: {step}"


def _folded(rows: Sequence[HoldLine], said: str, *, every: bool) -> list[str]:
    if not rows:
        return []
    head = f"{count_words(_pieces(rows), 'piece')} {said}: {_serials(rows)}."
    return ["", head, *(_blocks(rows) if every else [" See them with --all."])]


def _to_hold(pieces: int) -> str:
    return "nothing to hold" if not pieces else f"{count_words(pieces, 'piece')} to hold"


def _pieces(rows: Sequence[HoldLine]) -> int:
    return len({serial for serial, *_ in rows})


def _serials(rows: Sequence[HoldLine]) -> str:
    return some_of(list(dict.fromkeys(serial for serial, *_ in rows)))
