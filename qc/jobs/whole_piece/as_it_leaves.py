"""What the list of what leaves is told at once: which pieces have no card that nearly all others have."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from qc.jobs.whole_piece.left_without import LIKE, is_asked, stages_of, waiting_of
from qc.jobs.whole_piece.sharing import Genealogy, days_left
from qc.jobs.workshop import Workshop
from qc.watch import part_uses
from qc.words import count_words, listed

FEWEST = 5
"""With fewer of its model that left before, every model is looked at; with fewer of these, none. Chosen."""

MAY_LACK = 0.1
"""A card that so many of the others lack is none that nearly all have (a share, 0..1; chosen)."""


def shipped_without(workshop: Workshop, left: Mapping[str, date]) -> tuple[str, ...]:
    """Say of pieces that left by a sheet which stage's card none has, though nearly all others have one.

    Parameters
    ----------
    workshop : Workshop
        An open workshop, the sheet in its store.
    left : mapping of str to date
        The pieces by their serials, with the day each left.

    Returns
    -------
    tuple of str
        A sentence for the pieces that lack the same cards. A stage of which a row waits is not missed.
    """
    before = {one: day for one, day in days_left(workshop).items() if one not in left} if left else {}
    if len(before) < FEWEST:
        return ()
    newest = sorted(before, key=lambda one: (before[one], one), reverse=True)
    models = dict(workshop.store.pieces().select("serial", "model").iter_rows())
    tree = Genealogy(workshop, part_uses(workshop.store.events("part", until=workshop.today)))
    alike: dict[tuple[tuple[str, ...], str], list[str]] = {}
    for model in sorted({models.get(one) or "" for one in left}):
        own = [one for one in left if (models.get(one) or "") == model]
        same = [one for one in newest if model and models.get(one) == model]
        like = (same if len(same) >= FEWEST else newest)[:LIKE]
        have = stages_of(workshop, [*own, *like], {**before, **left}, tree)
        asked = [one for one in workshop.plan.stages if is_asked(workshop.plan, one, model)]
        with_card = {stage.id: sum(stage.id in have.get(one, ()) for one in like) for stage in asked}
        usual = [one for one in asked if len(like) - with_card[one.id] <= MAY_LACK * len(like)]
        for serial in own:
            missed = [one for one in usual if one.id not in have.get(serial, ())]
            waits = {row.stage for row in waiting_of(workshop, serial)} if missed else set()
            if missed := [one for one in missed if one.id not in waits]:
                share = f"{min(with_card[one.id] for one in missed)} of {len(like)}"
                alike.setdefault((tuple(one.name for one in missed), share), []).append(serial)
    return tuple(_sentence(serials, names, share) for (names, share), serials in alike.items())


def _sentence(serials: list[str], names: tuple[str, ...], share: str) -> str:
    what = f"a card of {names[0]}" if len(names) == 1 else f"the cards of {listed(list(names))}"
    who = listed(serials) if len(serials) <= FEWEST else count_words(len(serials), "piece")
    others = f"{share} others that left have {'one' if len(names) == 1 else 'them'}"
    return f"{who} left without {what}: {others}. Hand it in, or look for one with a slip in its serial."
