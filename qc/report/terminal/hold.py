"""Pieces to hold: what is in the house line by line, what has left folded into one."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date

from qc.states import LET_GO
from qc.words import count_words, dated_words, listed, some_of

HoldLine = tuple[str, str, str, str, str]
"""Serial, figure, why, where it is, what to do."""

FEW_LINES = 3
"""On a receipt; chosen: the worst are told, the list has all."""


def hold_text(
    as_of: date,
    waiting: Sequence[HoldLine],
    shipped: Sequence[HoldLine],
    released: Sequence[HoldLine],
    near: Sequence[HoldLine],
    *,
    left_held: Sequence[HoldLine] = (),
    every: bool = False,
) -> str:
    """Say which pieces are to be held; those that left and those released line by line with `every`.

    `left_held` are those of the ones that left which were on the list by then: they are named in any case.
    """
    here = _pieces(waiting)
    head = f"{dated_words(as_of)}: {_to_hold(here)} in the house."
    lines = [head, *_blocks(waiting)]
    if left_held:
        lines += ["", f"Left while to be held: {count_words(_pieces(left_held), 'piece')}."]
        lines += _by_piece(left_held)
    lines += _folded(shipped, "left before anybody released", every=every)
    if near:
        said = "Inside, but not proven (within the gauge's own spread of the limit)"
        lines += ["", f"{said}: {_serials(near)}."]
    lines += _folded(released, LET_GO, every=every)
    if waiting or shipped:
        lines += ["", "Release one by name and reason: qc hold release SERIAL --who CODE --why REASON"]
    return "\n".join(lines)


def hold_note(
    waiting: Sequence[HoldLine], shipped: int, left_held: Sequence[HoldLine] = ()
) -> tuple[str, ...]:
    """Say in up to three short lines how many pieces are to be held, the worst and which left; none for none.

    Parameters
    ----------
    waiting : sequence of HoldLine
        Those in the house, the worst first.
    shipped : int
        How many left that nobody released.
    left_held : sequence of HoldLine
        Those of them that left while they were to be held, the newest first.

    Examples
    --------
    >>> for line in hold_note([("A-7", "Lacquer: Gloss", "61, under 70", "Lacquer, 3 Nov", "")], 2):
    ...     print(line)
    To hold: 1 piece in the house. Left unreleased: 2. See: qc hold
    The worst: A-7, Lacquer: Gloss: 61, under 70.
    """
    if not waiting and not shipped:
        return ()
    # words stand between all figures: a limit of 10 and a count of 2 would be read as 10.2
    unreleased = f" Left unreleased: {shipped}." if shipped else ""
    lines = [f"To hold: {count_words(_pieces(waiting), 'piece')} in the house.{unreleased} See: qc hold"]
    lines += [
        f"The worst: {said.partition('. ')[0].rstrip('.')}." for said in list(_worst(waiting).values())[:1]
    ]
    if left_held:
        serial, _, _, where, _ = left_held[0]
        newest = f"{'' if _pieces(left_held) == 1 else 'the newest '}{serial} ({where})"
        lines.append(f"Left while to be held: {count_words(_pieces(left_held), 'piece')}, {newest}.")
    return tuple(lines)


def sheets_hold_note(own: Sequence[HoldLine]) -> str:
    """Say on a receipt which pieces of its sheets are to be held; empty for none.

    Parameters
    ----------
    own : sequence of HoldLine
        Those of the sheets that are in the house.

    Examples
    --------
    >>> sheets_hold_note([("A-7", "Gloss", "61, under 70", "Lacquer, 3 Nov", "")])
    'To hold of these sheets: 1 piece. A-7, Gloss: 61, under 70. All that is to be held: qc hold'
    >>> sheets_hold_note([(f"A-{n}", "Gloss", "61", "Lacquer", "") for n in range(7, 12)])
    'To hold of these sheets: 5 pieces. A-7, A-8, A-9 and 2 more, Gloss: 61. All that is to be held: qc hold'
    """
    if not own:
        return ""
    first: dict[str, tuple[str, str]] = {}
    for serial, name, because, _, _ in own:
        first.setdefault(serial, (name, because.rstrip(".")))
    alike: dict[tuple[str, str], list[str]] = {}
    for serial, told in first.items():
        alike.setdefault(told, []).append(serial)
    lines = [f"{_listed(same)}, {name}: {because}." for (name, because), same in alike.items()]
    if rest := sum(map(len, list(alike.values())[FEW_LINES:])):
        lines[FEW_LINES:] = [f"And {count_words(rest, 'more piece')}."]
    said = f"To hold of these sheets: {count_words(len(first), 'piece')}."
    return " ".join([said, *lines, "All that is to be held: qc hold"])


def _listed(serials: Sequence[str]) -> str:
    """Name the first few, and how many more there are."""
    more = len(serials) - FEW_LINES
    return f"{', '.join(serials[:FEW_LINES])} and {more} more" if more > 0 else listed(serials)


def _worst(rows: Sequence[HoldLine]) -> dict[str, str]:
    """Return the first reason of each piece, in words."""
    worst: dict[str, str] = {}
    for serial, name, because, _, _ in rows:
        worst.setdefault(serial, f"{serial}, {name}: {because.rstrip('.')}.")
    return worst


def decided_text(serial: str, sentence: str, rows: Sequence[HoldLine]) -> str:
    """Say what was decided about a piece, and what still holds it."""
    rest = ["It is still to be held:", *_blocks(rows)] if rows else []
    return "\n".join([f"{serial}: {sentence}", *rest])


def tags_text(tags: int, file: str) -> str:
    """Say how many tags were written, and where to."""
    return f"{count_words(tags, 'tag')} written to {file}."


def _blocks(rows: Sequence[HoldLine]) -> Iterator[str]:
    """Set rows that tell the same under one head, with what to do once, where the first of them stands.

    A command for one piece names it; one for several leaves its place open.
    """
    alike: dict[tuple[str, str, str], list[HoldLine]] = {}
    for row in rows:
        serial, name, because, _, step = row
        alike.setdefault((name, because, step.replace(f" {serial} ", " SERIAL ")), []).append(row)
    for (name, because, every), same in alike.items():
        yield ""
        if len(same) == 1:
            serial, _, _, where, step = same[0]
            yield f"{serial}  {name}: {because}  ({where})"
        else:
            step = every
            yield f"{name}: {because}"
            yield from (f"  {serial}  ({where})" for serial, _, _, where, _ in same)
        if step:
            yield f"  Next: {step}"


def _by_piece(rows: Sequence[HoldLine]) -> Iterator[str]:
    """Name each piece once, in the order of the rows; those with the same reasons stand together."""
    where: dict[str, str] = {}
    reasons: dict[str, list[str]] = {}
    for serial, name, because, place, _ in rows:
        where.setdefault(serial, place)
        reasons.setdefault(serial, []).append(f"{name}: {because}")
    alike: dict[tuple[str, ...], list[str]] = {}
    for serial, own in reasons.items():
        alike.setdefault(tuple(own), []).append(serial)
    for own_reasons, serials in alike.items():
        yield from (f"{serial}  ({where[serial]})" for serial in serials)
        yield from (f"  {reason}" for reason in own_reasons)


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
