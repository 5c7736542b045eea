"""What a card still lacks: figures and places that the plan asks of it and that no sheet has brought."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import product

import polars as pl

from qc.ingest import Known, Unfolded
from qc.plan import PLACE, Card, Characteristic, Plan, figures_written
from qc.watch import loose_tubes
from qc.words import count_words, listed

FEW_PIECES = 3
"""So many pieces with a figure say at which of the plan's places a shop reads it; chosen."""

MOST_TOLD = 4
"""So many pieces of a sheet are told one by one; chosen, so that a receipt stays a page."""

Place = tuple[str, ...]


def still_missing(
    parts: Sequence[Unfolded], plan: Plan, known: Known, beside: pl.DataFrame | None = None
) -> tuple[str, ...]:
    """Say what the pieces on a sheet still lack of the card they stand on.

    Parameters
    ----------
    parts : sequence of Unfolded
        The sheet as unfolded; what is held of it counts as brought.
    plan : Plan
        Its cards say which figures stand on them, and at which places each is read.
    known : Known
        What is on record of these pieces: it counts as well.
    beside : polars.DataFrame, optional
        What all sheets of the upload bring (`brought_by`), where there are more than this one.

    Returns
    -------
    tuple of str
        A sentence for each card that lacks something. Of the plan's places only those count at which this
        shop has read the figure before, once a few pieces have it; of a tuned instrument, the partials that
        most pieces of the model have at the valves and positions that were blown, and before a few pieces
        have any, those of the model in the open first position.
    """
    found: list[str] = []
    rows = brought_by(parts)
    if rows is None or rows.is_empty():
        return ()
    beside = rows if beside is None else beside
    columns = ["serial", "model", "characteristic", *PLACE]
    for card in plan.cards:
        own = rows.filter((pl.col("card") == card.id) & (pl.col("serial") != ""))
        if own.height:
            here = pl.col("stage") == (card.stage or "")
            frames = [frame.select(columns) for frame in (own, known.past.filter(here), beside.filter(here))]
            # what the shop reads is learned sheet by sheet, what a piece has may stand on any of them
            read, brought = (pl.concat(frames[:n], how="vertical_relaxed") for n in (2, 3))
            serials = own["serial"].unique(maintain_order=True)
            found += _of_card(card, serials, (read, brought), known.serials, plan)
    return tuple(found)


def brought_by(parts: Iterable[Unfolded]) -> pl.DataFrame | None:
    """Return the readings of some sheets as far as it matters what they lack, None where there are none."""
    columns = ["card", "stage", "serial", "model", "characteristic", *PLACE]
    frames = [part.readings.select(columns) for part in parts]
    return pl.concat(frames) if frames else None


def _of_card(
    card: Card,
    serials: Iterable[str],
    known: tuple[pl.DataFrame, pl.DataFrame],
    models: Mapping[str, str],
    plan: Plan,
) -> Iterator[str]:
    """Say which figures its pieces still lack; one of which nothing came at all is not asked for.

    `known` is what says where the shop reads each figure, and all that was brought of the pieces.
    """
    read, brought = known
    by_figure = read.partition_by("characteristic", as_dict=True)
    figures = [_Figure(c, by_figure[(c.id,)]) for c in figures_written(plan, card) if (c.id,) in by_figure]
    pieces = brought.partition_by("serial", as_dict=True, maintain_order=True)
    lacking: list[str] = []
    loose = loose_tubes(brought) if card.source == "slide" else frozenset()
    for serial in serials:
        if serial in loose:
            continue
        piece = pieces[(serial,)]
        model = models.get(serial) or next((m for m in piece["model"] if m), "")
        said = [text for figure in figures if (text := _lacks(figure, model, piece, plan))]
        if said:
            lacking.append(f"{serial}: {listed(said)}")
    if lacking:
        rest = len(lacking) - MOST_TOLD
        more = f"; and {count_words(rest, 'more piece')}" if rest > 0 else ""
        yield f"Still missing of {card.title}: {'; '.join(lacking[:MOST_TOLD])}{more}."


