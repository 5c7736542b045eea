"""What a column is by what stands below its heading, where the heading itself does not say."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence

from qc.ingest.cards.headings import FIGURE, WHAT, WHERE, CardHeadings, Meaning
from qc.ingest.cards.questions import by_content
from qc.ingest.cells import known_field, plain
from qc.plan import PLACE, Plan

_NO_CONTENT = frozenset({"", "serial", "part", "role", "tool", "note"})
"""What a heading may mean whose column names figures all the same: ``Tube`` over inner and outer."""


def meant_by_cells(
    meaning: Meaning | None, texts: Sequence[str], words: CardHeadings, taken: Collection[str]
) -> Meaning | None:
    """Return what the cells of a column say it is, else what its heading says.

    Parameters
    ----------
    meaning : Meaning or None
        What the heading means on the card, None where nothing.
    texts : sequence of str
        The cells below it.
    words : CardHeadings
        The words of the card.
    taken : collection of str
        Fields that the sheet says elsewhere.

    Returns
    -------
    Meaning or None
        The names of figures where every filled cell is one, or several places at once; a kind of place where
        every filled cell is one of its words and no number.
    """
    filled = [text for text in texts if text]
    if not filled or (meaning is not None and (meaning.figure or meaning.field not in _NO_CONTENT)):
        return meaning
    read = [words.read(text) for text in filled]
    said = [m for m in read if m is not None and m.figure and (m.field != FIGURE or len(m.places) > 1)]
    if len(said) == len(read):  # Bore mouth, Stocking mouth: a figure; U mouth, L mouth: places alone
        what = WHAT if any(m.field != FIGURE for m in said) else WHERE
        if what not in taken:
            return Meaning(what)
    if meaning is not None and meaning.field in {"note", "serial", "tool"}:
        return meaning
    kinds = [
        kind
        for kind in PLACE
        if kind not in taken
        and all(
            any(plain(text) in places.get(kind, ()) for places in words.places.values())
            and not text.strip().isdigit()
            for text in filled
        )
    ]
    return Meaning(kinds[0]) if len(kinds) == 1 else meaning


def meant_without_heading(
    texts: Sequence[str], plan: Plan, taken: Collection[str], is_serial: Callable[[str], bool]
) -> Meaning | None:
    """Return what a column without a heading can only be: the pieces, or days, people or models."""
    filled = [text for text in texts if text]
    field = known_field(by_content(texts, plan))
    if filled and not field and all(map(is_serial, filled)):
        field = "serial"
    return Meaning(field) if field and field not in taken else None
