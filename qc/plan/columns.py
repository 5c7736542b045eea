"""The columns of the tidy tables: the one vocabulary of ingest, store and watch.

Everything measured becomes rows of `READING`, one value a row. What is not a measurement but belongs to the
life of a piece (which tube went into it, when it left, how long rework took) becomes rows of `EVENT`.
A row that could not be accepted becomes a row of `HELD`: the same columns as typed, with every reason.

Types are named, not imported, so that this module stays light: ``str``, ``int``, ``float``, ``bool``,
``date`` and ``datetime`` (microseconds, UTC).
"""

from __future__ import annotations

PLACE: dict[str, str] = {
    "leg": "str",  # upper, lower
    "station": "str",  # where along the tube or bell: mouth, middle, crook; 1..5 on a bell
    "direction": "str",  # degrees round the axis: 0, 60, 90 ...
    "surface": "str",  # stocking or body, inner tubes only
    "valve": "str",  # open, or the names of the valves pressed joined by +
    "position": "int",  # slide position 1..7
    "partial": "int",  # number of the partial blown
    "area": "str",  # lacquer area: flare, stem, bows, slide, valve
    "spot": "int",  # number of the spot in its area
}
"""Where on a piece a reading was taken; empty where a part does not apply."""

READING: dict[str, str] = {
    "measured_at": "datetime",  # UTC; midnight of the measured day in the plan's zone where no time was typed
    "offset_min": "int",  # offset of the plan's zone from UTC at that moment [min]
    "has_time": "bool",  # False where the card carried only a date
    "day": "date",  # measured day in the plan's zone
    "entered_at": "datetime",  # UTC, when the upload took it
    "serial": "str",
    "model": "str",  # empty for a part not yet tied to a model
    "stage": "str",
    "characteristic": "str",
    **PLACE,
    "repeat": "int",  # 1 for the first reading at a place
    "value": "float",  # in `unit`; counts as whole numbers, pass-fail as 0 (good) or 1 (fault)
    "unit": "str",
    "text": "str",  # the value as typed
    "person": "str",
    "gauge": "str",
    "tool": "str",
    "tool_count": "int",  # draws since the tool was fitted
    "batch": "str",
    "air_c": "float",  # room temperature [C]
    "method": "str",  # how the slide was placed: stop, gauge-block, marked, by-ear
    "note": "str",
    "sheet": "str",  # SHA-256 of the sheet's bytes
    "tab": "str",  # worksheet name, empty for csv
    "row": "int",  # 1-based line of the sheet
    "column": "str",  # column letter or header the value stood in
}

EVENT_KINDS: tuple[str, ...] = (
    "part",  # subject = serial of the part, code = its role (inner-upper, outer-lower, bell, valve, leadpipe)
    "shipped",
    "returned",  # code = cause
    "play-test",  # code = pass | rework | reject
    "rework",  # value = hours, code = cause, stage = where
    # subject = gauge, value = reading less master [unit], code = zeroed | as-found,
    # batch = what it was put on
    "gauge-check",
    "tool-fitted",  # subject = tool, code = class
    "batch-opened",  # subject = batch; what it is of stands in the note
    "no-card",  # a day on which no card of the stage is to be expected, by choice
)

EVENT: dict[str, str] = {
    "kind": "str",
    "measured_at": "datetime",
    "day": "date",
    "entered_at": "datetime",
    "serial": "str",  # the piece, empty where none is meant (a gauge check)
    "model": "str",
    "stage": "str",
    "subject": "str",
    "code": "str",
    "value": "float",
    "unit": "str",
    "text": "str",
    "person": "str",
    "tool": "str",  # the mandrel or die a part was made on
    "batch": "str",
    "note": "str",
    "sheet": "str",
    "tab": "str",
    "row": "int",
    "column": "str",
}

HELD: dict[str, str] = {
    "sheet": "str",
    "file": "str",
    "tab": "str",
    "row": "int",
    "column": "str",
    "cell": "str",  # A1-style address, or "line 12, value" for csv
    "table": "str",  # reading | event
    "text": "str",  # the value as typed
    "reasons": "str",  # JSON list of {"id", "sentence", "mend", "proposal"}; every reason, not the first
    "proposal": "str",  # JSON object of columns to change for one-click acceptance, "" where none is offered
    "typed": "str",  # JSON object: the whole row as unfolded, so that it can be mended and accepted
}

TUBE_FIGURES = ("inner_od", "outer_bore")
"""Figures of the plan that the cards of slide tubes give, one for each side."""

CLEARANCE_READ = "clearance_read"
"""The figure of a card that gives clearances instead of two diameters."""