@dataclass(frozen=True)
class _Figure:
    """A figure of the card, and all that is known of it: what is asked of one piece is asked of the next."""

    asked: Characteristic
    read: pl.DataFrame

    @cached_property
    def names(self) -> list[str]:
        """Names of the columns that say where it is read."""
        return [name for name in PLACE if name in self.asked.places]

    @cached_property
    def planned(self) -> list[Place]:
        """Places at which it is expected of any piece."""
        return _plan_places(self.asked, self.names, self.read)


def _lacks(of: _Figure, model: str, piece: pl.DataFrame, plan: Plan) -> str:
    """Say what one piece lacks of one figure, empty where it lacks nothing."""
    figure, names = of.asked, of.names
    if model and model not in {m.id for m in plan.models_of(figure)}:
        return ""
    own = piece.filter(pl.col("characteristic") == figure.id)
    if own.is_empty():
        return figure.name
    if "partial" in figure.places or piece["partial"].is_not_null().any():
        expected = _note_places(own, model, of, plan)
        names = ["valve", "position", "partial"]
    else:
        expected = of.planned
    have = set(_places(own, names))
    missing = [place for place in expected if place not in have]
    if not missing:
        return ""
    first = _place_words(names, missing[0])
    many = count_words(len(missing), "place")
    return f"{figure.name} at {many} (first: {first})" if len(missing) > 1 else f"{figure.name} at {first}"


def _plan_places(figure: Characteristic, names: Sequence[str], rows: pl.DataFrame) -> list[Place]:
    """Return the places of the plan, those the shop never reads left out once it has read a few pieces."""
    expected = [tuple(map(str, place)) for place in product(*(figure.places[name] for name in names))]
    if rows["serial"].n_unique() < FEW_PIECES:
        # one side of a tube may be read alone: the other is not asked for before it was met
        seen = {name: set(rows[name].cast(pl.String)) for name in names if name == "surface"}
        return [p for p in expected if all(p[names.index(name)] in own for name, own in seen.items())]
    read = set(_places(rows, names))
    return [place for place in expected if place in read]


def _note_places(own: pl.DataFrame, model: str, of: _Figure, plan: Plan) -> list[Place]:
    """Return the notes of a model: those that most of its pieces have where the piece was blown.

    Where the plan says of the figure at which partials it is read, the others are never asked for.

    The plan says which partials a model has, and not which of them are blown with a valve or further out: so
    before a few pieces were blown, its partials are asked for in the open first position alone.
    """
    found = plan.model(model)
    partials = tuple(map(str, found.partials)) if found is not None else ()
    if asked := {str(partial) for partial in of.asked.places.get("partial", ())}:
        partials = tuple(partial for partial in partials if partial in asked)
    same = of.read.filter(pl.col("model") == model)
    expected: list[Place] = []
    for valve, position in own.select("valve", "position").unique(maintain_order=True).rows():
        here = same.filter(pl.col("valve").eq_missing(valve) & pl.col("position").eq_missing(position))
        pieces = here["serial"].n_unique()
        if pieces >= FEW_PIECES:
            counted = here.group_by("partial").agg(pl.col("serial").n_unique().alias("pieces"))
            usual = {str(p) for p, count in counted.rows() if p is not None and 2 * count > pieces}
            wanted = [p for p in partials if p in usual]
        else:
            plainest = (valve or "open") == "open" and position in {None, 1}
            wanted = list(partials) if plainest else []
        expected += [(str(valve or ""), _text(position), p) for p in wanted]
    return expected


def _places(rows: pl.DataFrame, names: Sequence[str]) -> Iterable[Place]:
    if not names:  # a frame of no columns has no rows, though the figure was read
        return [()] * rows.height
    return (tuple(_text(value) for value in row) for row in rows.select(names).rows())


def _text(value: object) -> str:
    return "" if value is None else str(value)


def _place_words(names: Sequence[str], place: Place) -> str:
    return ", ".join(f"{name} {value}" for name, value in zip(names, place, strict=True) if value)
