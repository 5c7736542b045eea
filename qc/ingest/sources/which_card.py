"""Which card a sheet most likely is, by the words on it: for a person who shows its layout."""

from __future__ import annotations

from collections.abc import Sequence

from qc.ingest.cells import plain
from qc.ingest.reading import Grid
from qc.plan import Card, Plan, figures_written


def words_of_cards(grid: Grid, plan: Plan, cards: Sequence[Card]) -> dict[str, float]:
    """Return how much the words of a sheet speak for each card: one counts less the more cards bear it."""
    bear: dict[str, set[str]] = {}
    for card in cards:
        figures = figures_written(plan, card)
        stage = plan.stage(card.stage or "")
        texts = [card.title, stage.name if stage else "", *(one.name for one in figures)]
        texts += [value for one in figures for values in one.places.values() for value in values]
        for word in {word for text in texts for word in _words(text)}:
            bear.setdefault(word, set()).add(card.id)
    found: dict[str, float] = {}
    for word in {word for row in grid.rows for text in row for word in _words(text)} & bear.keys():
        for card_id in bear[word]:
            found[card_id] = found.get(card_id, 0.0) + 1.0 / len(bear[word])
    return found


def _words(text: str) -> list[str]:
    return [word for word in plain(text).split() if word.isalpha() and len(word) > 1]
