"""What headings and cells of a sheet say by themselves: units, steps, first days, letters of serials."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from datetime import date

from qc.ingest.cells import UNITS, heading, plain, possible_days, split_unit
from qc.ingest.first_plan.places import filled_down

NEARLY_ALL = 0.8
"""Of so many serials it must be true; chosen: one bench leaves the letters off now and then."""

_OWN_UNIT = re.compile(r"^[^\W\d_]{1,4}$")
_CAPITAL = re.compile(r"^[A-Z][A-Za-z]{0,2}$")
_BEGINS = re.compile(r"^[^\W\d_]+[-/.]?(?=\d)")


def unit_behind(label: str) -> str:
    """Return the unit behind a heading, in brackets or as its last word; empty where there is none.

    Examples
    --------
    >>> unit_behind("Clearance [um on diameter]"), unit_behind("Rim [HV]")
    ('um', 'HV')
    >>> unit_behind("Weight g"), unit_behind("Wall (thin side)")
    ('g', '')
    """
    bracket = re.search(r"[\[(]([^\])]*)[\])]\s*$", label)
    if not bracket:
        last = plain(label).rpartition(" ")[2]
        return UNITS.get(last, "") if " " in plain(label) else ""
    unit, _, stray = split_unit(bracket[1])
    own = bracket[1].strip()
    # a unit that only this shop has: one short word in square brackets, in round ones with a capital
    square = bracket[0].startswith("[")
    return unit or (own if stray and (_OWN_UNIT if square else _CAPITAL).match(own) else "")


def finest_step(texts: Iterable[str]) -> float | None:
    """Return the finest step that was typed more than once, 0.001 for 14.052; None without figures."""
    places = Counter(len(text.replace(",", ".").partition(".")[2].strip()) for text in texts)
    often = [count for count, times in places.items() if times > 1] or list(places)
    return float(f"1e-{max(often)}") if often else None


def first_days(columns: Sequence[tuple[str, list[str]]], said: Mapping[str, str]) -> dict[str, date]:
    """Return the first day of each piece, by columns or head; a day that may be two is left out."""
    cells = {heading(label).field: texts for label, texts in columns}
    serials = filled_down(cells.get("serial", [])) or [said.get("serial", "")]
    typed = filled_down(cells.get("day", []))
    typed = typed or [said.get("day", "")] * len(serials)
    found: dict[str, date] = {}
    for serial, text in zip(serials, typed, strict=False):
        days = possible_days(text)
        if serial and len(days) == 1:
            found[serial] = min(days[0], found.get(serial, days[0]))
    return found


def serial_letters(serials: Sequence[str]) -> str:
    """Return what nearly all serials begin with before their number, empty where they begin differently.

    Examples
    --------
    >>> serial_letters(["HL-201", "HL-202"]), serial_letters(["A1", "B2"])
    ('HL-', '')
    """
    begun = Counter(found[0] if (found := _BEGINS.match(serial)) else "" for serial in serials)
    letters, count = begun.most_common(1)[0] if begun else ("", 0)
    return letters if count >= NEARLY_ALL * len(serials) else ""
