"""Two testers who blow the notes of one instrument at different pitches: told before anybody cuts."""

from __future__ import annotations

import polars as pl

from qc.trade import Note, differing_testers

OPEN = "open"


def notes_on_testers(readings: pl.DataFrame) -> tuple[str, ...]:
    """Say which testers of an instrument blow clearly apart, and by how much, if any do.

    Parameters
    ----------
    readings : DataFrame
        Readings of one instrument; those of notes have a partial, a person and cents.
    """
    blown = readings.filter(pl.col("partial").is_not_null() & (pl.col("unit") == "cent"))
    columns = blown.select("partial", "value", "position", "valve", "person", "air_c").iter_rows()
    notes = [
        Note(partial, cents, position or 1, _down(valve), tester=person or "", air_c=air_c)
        for partial, cents, position, valve, person, air_c in columns
    ]
    apart = differing_testers(notes)
    if apart is None:
        return ()
    sharper, flatter, cents = apart
    return (
        f"Testers differ: {sharper} blows the same notes {cents:.0f} cents sharper than {flatter}, and no "
        "note of this instrument can tell who is right. Let both blow a reference instrument before a tube "
        "is cut.",
    )


def _down(valve: str | None) -> tuple[str, ...]:
    return () if valve in (None, "", OPEN) else tuple(sorted(str(valve).split("+")))
