"""The data dictionary: every column of every exported table, its unit and what it means.

The tables are made by these lists, the dictionary beside them is these lists, and so is the page of the
documents: a column cannot be in one and lack in another.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import polars as pl

from qc.column_types import Schema, polars_schema
from qc.plan import READING

TableName = Literal["readings", "pieces", "signals", "limits", "held", "plan", "dictionary"]

OWN_UNIT = "as in `unit`"
"""Of a figure whose unit stands in the same row."""


@dataclass(frozen=True, slots=True)
class TableColumn:
    """One column: `kind` as `qc.plan` names types, `unit` empty where it has none."""

    name: str
    kind: str
    unit: str
    meaning: str


def _columns(*rows: tuple[str, str, str, str]) -> tuple[TableColumn, ...]:
    return tuple(TableColumn(*row) for row in rows)


_SERIES = _columns(
    ("series", "str", "", "stage/characteristic/family: what is charted together"),
    ("stage", "str", "", "step of making, its id in the plan"),
    ("characteristic", "str", "", "what is measured there, its id in the plan"),
    ("family", "str", "", "models pooled in the series: a family, a model, or all"),
)

_OF_READING: dict[str, tuple[str, str]] = {
    "measured_at": (
        "UTC",
        "moment of the reading; midnight of the day where none was typed",
    ),
    "offset_min": ("min", "what the shop's time was ahead of UTC then"),
    "has_time": ("", "whether a time was typed"),
    "day": ("", "day of the reading in the shop"),
    "entered_at": ("UTC", "moment of the upload"),
    "serial": ("", "the piece"),
    "model": ("", "its model; empty for a part that is not yet tied to one"),
    "stage": ("", "step of making, its id in the plan"),
    "characteristic": ("", "what is measured there, its id in the plan"),
    "leg": ("", "place: upper or lower leg"),
    "station": ("", "place: where along the tube or bell"),
    "direction": ("degree", "place: round the axis"),
    "surface": ("", "place: stocking or body of an inner tube"),
    "valve": ("", "place: open, or the valves pressed, joined by +"),
    "position": ("", "place: slide position"),
    "partial": ("", "place: number of the partial blown"),
    "area": ("", "place: area of lacquer"),
    "spot": ("", "place: number of the spot in its area"),
    "repeat": ("", "1 for the first reading at a place"),
    "value": (OWN_UNIT, "the figure; pass or fail as 0 (good) and 1 (fault)"),
    "unit": ("", "unit of `value`"),
    "text": ("", "the figure as typed"),
    "person": ("", "code of who measured"),
    "gauge": ("", "what it was measured with"),
    "tool": ("", "die, mandrel or other tool it was made with"),
    "tool_count": ("draw", "draws since the tool was fitted"),
    "batch": ("", "batch of the material"),
    "air_c": ("C", "temperature of the room"),
    "method": ("", "how the slide was placed"),
    "note": ("", "what was noted beside it"),
    "sheet": ("", "SHA-256 of the sheet that it came on"),
    "tab": ("", "worksheet in it, empty for csv"),
    "row": ("", "line in it"),
    "column": ("", "column in it"),
}
"""Unit and meaning of what a reading has; names and types are those of `qc.plan.READING`."""

_READINGS = (
    _SERIES[0],
    _SERIES[3],
    *(TableColumn(name, kind, *_OF_READING[name]) for name, kind in READING.items()),
    TableColumn("reading", "int", "", "number of the reading, by which `qc correct` finds it"),
)

_PIECES = (
    *_SERIES,
    *_columns(
        ("ordinal", "int", "", "number of the piece in its series, in order of making, from 1"),
        ("serial", "str", "", "the piece"),
        ("day", "date", "", "day it was measured"),
        ("model", "str", "", "its model"),
        ("value", "float", OWN_UNIT, "its figure as charted and judged: less the target where `centered`"),
        ("measured", "float", OWN_UNIT, "its figure as measured, reduced over its places"),
        ("unit", "str", "", "unit of the figures"),
        ("centered", "bool", "", "whether `value` is the deviation from target"),
        ("target", "float", OWN_UNIT, "target of its model on that day, as measured"),
        ("lower", "float", OWN_UNIT, "lower limit of its model on that day, as measured"),
        ("upper", "float", OWN_UNIT, "upper limit of its model on that day, as measured"),
        ("readings", "int", "", "readings it was reduced from"),
        ("spread", "float", OWN_UNIT, "standard deviation of the readings within the piece"),
        ("size", "float", "", "of a count the area looked at, of pass or fail the units tested"),
        ("shape", "str", "", "shape of scatter it is judged by: auto (learned), normal, positive or any"),
        ("behaviour", "str", "", "of the series: learning, steady or drifting"),
        ("present", "bool", "", "whether it belongs to the present state, on which capability rests"),
        ("left_out", "bool", "", "whether a lead left it out as not representative"),
        ("person", "str", "", "code of who measured"),
        ("gauge", "str", "", "what it was measured with"),
        ("tool", "str", "", "what it was made with"),
        ("tool_count", "int", "draw", "draws since the tool was fitted"),
        ("batch", "str", "", "batch of the material"),
        ("air_c", "float", "C", "temperature of the room"),
        ("note", "str", "", "what was noted beside it"),
    ),
)

_SIGNALS = (
    TableColumn("signal", "str", "", "id of the signal, as in `qc signals`"),
    *_SERIES,
    *_columns(
        ("kind", "str", "", "single, shift, trend, spread or count"),
        ("side", "str", "", "above, below or both"),
        ("state", "str", "", "open, in-hand, closed or closed-false"),
        ("over", "bool", "", "whether the series came back to its old state"),
        ("raised_serial", "str", "", "piece at which it was raised"),
        ("raised_day", "date", "", "day of that piece"),
        ("start_serial", "str", "", "first piece of the changed stretch"),
        ("start_day", "date", "", "day of that piece"),
        ("raised", "int", "", "number of the piece at which it was raised, in its series"),
        ("start", "int", "", "number of the first piece of the changed stretch"),
        ("start_low", "int", "", "first piece of the 90 % set of the start"),
        ("start_high", "int", "", "last piece of the 90 % set of the start"),
        ("ended", "int", "", "number of the first piece back at the old state"),
        ("pieces", "int", "", "pieces since the start, the first included"),
        ("size", "float", OWN_UNIT, "size of the change"),
        ("size_low", "float", OWN_UNIT, "lower end of the interval of the size"),
        ("size_high", "float", OWN_UNIT, "upper end of the interval of the size"),
        ("size_sigma", "float", "spread", "size of the change in spreads of the settled state"),
        ("unit", "str", "", "unit of the size"),
        ("rate", "float", "per piece", "rate of false signals it was judged at"),
        ("sentence", "str", "", "what happened, in words"),
        ("because", "str", "", "what it coincides with, and what did not change"),
        ("suspects", "str", "", "things that changed then, likeliest first, divided by semicolons"),
        ("next_step", "str", "", "what to do"),
        ("owner", "str", "", "code of who has it in hand"),
        ("due", "date", "", "day by which it is to be closed"),
        ("outcome", "str", "", "of a closed one: mended, stays or false"),
        ("cause", "str", "", "of a closed one: code of its cause"),
        ("action", "str", "", "of a closed one: what was done"),
        ("closed_by", "str", "", "of a closed one: code of who closed it"),
        ("closed_at", "datetime", "UTC", "of a closed one: when"),
    ),
)

_LIMITS = (
    *_SERIES,
    *_columns(
        ("name", "str", "", "stage, characteristic and family in words"),
        ("unit", "str", "", "unit of the figures"),
        ("kind", "str", "", "measured, count or pass-fail"),
        ("centered", "bool", "", "whether the limits and figures are deviations from target"),
        ("target", "float", OWN_UNIT, "target, on the scale of `value` in pieces"),
        ("lower", "float", OWN_UNIT, "lower limit of the plan, on that scale"),
        ("upper", "float", OWN_UNIT, "upper limit of the plan, on that scale"),
        ("natural_lower", "float", OWN_UNIT, "lower limit of the settled state for the next piece"),
        ("natural_upper", "float", OWN_UNIT, "upper limit of the settled state for the next piece"),
        ("pieces", "int", "", "pieces of the series"),
        ("before", "int", "", "pieces made before the first one in pieces; they are no longer read"),
        ("rests_on", "int", "", "pieces of the present state, on which capability rests"),
        ("counts_as", "int", "", "independent pieces they are worth, where they hang together"),
        ("behaviour", "str", "", "learning, steady or drifting"),
        ("settled_since", "date", "", "first day of a new level it settled at while nobody said why"),
        ("shape", "str", "", "shape of scatter it is judged by: auto (learned), normal, positive or any"),
        ("capable", "str", "", "proven, unproven or no; empty without limits"),
        ("ppk", "float", "", "capability index"),
        ("ppk_low", "float", "", "lower end of its interval"),
        ("ppk_high", "float", "", "upper end of its interval"),
        ("reason", "str", "", "why the index is withheld"),
        ("outside_share", "float", "", "expected share outside the limits, 0 to 1"),
        ("outside_low", "float", "", "lower end of its interval"),
        ("outside_high", "float", "", "upper end of its interval"),
        ("sd_between", "float", OWN_UNIT, "standard deviation between pieces"),
        ("sd_within", "float", OWN_UNIT, "standard deviation within a piece"),
        ("baseline_first", "int", "", "first piece of a settled state that a lead froze"),
        ("baseline_last", "int", "", "last piece of it"),
    ),
)

_HELD = _columns(
    ("state", "str", "", "open (still waits), accepted or dropped"),
    ("table", "str", "", "what the row would have been: reading or event"),
    ("stage", "str", "", "stage that the row names"),
    ("characteristic", "str", "", "characteristic that the row names"),
    ("reason", "str", "", "name of the reason; a row with two reasons counts under each"),
    ("rows", "int", "", "held rows"),
)

_PLAN = _columns(
    ("stage", "str", "", "step of making, its id in the plan"),
    ("stage_name", "str", "", "its name"),
    ("characteristic", "str", "", "what is measured there, its id in the plan"),
    ("name", "str", "", "its name"),
    ("unit", "str", "", "unit of its figures"),
    ("kind", "str", "", "measured, count or pass-fail"),
    ("shape", "str", "", "shape of scatter: auto (learned), normal, positive or any"),
    ("pool", "str", "", "what is charted together: family, all or model"),
    ("charted", "bool", "", "whether it has a series of its own"),
    ("decides", "str", "", "what of a piece has to keep the limits: every-place, mean or 80-20"),
    ("gauge_class", "str", "", "class of gauge it is read with"),
    ("resolution", "float", OWN_UNIT, "step of its readings"),
    ("sampling", "str", "", "which pieces are measured"),
    ("models", "str", "", "models that the limits are for, divided by commas; empty for every model"),
    ("at", "str", "", "places that the limits are for; empty for every place"),
    ("since", "date", "", "day from which the limits hold; empty where they always did"),
    ("target", "float", OWN_UNIT, "target"),
    ("lower", "float", OWN_UNIT, "lower limit"),
    ("upper", "float", OWN_UNIT, "upper limit"),
)

_DICTIONARY = _columns(
    ("table", "str", "", "table that the column stands in"),
    ("column", "str", "", "name of the column"),
    ("type", "str", "", "str, int, float, bool, date or datetime"),
    ("unit", "str", "", "unit, empty where it has none"),
    ("meaning", "str", "", "what stands there"),
)

TABLES: dict[TableName, tuple[TableColumn, ...]] = {
    "readings": _READINGS,
    "pieces": _PIECES,
    "signals": _SIGNALS,
    "limits": _LIMITS,
    "held": _HELD,
    "plan": _PLAN,
    "dictionary": _DICTIONARY,
}
"""Every exported table with its columns, in the order in which they are written."""


def kinds_of(table: TableName) -> dict[str, str]:
    """Return the columns of a table with their types, as `qc.plan` names types."""
    return {column.name: column.kind for column in TABLES[table]}


def schema_of(table: TableName) -> Schema:
    """Return the columns of a table with their types, as polars names them."""
    return polars_schema(kinds_of(table))


def dictionary() -> pl.DataFrame:
    """Return the data dictionary as a table, itself included."""
    rows = [
        (table, column.name, column.kind, column.unit or None, column.meaning)
        for table, columns in TABLES.items()
        for column in columns
    ]
    return pl.DataFrame(rows, schema=schema_of("dictionary"), orient="row")
