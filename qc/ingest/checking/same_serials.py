"""One serial in two writings: in small letters, with a blank or a long dash, it is still the same piece."""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Iterable

import polars as pl

from qc.ingest.known import Known

_ONE_NUMBER = re.compile(r"^(?P<letters>[^\W\d_]+)(?P<sign>[-‐-―−_/.\s]*)(?P<number>\d+)$")
_TWO_NUMBERS = re.compile(r"^(?P<head>[^\W\d_]+\d+)[-‐-―−_\s]+(?P<number>\d+)$")
_LETTERS_BEHIND = re.compile(
    r"^(?P<number>\d{2,})(?P<sign>[-‐-―−_/.\s]*)(?P<letters>[^\W\d_]{1,2}(?:\d{2})?)$"
)
_SIGNS = frozenset({"", "-", "/", "."})
"""What stands between the letters and the number of a serial; a blank or a long dash is a slip for one."""


_RUNS = re.compile(r"[^\W\d_]+|\d+|[-‐-―−_/.\s]+|.")
_BETWEEN = re.compile(r"[-‐-―−_/.\s]+")


def written_alike(serial: str) -> str:
    """Return what two writings of one serial share: its letters and numbers, and where two numbers part.

    Examples
    --------
    >>> [written_alike(serial) for serial in ("h26 – 003", "H26-003", "H26 003", "H26003")]
    ['h26-003', 'h26-003', 'h26-003', 'h26003']
    >>> [written_alike(serial) for serial in ("OS-246", "os 246", "OS246", "OS_246")]
    ['os246', 'os246', 'os246', 'os246']
    >>> [written_alike(serial) for serial in ("624 F26", "624-F26", "624F26")]
    ['624f26', '624f26', '624f26']
    """
    runs, between = _taken_apart(serial)
    plain = [
        "-" if sign and one[-1:].isdecimal() is two[:1].isdecimal() else "" for one, two, sign in between
    ]
    return "".join(a + b for a, b in zip(runs, [*plain, ""], strict=True)).casefold()


def _taken_apart(serial: str) -> tuple[list[str], list[tuple[str, str, str]]]:
    """Return the runs of letters or of digits, and each two beside each other with what stands between."""
    runs: list[str] = []
    signs: list[str] = []
    for run in _RUNS.findall(serial.strip()):
        if _BETWEEN.fullmatch(run) and runs:
            signs[-1] = run
        else:
            runs.append(run)
            signs.append("")
    return runs, list(zip(runs, runs[1:], signs, strict=False))


def with_usual_writing(rows: pl.DataFrame, writings: dict[str, str]) -> pl.DataFrame:
    """Write every serial as on record; where that is not as typed, the note says how it was typed."""
    if not writings or rows.is_empty():
        return rows
    other = pl.col("serial").is_in(list(writings))
    rows = rows.with_columns(
        _noted("serial", other).alias("note"), pl.col("serial").replace(writings).alias("serial")
    )
    if "subject" not in rows.columns:
        return rows
    part = (pl.col("kind") == "part") & pl.col("subject").is_in(list(writings))
    spelt = pl.when(part).then(pl.col("subject").replace(writings)).otherwise("subject")
    return rows.with_columns(_noted("part", part, "subject").alias("note"), spelt.alias("subject"))


def _noted(what: str, other: pl.Expr, column: str = "serial") -> pl.Expr:
    said = pl.format(f"{what} typed {{}}", pl.col(column))
    noted = pl.when(pl.col("note") == "").then(said).otherwise(pl.format("{}; {}", pl.col("note"), said))
    return pl.when(other).then(noted).otherwise(pl.col("note"))


