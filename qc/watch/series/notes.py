"""The note set of an instrument becomes the figures that are charted: lengths, partials, scatter.

Each instrument's notes are fitted together (`qc.trade.fit_note_set`), so that a long wrap does not pass for a
flat partial nor a short main slide for a sharp wrap. Raw cents are brought to the workshop's reference
temperature there.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache

import polars as pl

from qc.plan import Model
from qc.trade import Instrument, Note, NoteSetFit, TradeError, Valve, fit_note_set, valve_state

SCHEMA = {"serial": pl.String, "figure": pl.String, "value": pl.Float64}

LEAST_NOTES = 6
"""A card with fewer notes gives no figure: nothing could be told apart (house rule)."""

_Row = tuple[int, float, int | None, str | None, str | None, float | None, str | None]


def note_figures(notes: pl.DataFrame, models: Mapping[str, Model], reference_c: float) -> pl.DataFrame:
    """Fit the note set of every instrument.

    Parameters
    ----------
    notes : polars.DataFrame
        Readings of the characteristic ``note`` (cents, raw against the tempered note) of any number of
        instruments.
    models : mapping of str to Model
        The plan's models by id.
    reference_c : float
        Temperature the workshop tunes for. [C]

    Returns
    -------
    polars.DataFrame
        Columns ``serial``, ``figure`` (``main-length``, ``wrap-length:F``, ``partial:5``, ``note-scatter``)
        and ``value`` [mm or cent]; what a note set cannot tell apart has no row.
    """
    rows: list[tuple[str, str, float]] = []
    columns = ["partial", "value", "position", "valve", "person", "air_c", "method"]
    sets: dict[tuple[str, str], list[_Row]] = {}
    for row in notes.select("serial", "model", *columns).iter_rows():
        sets.setdefault((str(row[0]), str(row[1])), []).append(row[2:])
    for (serial, model_id), own in sets.items():
        model = models.get(model_id)
        if model is None or len(own) < LEAST_NOTES:
            continue
        blown = tuple(note for note in own if note[0] is not None)
        rows += [(serial, name, value) for name, value in _figures(model, blown, reference_c)]
    return pl.DataFrame(rows, schema=SCHEMA, orient="row")


@lru_cache(maxsize=4096)
def _figures(model: Model, blown: tuple[_Row, ...], reference_c: float) -> tuple[tuple[str, float], ...]:
    """Fit one note set; kept, since the five tuning series of an instrument all ask for it."""
    instrument = Instrument(
        length_mm=model.length_mm,
        valves=tuple(Valve(v.name, v.added_mm, v.depends_on, v.legs) for v in model.valves),
        pedal_note=model.pedal_midi,
        positions=model.positions,
    )
    try:
        fit = fit_note_set([_note(instrument, row) for row in blown], instrument, reference_air_c=reference_c)
    except TradeError:
        return ()  # a note that cannot be: ingest has held it, or it was accepted as typed on a lead's word
    return tuple(_named(fit))


def _note(instrument: Instrument, row: _Row) -> Note:
    partial, cents, position, valve, person, air_c, method = row
    return Note(
        partial=partial,
        cents=cents,
        position=position or 1,
        valves=valve_state(instrument, valve),
        tester=person or "",
        air_c=air_c,
        method=method or "",
    )


def _named(fit: NoteSetFit) -> list[tuple[str, float]]:
    figures: list[tuple[str, float]] = []
    for length in fit.lengths:
        if length.error_mm is not None:
            name = "main-length" if length.part == "main" else f"wrap-length:{length.part.partition(':')[2]}"
            figures.append((name, length.error_mm))
    figures += [(f"partial:{p.partial}", p.residual_cents) for p in fit.partials]
    if not fit.planned_sd:
        figures.append(("note-scatter", fit.reading_sd))
    return figures
