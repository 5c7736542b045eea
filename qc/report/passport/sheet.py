"""A passport on one page of A4: judgement, figures on their limits, parts, life, a line to sign."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from importlib import resources
from pathlib import Path

TEMPLATE = "passport.typ"
MOST_FIGURES, MOST_PARTS, MOST_EVENTS, MOST_SENTENCES = 22, 8, 12, 8
"""What one page holds; more is counted, and the command has all of it. Chosen by setting full pages."""

MOST_WORDS = 240  # chosen: three lines of the page [character]

EDGE = 0.2
"""Where the limits lie on a strip, in parts of its width from either end; beyond is room for what is out."""

PAGE_MM, LINE_MM = 205, 4.3
"""Height that figures, lists and maps share, and of one line; measured on full pages [mm]."""

NARROW = 7  # columns of a map that fits into half the width

ROUND = (0.02, 0.98)  # what lies further out is drawn at the very end of the strip


@dataclass(frozen=True, slots=True)
class PassportFigure:
    """One figure: name, value, worst place, limits and answer in words; places and limits of its strip."""

    name: str
    value: str
    worst: str
    limits: str
    answer: str
    outside: bool
    places: tuple[float, ...]
    lower: float | None
    upper: float | None


@dataclass(frozen=True, slots=True)
class PassportMap:
    """A figure at each place in rows and columns; each cell is its text and whether it is outside."""

    title: str
    columns: tuple[str, ...]
    rows: tuple[str, ...]
    cells: tuple[tuple[tuple[str, bool], ...], ...]


@dataclass(frozen=True, slots=True)
class Passport:
    """What stands on the page.

    Attributes
    ----------
    serial, model, where, workshop : str
        The piece, where it is, and whose it is.
    as_of : date
        The day it holds for.
    known : date or None
        The day whose knowledge it is.
    judgement : tuple of str
        A sentence each.
    figures : tuple of PassportFigure
        In route order.
    parts : tuple of (str, str, str, str)
        Role, serial, batch and tool, when and by whom it was built in.
    events : tuple of (str, str)
        Day and what happened, oldest first.
    held : bool
        Whether it is to be held.
    maps : tuple of PassportMap
        Figures at each place, as far as the page has room.
    """

    serial: str
    model: str
    where: str
    workshop: str
    as_of: date
    known: date | None
    judgement: tuple[str, ...]
    figures: tuple[PassportFigure, ...]
    parts: tuple[tuple[str, str, str, str], ...]
    events: tuple[tuple[str, str], ...]
    held: bool
    maps: tuple[PassportMap, ...] = ()


def passport_pdf(passport: Passport) -> bytes:
    """Typeset a passport.

    Parameters
    ----------
    passport : Passport
        What stands on it.

    Returns
    -------
    bytes
        A pdf of one page with its fonts embedded; the same passport gives the same bytes on every machine.
    """
    import matplotlib
    import typst

    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    return typst.compile(
        resources.files("qc.report.passport").joinpath(TEMPLATE).read_bytes(),
        font_paths=typst.Fonts(include_system_fonts=False, font_paths=[folder]),
        format="pdf",
        sys_inputs={"data": json.dumps(_plain(passport), ensure_ascii=False)},
        timestamp=(passport.as_of.toordinal() - 719_163) * 86_400,  # days since 1970 as seconds
    )


def strip_of(
    places: Sequence[float], lower: float | None, upper: float | None
) -> tuple[list[float], float | None, float | None]:
    """Return where places and limits lie on a strip, in parts of its width.

    Two limits lie at `EDGE` from either end. Of one limit the other end lies as far from it as it does from
    nought, or where the furthest place is; of none both ends are the outermost places.

    Examples
    --------
    >>> strip_of([100.0, 150.0, 200.0], 100.0, 200.0)
    ([0.2, 0.5, 0.8], 0.2, 0.8)
    >>> strip_of([8.4, 14.4], 10.0, None)[1:]
    (0.2, None)
    """
    low = min(places) if lower is None else lower
    high = max(places) if upper is None else upper
    if lower is not None and upper is None:
        high = max(*places, lower + (abs(lower) or 1.0))
    if upper is not None and lower is None:
        low = min(*places, upper - (abs(upper) or 1.0))
    wide = (high - low) or 1.0
    least, most = ROUND
    at = [min(most, max(least, EDGE + (1 - 2 * EDGE) * (one - low) / wide)) for one in places]
    return at, None if lower is None else EDGE, None if upper is None else 1 - EDGE


def _plain(passport: Passport) -> dict[str, object]:
    """Cut the passport to what one page holds, and count what is left off."""
    figures = []
    for one in passport.figures[:MOST_FIGURES]:
        dots, lower, upper = strip_of(one.places, one.lower, one.upper)
        words = {name: getattr(one, name) for name in ("name", "value", "worst", "limits", "answer")}
        figures.append({**words, "outside": one.outside, "dots": dots, "lower": lower, "upper": upper})
    more = [
        f"{len(every) - most} more {what}"
        for every, most, what in (
            (passport.figures, MOST_FIGURES, "figures"),
            (passport.parts, MOST_PARTS, "parts"),
            (passport.events, MOST_EVENTS, "events"),
        )
        if len(every) > most
    ]
    return {
        **{name: getattr(passport, name) for name in ("serial", "model", "where", "workshop", "held")},
        "as_of": passport.as_of.isoformat(),
        "known": passport.known.isoformat() if passport.known else "",
        "judgement": [_cut(said) for said in passport.judgement[:MOST_SENTENCES]],
        "figures": figures,
        "parts": passport.parts[:MOST_PARTS],
        "events": [(day, _cut(said)) for day, said in passport.events[-MOST_EVENTS:]],
        "more": ", ".join(more),
        "maps": _maps(passport),
    }


def _maps(passport: Passport) -> list[dict[str, object]]:
    """Return the maps that the page has room for; narrow ones stand beside each other."""
    lists = max(min(len(passport.parts), MOST_PARTS), min(len(passport.events), MOST_EVENTS))
    room = PAGE_MM - LINE_MM * (1.3 * min(len(passport.figures), MOST_FIGURES) + 1.7 * lists)
    found: list[dict[str, object]] = []
    for one in sorted(passport.maps, key=lambda one: len(one.columns)):
        wide = len(one.columns) > NARROW
        high = LINE_MM * (len(one.rows) + 3)
        if high <= room:
            room -= high if wide else high / 2
            rows = [(name, *row) for name, row in zip(one.rows, one.cells, strict=True)]
            found.append({"title": one.title, "columns": one.columns, "rows": rows, "wide": wide})
    return found


def _cut(text: str) -> str:
    """Cut what would run over at the end of a word."""
    return text if len(text) <= MOST_WORDS else f"{text[:MOST_WORDS].rsplit(' ', 1)[0]} …"