def other_writings(serial: str) -> set[str]:
    """Return the commonest other writings of one serial, to be looked for on record.

    Examples
    --------
    >>> sorted(other_writings("rv 711"))
    ['RV 711', 'RV-711', 'RV/711', 'RV711', 'rv-711', 'rv/711', 'rv711']
    """
    runs, between = _taken_apart(serial)
    if not any(map(str.isalpha, runs)):
        return set()
    spelt = {serial.strip()}
    for sign in ("-", "", " ", "/"):
        own = (
            typed if one.isdecimal() is two.isdecimal() and not (typed and sign) else sign
            for one, two, typed in between
        )
        spelt.add("".join(a + b for a, b in zip(runs, [*own, ""], strict=True)))
    return {way for one in spelt for way in (one, one.upper(), one.lower())} - {serial}


def doubtful_writings(serials: Iterable[str], known: Known) -> dict[str, list[str]]:
    """Return the serials that are another writing of two pieces on record or more, with these."""
    on_record = _on_record(known)
    of = {serial: on_record.get(written_alike(serial), set()) for serial in serials}
    return {serial: sorted(own) for serial, own in of.items() if len(own) > 1 and serial not in own}


def _on_record(known: Known) -> dict[str, set[str]]:
    found: dict[str, set[str]] = defaultdict(set)
    for serial in {*known.serials, *known.parts}:
        found[written_alike(serial)].add(serial)
    return found


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
        the one with more capital letters is taken, written as most serials with its letters are.
    """
    on_record = _on_record(known)
    every = {*known.serials, *known.parts, *serials}
    new: dict[str, set[str]] = defaultdict(set)
    for serial in serials - set(known.serials) - known.parts:
        new[written_alike(serial)].add(serial)
    sign = _usual_sign({*known.serials, *known.parts}, prefix)
    sign = _usual_sign(serials, prefix) if sign is None else sign
    behind = Counter(
        (two["sign"], two["letters"])
        for serial in every
        if (two := _LETTERS_BEHIND.match(serial)) is not None and two["sign"] in _SIGNS
    )
    ways: dict[tuple[str, ...], Counter[tuple[str, ...]]] = defaultdict(Counter)
    for serial in every:
        kind, way = _way_of(serial)
        ways[kind][way] += 1
    found: dict[str, str] = {}
    for alike, written in new.items():
        usual = on_record.get(alike, set())
        if len(usual) == 1:
            found.update(dict.fromkeys(written, next(iter(usual))))
        elif not usual:
            best = max(sorted(written), key=lambda serial: (sum(map(str.isupper, serial)), -len(serial)))
            if prefix and _letters(prefix) and best.casefold().startswith(_letters(prefix).casefold()):
                best = _as_the_shop_does(best, prefix, sign)
            elif _LETTERS_BEHIND.match(best) is not None:
                best = best if prefix else _as_others(best, behind)
            else:
                best = _as_most(best, ways)
            found.update({serial: best for serial in written if serial != best})
    return found


def _way_of(serial: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return of which kind a serial is, its letters and where numbers stand, and how that is written."""
    runs, between = _taken_apart(serial)
    kind = tuple("0" if run.isdecimal() else run.casefold() for run in runs)
    signs = tuple(sign for _, _, sign in between)
    return kind, (*(run for run in runs if not run.isdecimal()), *signs)


def _as_most(serial: str, ways: dict[tuple[str, ...], Counter[tuple[str, ...]]]) -> str:
    """Write a new serial as most pieces with its letters are, as typed where no way has more than its own."""
    kind, own = _way_of(serial)
    runs, between = _taken_apart(serial)
    if not any(map(str.isalpha, kind)) or not any(run.isdecimal() for run in runs):
        return serial
    most = max(ways[kind].values(), default=0)
    if ways[kind][own] == most:
        return serial
    best = max(way for way, n in ways[kind].items() if n == most)
    letters, signs = list(best[: len(best) - len(between)]), best[len(best) - len(between) :]
    spelt = [run if run.isdecimal() else letters.pop(0) for run in runs]
    return "".join(a + b for a, b in zip(spelt, [*signs, ""], strict=True))


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
