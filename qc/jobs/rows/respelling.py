"""A reading put right to another writing of its own serial: what is stored then, and what is left behind."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import polars as pl

from qc.ingest import Checked, MendedRow, written_alike
from qc.jobs.errors import JobError
from qc.jobs.rows.finding import STANDS
from qc.jobs.rows.naming import piece_words
from qc.jobs.workshop import Workshop
from qc.plain import FrameRow
from qc.words import count_words, listed

MOST = 20
"""Readings named one by one; chosen."""


def as_stored(workshop: Workshop, old: FrameRow, mended: MendedRow, checked: Checked) -> MendedRow:
    """Return a mend with the serial as it will be stored, since that is what is to be told.

    The check writes a serial as the record does; where that is what stands there already nothing is changed.

    Raises
    ------
    JobError
        The serial asked for is the one that stands there, in another writing, and nothing else is changed.
    """
    serial = checked.readings["serial"][0] or ""
    typed = mended.row["serial"]
    if "serial" not in mended.changed or serial == typed:
        return mended
    changed = {**mended.changed, "serial": (mended.changed["serial"][0], serial)}
    if serial == (old["serial"] or ""):
        del changed["serial"]
    if not changed and old["state"] == STANDS:
        raise JobError(
            f"{piece_words(old, workshop.plan)}: reading {old['id']} says {serial} already; {typed} is "
            "another writing of it, and the other serials on record are written like this one."
        )
    return replace(mended, row={**mended.row, "serial": serial}, changed=changed)


def left_behind(workshop: Workshop, serials: Sequence[tuple[str, str]]) -> list[str]:
    """Say what still bears a serial as it was written before, where only its writing was put right.

    Parameters
    ----------
    workshop : Workshop
        An open workshop, the corrections stored.
    serials : sequence of (str, str)
        The serial of each reading before and now.

    Returns
    -------
    list of str
        A sentence for each, with the last reading of a serial only; else empty.
    """
    last = {pair: place for place, pair in enumerate(serials)}
    return [_left(workshop, *pair) if last[pair] == place else "" for place, pair in enumerate(serials)]


def _left(workshop: Workshop, old: str, new: str) -> str:
    """Say what still stands under the other writing of a serial, and how each of it is put right."""
    if not old or old == new or written_alike(old) != written_alike(new):
        return ""
    store = workshop.store
    own = store.history(serials=[old]).filter(pl.col("state") == STANDS)["id"].to_list()
    entries = store.events(serials=[old]).height + store.events("part", subjects=[old]).height
    named = f"{', '.join(map(str, own[:MOST]))}{' and more' if len(own) > MOST else ''}"
    bear = [f"{count_words(len(own), 'reading')} ({named})"] if own else []
    bear += [count_words(entries, "other entry", "other entries")] if entries else []
    if not bear:
        return f"Nothing stands under {old} any more."
    ways = [f"put the readings right by qc correct with --set serial={new}"] if own else []
    ways += [f"hand in again with {new} what else names it"] if entries else []
    verb = "stands" if len(own) + entries == 1 else "stand"
    return f"Under {old} there still {verb} {listed(bear)}: {listed(ways)}."
