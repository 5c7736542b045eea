"""Reads one row of a sheet into the columns every reading and event shares."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from datetime import date

from qc.ingest.cards.layout import Column
from qc.ingest.cards.recognition import GAUGE, VALUE, CardSheet
from qc.ingest.cells import (
    COMMA_NOTE,
    FACTORS,
    NOTHING,
    WEIGHED,
    about,
    convert,
    plain,
    read_moment,
    read_number,
    read_tally,
    read_verdict,
    read_whole,
    signs_counted,
    split_unit,
    weight_of,
    without_groups,
)
from qc.ingest.shapes import place_meant, ways_to_join
from qc.ingest.unfolded import ReadingColumns, SharedColumns, UnfoldedReading
from qc.plan import PLACE, Characteristic, Plan

_CERTAIN_COMMA = re.compile(r"^\s*[+-]?(?:0,\d+|\d+,(?:\d{1,2}|\d{4,}))\s*$")
_EXTRA_NOTES = ("main_out_mm", "wrap_out_mm", "a4_hz", "fault_type")
_LABELS = {
    "main_out_mm": "main slide out mm",
    "wrap_out_mm": "wrap slide out mm",
    "a4_hz": "A4 Hz",
    "fault_type": "fault",
}


class RowReader:
    """Reads the cells of one sheet by our names, row by row.

    Parameters
    ----------
    sheet : CardSheet
        The sheet whose card is known.
    plan : Plan
        The measuring plan; it gives the zone, the people, gauges, tools and models.
    """

    def __init__(self, sheet: CardSheet, plan: Plan) -> None:
        self.sheet, self.plan, self.grid = sheet, plan, sheet.parts.grid
        self.card = sheet.card
        self.comma_decimal, self.comma_is_usual = _comma_habit(sheet)
        self._people = {p.code.casefold(): p.code for p in plan.people}
        self._models = {plain(n): m.id for m in plan.models for n in (m.id, m.name)}
        self._gauges = {plain(n): g.id for g in plan.gauges for n in (g.id, g.name)}
        self._tools = {plain(n): t.id for t in plan.tools for n in (t.id, t.name)}
        self._places = _spelled_places(sheet, plan)
        self._nominals: dict[tuple[str, str, date | None], float | None] = {}
        self._head_note = "; ".join(f"{v.label}: {v.text}" for v in sheet.extra if v.text)
        last = max(column.index for column in sheet.parts.columns) + 1
        self.width = max(last, self.grid.width(sheet.parts.header_row))

    def rows(self) -> Iterator[Row]:
        """Give every filled row of the table in turn."""
        for index in self.sheet.parts.body:
            yield Row(self, index)

    def has(self, field: str) -> bool:
        """Tell whether the table or the head has a cell for this name."""
        return field in self.sheet.columns or field in self.sheet.head

    def column(self, field: str) -> Column | None:
        """Return the column of the table under our name, None where only the head has it or none."""
        return self.sheet.columns.get(field)

    def nominal(self, characteristic: Characteristic, model: str, day: date | None) -> float | None:
        """Return what a figure should be near: the target, else the middle of the limits."""
        key = (characteristic.id, model, day)
        if key not in self._nominals:
            self._nominals[key] = _nominal(self.plan, characteristic, model, day)
        return self._nominals[key]


class Row:
    """One row of a table; cells are asked for by our names, a cell of the table winning over the head."""

    def __init__(self, reader: RowReader, index: int) -> None:
        self.reader, self.index = reader, index
        self.bad: dict[str, str] = {}
        self.joined = False
        self._cells = list(reader.grid.rows[index])
        if reader.grid.width(index) > reader.width:
            self._rejoin()

    def text(self, field: str) -> str:
        """Return the text under a name, trimmed; empty where nothing was typed."""
        column = self.reader.sheet.columns.get(field)
        if column is not None and column.index < len(self._cells):
            typed = self._cells[column.index].strip()
            if typed:
                return typed
        value = self.reader.sheet.head.get(field)
        return value.text if value is not None else ""

    def cell(self, field: str) -> str:
        """Return the address of the cell under a name, of the first cell of the row where it has none."""
        column = self.reader.sheet.columns.get(field)
        if column is not None:
            return self.reader.grid.cell(self.index, column.index, column.label)
        value = self.reader.sheet.head.get(field)
        if value is not None:
            return self.reader.grid.cell(value.row, value.column, value.label)
        return self.reader.grid.cell(self.index, 0)

    def number(self, field: str, unit: str = "") -> float | None:
        """Read a figure beside the readings (room, draws); what cannot be read is kept as bad."""
        typed = self.text(field)
        if not typed:
            return None
        value = read_number(typed, unit, comma_decimal=True).value
        if value is None:
            self.bad[field] = typed
        return value

    def whole(self, field: str) -> int | None:
        """Read a whole number beside the readings; what cannot be read is kept as bad."""
        typed = self.text(field)
        if not typed:
            return None
        value = read_whole(typed)
        if value is None:
            self.bad[field] = typed
        return value

    def common(self) -> SharedColumns:
        """Return the columns that readings and events share."""
        reader, grid = self.reader, self.reader.grid
        day_text = self.text("day")
        zone, order = reader.plan.workshop.time_zone, reader.sheet.dates
        moment = read_moment(day_text, zone, self.text("time"), order) if day_text else None
        serial = " ".join(self.text("serial").split())
        first, _, last = serial.rpartition(" ")
        model = reader._models.get(plain(last), "") if first and not self.text("model") else ""
        serial = first if model else serial  # RO-428 rowan: the piece and its model in one cell
        return {
            "measured_at": moment.at if moment else None,
            "day": moment.day if moment else None,
            "offset_min": moment.offset_min if moment else None,
            "has_time": moment.has_time if moment else False,
            "day_text": day_text,
            "serial": serial,
            "model": model or self._known(reader._models, "model"),
            "stage": reader.card.stage or "",
            "person": self._known(reader._people, "person"),
            "batch": self.text("batch"),
            "tool": self._known(reader._tools, "tool"),
            "note": self._note(),
            "sheet": grid.sheet,
            "tab": grid.tab,
            "row": grid.lines[self.index],
            "file": grid.file,
            "card": reader.card.id,
        }

    def reading_fields(self) -> ReadingColumns:
        """Return the columns every reading of this row shares, place and tool count included."""
        return {
            **self.common(),
            "leg": self._place("leg"),
            "station": self._place("station"),
            "direction": self._place("direction", "° "),
            "surface": self._place("surface"),
            "valve": place_meant("valve", self.text("valve"), self.reader._places),
            "position": self.whole("position"),
            "partial": self.whole("partial"),
            "area": self._place("area"),
            "spot": self.whole("spot"),
            "repeat": self.whole("repeat"),
            "tool_count": self.whole("tool_count"),
            "air_c": self.number("air_c", "C"),
            "method": self.text("method").casefold().replace(" ", "-"),
        }

    def _place(self, field: str, marks: str = "") -> str:
        """Return a place as the plan spells it, in small letters where the plan knows none of this name."""
        typed = self.text(field).casefold().rstrip(marks)
        spelled = self.reader._places.get(field, {})
        if typed in spelled or not typed.rstrip(".").isalpha():
            return spelled.get(typed, typed)
        if (meant := place_meant(field, typed, self.reader._places)) != typed:
            return meant
        begun = [place for name, place in spelled.items() if name.startswith(typed.rstrip("."))]
        return begun[0] if len(begun) == 1 else typed  # shortened to what fits the box

    def gauge(self, characteristic: Characteristic | None) -> str:
        """Return the gauge a figure was read with: the cell of its class, else the general one.

        A general gauge of another class than the figure asks for is left to the figures it fits, where the
        card holds figures of several classes.
        """
        known = self.reader._gauges
        wanted = characteristic.gauge_class if characteristic is not None else None
        if wanted and self.text(GAUGE + wanted):
            typed = self.text(GAUGE + wanted)
            return known.get(plain(typed), typed)
        typed = self.text("gauge")
        if not typed:
            return ""
        found = self.reader.plan.gauge(known.get(plain(typed), ""))
        if found is None or not wanted or found.gauge_class == wanted:
            return found.id if found else typed
        classes = {c.gauge_class for c in self.reader.plan.figures_on(self.reader.card)}
        return "" if found.gauge_class in classes else found.id

    def figure(self, characteristic: Characteristic, field: str, fields: ReadingColumns) -> UnfoldedReading:
        """Return one whole reading: shared columns plus the figure under a name."""
        column = self.reader.sheet.columns[field]
        typed = self.text(field)
        asked = self.text("asked")
        self.bad |= asked_cells(asked)
        written = column.heading.unit or self._unit(characteristic)
        nominal = self.reader.nominal(characteristic, fields["model"], fields["day"])
        value, note = self._value(characteristic, typed, written, nominal)
        hint = f"joined={value!r}" if self.joined and value is not None else ""
        if value is None and (roughly := about(typed)):
            meant, _ = self._value(characteristic, roughly, written, nominal)
            hint = f"about={meant!r}" if meant is not None else ""
        if value is None and (weight := weight_of(typed, written, characteristic.unit)) is not None:
            hint = f"weighs={weight!r}"
        if value is None and characteristic.kind == "count" and (signs := signs_counted(typed)):
            hint = f"signs={signs}"
        hint = f"asked={asked}" if asked_cells(asked) else hint
        joined = hint.startswith("joined")
        return {
            **fields,
            "characteristic": characteristic.id,
            "value": None if joined else value,
            "unit": characteristic.unit,
            "text": typed,
            "gauge": self.gauge(characteristic),
            "note": "; ".join(part for part in (fields["note"], note) if part),
            "cell": self.cell(field),
            "column": column.label,
            "hint": hint,
            "bad": json.dumps(self.bad, ensure_ascii=False) if self.bad else "",
        }

    def _value(
        self, characteristic: Characteristic, typed: str, written: str, nominal: float | None
    ) -> tuple[float | None, str]:
        # the target is brought into the unit of the heading: it decides what a comma before three digits
        # means
        if characteristic.kind == "pass-fail":
            return read_verdict(typed)
        if (written, characteristic.unit) in WEIGHED:
            return None, ""  # what was read, a balance or a mass hung on, is for the bench to say
        reader = self.reader
        scaled = nominal
        if written != characteristic.unit and nominal is not None:
            scaled = nominal / convert(1.0, written, characteristic.unit)
        typed = without_groups(typed, reader.sheet.decimal)
        number = read_number(typed, written, nominal=scaled, comma_decimal=reader.comma_decimal)
        note = number.note
        if not note and "," in typed and number.value is not None and not reader.comma_is_usual:
            note = COMMA_NOTE
        if number.value is None and characteristic.kind == "count":
            if plain(typed) in NOTHING:
                return 0.0, f"{typed.strip()} read as 0"
            strokes = read_tally(typed)
            return (
                (None, note) if strokes is None else (float(strokes), f"{typed.strip()} counted as strokes")
            )
        if number.value is None or written == characteristic.unit:
            return number.value, note
        note = "; ".join(filter(None, (note, f"typed in {written}, kept in {characteristic.unit}")))
        return convert(number.value, written, characteristic.unit), note

    def _unit(self, characteristic: Characteristic) -> str:
        """Return the unit that the row, or else the head, names for its figures; else the plan's.

        What the head says of one figure need not be true of another, so there only what fits is taken.
        """
        typed = self.text("unit")
        written, _, _ = split_unit(typed, {plain(characteristic.unit): characteristic.unit})
        if (
            not typed
            or written == characteristic.unit
            or (written, characteristic.unit) in {**FACTORS, **WEIGHED}
        ):
            return written or characteristic.unit
        column = self.reader.column("unit")
        if column is not None and "".join(self._cells[column.index : column.index + 1]).strip():
            self.bad["unit"] = typed
        return characteristic.unit

    def _known(self, names: dict[str, str], field: str) -> str:
        typed = self.text(field)
        return names.get(plain(typed), typed) if typed else ""

    def _note(self) -> str:
        parts = [self.text("note")]
        parts += [f"{_LABELS[name]}: {text}" for name in _EXTRA_NOTES if (text := self.text(name))]
        return "; ".join(filter(None, (*parts, self.reader._head_note)))

    def _rejoin(self) -> None:
        """Find the one way to join figures that their decimal comma split in a comma-separated sheet."""
        cells, grid = self._cells, self.reader.grid
        extra = grid.width(self.index) - self.reader.width
        if grid.separator == ",":
            fits = [way for way in ways_to_join(cells, extra) if self._plausible(way)]
            if len(fits) == 1:
                self._cells, self.joined = fits[0], True
                return
        if len(cells) > self.reader.width:  # more than the empty cells some programs end every line with
            self.bad["cells"] = grid.separator.join(cells)

    def _plausible(self, cells: list[str]) -> bool:
        """Every figure of the row can be read and is sensible, whole numbers are whole."""
        for field, column in self.reader.sheet.columns.items():
            text = cells[column.index].strip() if column.index < len(cells) else ""
            if "," in text and not _takes_fraction(field):
                return False
            if text and (PLACE.get(field) == "int" or field == "repeat") and read_whole(text) is None:
                return False
            if text and field in {"cents", "hz"} and read_number(text, comma_decimal=True).value is None:
                return False
            characteristic = figure_of(self.reader, field)
            if text and characteristic is not None:
                value, _ = self._value(characteristic, text.replace(",", "."), characteristic.unit, None)
                low, high = characteristic.sensible or (float("-inf"), float("inf"))
                if value is None or not low <= value <= high:
                    return False
        return True


def asked_cells(text: str) -> dict[str, str]:
    """Return the cells that a question about a row is of; none where it is no question of ours."""
    try:
        found = json.loads(text)["bad"] if text.startswith("{") else {}
    except (ValueError, KeyError, TypeError):
        return {}
    return {str(name): str(cell) for name, cell in found.items()} if isinstance(found, dict) else {}


def figure_of(reader: RowReader, field: str) -> Characteristic | None:
    """Return the characteristic whose figures stand under a name, None where it is no figure."""
    stage = reader.card.stage or ""
    if field.startswith(VALUE):
        return reader.plan.characteristic(stage, field.removeprefix(VALUE))
    if field in {"inner_od", "outer_bore"}:
        return reader.plan.characteristic(stage, field)
    if field == "thickness":
        return next(iter(reader.plan.figures_on(reader.card)), None)
    return None


def _nominal(plan: Plan, characteristic: Characteristic, model: str, day: date | None) -> float | None:
    limits = plan.usual_limits(characteristic, model, day or date.max)
    if limits.target is not None:
        return limits.target
    if limits.lower is not None and limits.upper is not None:
        return (limits.lower + limits.upper) / 2
    if characteristic.sensible is not None:
        return sum(characteristic.sensible) / 2 or None
    return None


def _comma_habit(sheet: CardSheet) -> tuple[bool, bool]:
    """Tell whether commas are decimal here, and whether that is the sheet's usual way (no note needed)."""
    if sheet.decimal:
        return sheet.decimal == "comma", True
    grid = sheet.parts.grid
    if grid.separator in {";", "\t"}:
        return True, True
    for row in sheet.parts.body:
        if any(_CERTAIN_COMMA.match(text) for text in grid.rows[row]):
            return True, False
    return False, False


def _takes_fraction(field: str) -> bool:
    # only such figures can have been split at a decimal comma; a serial or a date holds none
    sizes = {"cents", "hz", "inner_od", "outer_bore", "clearance", "thickness", "base", "hours", "deviation"}
    return field.startswith(VALUE) or field in sizes or field in {"r1", "r2", "r3", "air_c"}


def _spelled_places(sheet: CardSheet, plan: Plan) -> dict[str, dict[str, str]]:
    """Return the places of the card's stage by column, in small letters, with the plan's spelling of each."""
    stage = plan.stage(sheet.card.stage or "")
    found: dict[str, dict[str, str]] = {}
    for characteristic in stage.characteristics if stage else ():
        for column, names in characteristic.places.items():
            found.setdefault(column, {}).update({str(name).casefold(): str(name) for name in names})
    return found
