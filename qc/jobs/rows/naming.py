"""What a row is called where people read of it: its piece, its figure and its place, never a number alone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from qc.plan import Plan
from qc.watch import PLACE_WORDS


@dataclass(frozen=True, slots=True)
class ColumnChange:
    """What a column said, and what it says now."""

    column: str
    was: str
    becomes: str

    def sentence(self) -> str:
        """Say it: ``215 becomes 214.0``."""
        return change_words(self.column, self.was, self.becomes)


def place_words(row: Mapping[str, Any]) -> str:
    """Say where on the piece a reading was taken.

    Examples
    --------
    >>> place_words({"leg": "upper", "station": "mouth", "repeat": 2}), place_words({"leg": None})
    ('upper leg, mouth, reading 2', '')
    """
    place = [said.format(row[part]) for part, said in PLACE_WORDS.items() if row.get(part) not in (None, "")]
    if (row.get("repeat") or 1) > 1:
        place.append(f"reading {row['repeat']}")
    return ", ".join(place)


def figure_words(row: Mapping[str, Any], plan: Plan) -> str:
    """Say what was measured, or what happened."""
    figure = plan.characteristic(str(row.get("stage") or ""), str(row.get("characteristic") or ""))
    return figure.name if figure else str(row.get("characteristic") or row.get("kind") or "")


def piece_words(row: Mapping[str, Any], plan: Plan) -> str:
    """Say which figure of which piece a row is, with its place."""
    parts = (str(row.get("serial") or "no serial"), figure_words(row, plan), place_words(row))
    return ", ".join(part for part in parts if part)


def value_words(value: object, text: str = "") -> str:
    """Write a value as it was typed where that is what it says, else as short as it can be.

    Examples
    --------
    >>> value_words(0.5, "0.50"), value_words(214.0, "214,0"), value_words(0.5, "500"), value_words(None)
    ('0.50', '214,0', '0.5', '(empty)')
    """
    if value is None or value == "":
        return "(empty)"
    if not isinstance(value, float):
        return value.isoformat() if isinstance(value, date) else str(value)
    return text if _number(text) == value else f"{value:.12g}"


def change_words(name: str, was: str, becomes: str) -> str:
    """Say what a change makes of a column; of the figure itself, without its name.

    Examples
    --------
    >>> change_words("value", "215", "214.0"), change_words("tool_count", "7", "8")
    ('215 becomes 214.0', 'tool count 7 becomes 8')
    """
    said = f"{was} becomes {becomes}"
    return said if name == "value" else f"{name.replace('_', ' ')} {said}"


def _number(text: str) -> float | None:
    try:
        return float(text.strip().replace(",", ".").replace("\N{MINUS SIGN}", "-"))
    except ValueError:
        return None
