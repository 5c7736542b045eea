"""One serial in two writings: in small letters, with a blank or a long dash, it is still the same piece."""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Iterable

import polars as pl

from qc.ingest.known import Known

_DASHES = re.compile("[‐-―−_]")
_BLANKS = re.compile(r"\s+")
_ONE_NUMBER = re.compile(r"^(?P<letters>[^\W\d_]+)(?P<sign>[-‐-―−_/.\s]*)(?P<number>\d+)$")
_TWO_NUMBERS = re.compile(r"^(?P<head>[^\W\d_]+\d+)[-‐-―−_\s]+(?P<number>\d+)$")
_LETTERS_BEHIND = re.compile(
    r"^(?P<number>\d{2,})(?P<sign>[-‐-―−_/.\s]*)(?P<letters>[^\W\d_]{1,2}(?:\d{2})?)$"
)
_SIGNS = frozenset({"", "-", "/", "."})
"""What stands between the letters and the number of a serial; a blank or a long dash is a slip for one."""


def written_alike(serial: str) -> str:
    """Return what two writings of one serial share.

    Examples
    --------
    >>> [written_alike(serial) for serial in ("h26 – 003", "H26-003", "H26003")]
    ['h26-003', 'h26-003', 'h26003']
    >>> [written_alike(serial) for serial in ("OS-246", "os 246", "OS246", "OS_246")]
    ['os246', 'os246', 'os246', 'os246']
    >>> [written_alike(serial) for serial in ("624 F26", "624-F26", "624F26")]
    ['624f26', '624f26', '624f26']
    """
    one = _ONE_NUMBER.match(serial.strip())
    if one is not None:
        return f"{one['letters']}{one['number']}".casefold()
    behind = _LETTERS_BEHIND.match(serial.strip())
    if behind is not None:
        return f"{behind['number']}{behind['letters']}".casefold()
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


def usual_writings(serials: set[str], known: Known, prefix: str = "") -> dict[str, str]:
    """Return the serials that are another writing of one on record, of one beside them, or of the shop's way.

    Parameters
    ----------
    serials : set of str
        As typed.
    known : Known
        What the store knows.
    prefix : str
        How the plan says that serials begin; empty where it does not.

    Returns
    -------
    dict
        Typed -> usual writing. A writing that may be of two pieces is left as it is; of two that are both new
        the one with more capital letters is taken, written as serials of that prefix are.
    """
    on_record: dict[str, set[str]] = defaultdict(set)
    for serial in known.serials:
        on_record[written_alike(serial)].add(serial)
    new: dict[str, set[str]] = defaultdict(set)
    for serial in serials - set(known.serials):
        new[written_alike(serial)].add(serial)
    sign = _usual_sign(known.serials, prefix)
    sign = _usual_sign(serials, prefix) if sign is None else sign
    behind = Counter(
        (two["sign"], two["letters"])
        for serial in (*known.serials, *serials)
        if (two := _LETTERS_BEHIND.match(serial)) is not None and two["sign"] in _SIGNS
    )
    found: dict[str, str] = {}
    for alike, written in new.items():
        usual = on_record.get(alike, set())
        if len(usual) == 1:
            found.update(dict.fromkeys(written, next(iter(usual))))
        elif not usual:
            best = max(sorted(written), key=lambda serial: (sum(map(str.isupper, serial)), -len(serial)))
            best = _as_the_shop_does(best, prefix, sign) if prefix else _as_others(best, behind)
            found.update({serial: best for serial in written if serial != best})
    return found


def _usual_sign(serials: Iterable[str], prefix: str) -> str | None:
    """Return the sign that most serials have behind the prefix, None where no serial tells.

    A blank, a long dash or a low stroke speaks for the dash that it stands for; of two signs as frequent the
    one that is there.
    """
    letters = _letters(prefix).casefold()
    read = [one for serial in serials if (one := _ONE_NUMBER.match(serial)) is not None]
    signs = Counter(
        one["sign"] if one["sign"] in _SIGNS else "-" for one in read if one["letters"].casefold() == letters
    )
    return max(signs, key=lambda sign: (signs[sign], sign), default=None)


def _as_the_shop_does(serial: str, prefix: str, sign: str | None) -> str:
    """Write a new serial in the letters of the prefix, with its sign or a plain dash for a blank."""
    letters = _letters(prefix)
    if not letters or not serial.casefold().startswith(letters.casefold()):
        return serial
    tidy = serial.upper() if letters.isupper() and not any(map(str.isupper, serial)) else serial
    if (one := _ONE_NUMBER.match(tidy)) is not None:
        own = one["sign"] if one["sign"] in _SIGNS else "-"
        if one["letters"].casefold() != letters.casefold():
            return f"{one['letters']}{own}{one['number']}"
        usual = prefix[len(letters) :] or (own if sign is None else sign)
        return f"{letters}{usual}{one['number']}"
    if (two := _TWO_NUMBERS.match(tidy)) is not None:
        return f"{two['head']}-{two['number']}"
    return serial


def _as_others(serial: str, behind: Counter[tuple[str, str]]) -> str:
    """Write a number with letters behind it as most others of these letters are: ``452 t`` as ``452T``."""
    own = _LETTERS_BEHIND.match(serial)
    if own is None:
        return serial
    ways = {way: n for way, n in behind.items() if way[1].casefold() == own["letters"].casefold()}
    signs = Counter[str]()  # of three ways to write one letter the one that the other letters have too
    for (sign, _), n in behind.items():
        signs[sign] += n
    said = {way: (n, signs[way[0]]) for way, n in ways.items()}
    best = max(said, key=lambda way: (said[way], way), default=None)
    odd = best is not None and said[best] > said.get((own["sign"], own["letters"]), (0, 0))
    if best is None or not odd:
        return serial
    letters = own["letters"] if own["letters"].isupper() else best[1]
    return f"{own['number']}{best[0]}{letters}"


def _letters(prefix: str) -> str:
    return prefix.rstrip("-/. _")
