"""One serial in two writings: in small letters, with a blank or a long dash, it is still the same piece."""

from __future__ import annotations

import re
from collections import defaultdict

import polars as pl

from qc.ingest.known import Known

_DASHES = re.compile("[‐-―−]")
_BLANKS = re.compile(r"\s+")


def written_alike(serial: str) -> str:
    """Return what two writings of one serial share.

    Examples
    --------
    >>> [written_alike(serial) for serial in ("h26 – 003", "H26-003", "H26003")]
    ['h26-003', 'h26-003', 'h26003']
    """
    return _BLANKS.sub("", _DASHES.sub("-", serial)).casefold()


def with_usual_writing(rows: pl.DataFrame, writings: dict[str, str]) -> pl.DataFrame:
    """Write every serial as on record; where that is not as typed, the note says how it was typed."""
    if not writings or rows.is_empty():
        return rows
    typed = pl.col("serial")
    said = pl.format("serial typed {}", typed)
    noted = pl.when(pl.col("note") == "").then(said).otherwise(pl.format("{}; {}", pl.col("note"), said))
    other = typed.is_in(list(writings))
    return rows.with_columns(
        pl.when(other).then(noted).otherwise(pl.col("note")).alias("note"),
        typed.replace(writings),
    )


def usual_writings(serials: set[str], known: Known) -> dict[str, str]:
    """Return the serials that are another writing of one on record, or of a piece of the same upload.

    Parameters
    ----------
    serials : set of str
        As typed.
    known : Known
        What the store knows.

    Returns
    -------
    dict
        Typed -> usual writing. A writing that may be of two pieces is left as it is; of two that are both new
        the one with more capital letters is taken.
    """
    on_record: dict[str, set[str]] = defaultdict(set)
    for serial in known.serials:
        on_record[written_alike(serial)].add(serial)
    new: dict[str, set[str]] = defaultdict(set)
    for serial in serials - set(known.serials):
        new[written_alike(serial)].add(serial)
    found: dict[str, str] = {}
    for alike, written in new.items():
        usual = on_record.get(alike, set())
        if len(usual) == 1:
            found.update(dict.fromkeys(written, next(iter(usual))))
        elif not usual and len(written) > 1:
            best = max(sorted(written), key=lambda serial: (sum(map(str.isupper, serial)), -len(serial)))
            found.update({serial: best for serial in written if serial != best})
    return found
