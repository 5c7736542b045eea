"""Slide cards: inner and outer diameters by leg, station and direction, or clearances already worked out.

A clearance must say whether it is meant on diameter or per side. The trade uses both words for figures that
differ by a factor of two (a student-grade figure of 0.006 in is quoted as 0.076 mm each side in a published
band-instrument care guide), so a figure without the word is refused.
"""

from __future__ import annotations

from qc.ingest.cards import CardSheet, RowReader
from qc.ingest.cells import split_unit
from qc.ingest.sources.needs import refusal, require_columns, require_given, require_unit
from qc.ingest.unfolded import ReadingColumns, Rows
from qc.plan import CLEARANCE_READ, Characteristic, Plan


def unfold_slide(sheet: CardSheet, plan: Plan) -> Rows:
    """Unfold a slide card: up to two readings a row, or one where clearances were written down.

    Parameters
    ----------
    sheet : CardSheet
        A sheet of source ``slide``.
    plan : Plan
        The measuring plan; its stage of the card holds ``inner_od``, ``outer_bore`` or ``clearance_read``.

    Returns
    -------
    tuple of (rows, rows)
        Readings, and no events.

    Raises
    ------
    SheetError
        A missing heading, or a clearance that does not say how it is meant.
    """
    require_columns(sheet, {"station": "Station"})
    require_given(sheet, {"serial": "Serial", "leg": "Leg"})
    figures = _figures(sheet, plan)
    basis = _basis(sheet) if "clearance" in figures else ""
    reader = RowReader(sheet, plan)
    readings = []
    for row in reader.rows():
        fields = row.reading_fields()
        typed = [field for field in figures if row.text(field)]
        for field in typed or list(figures)[:1]:
            # Only inner tubes have a stocking and a body: an outer bore carries no surface.
            own: ReadingColumns = fields if field == "inner_od" else {**fields, "surface": ""}
            reading = row.figure(figures[field], field, own)
            if field == "clearance" and basis == "side":
                reading["hint"] = "per side"
            readings.append(reading)
    return readings, []


def _figures(sheet: CardSheet, plan: Plan) -> dict[str, Characteristic]:
    # a figure that the plan does not know has no unit and no limits: the card is refused, not the column
    # dropped
    stage = sheet.card.stage or ""
    ids = {"inner_od": "inner_od", "outer_bore": "outer_bore", "clearance": CLEARANCE_READ}
    found: dict[str, Characteristic] = {}
    for field, name in ids.items():
        if field not in sheet.columns:
            continue
        characteristic = plan.characteristic(stage, name)
        if characteristic is None:
            raise refusal(
                sheet,
                f"the plan has no {name} at stage {stage}",
                "Add it to the plan, or leave the column out.",
            )
        require_unit(sheet, sheet.columns[field], characteristic)
        found[field] = characteristic
    if not found:
        require_columns(sheet, {"inner_od": "Inner OD [mm]", "outer_bore": "Outer bore [mm]"})
    return found


def _basis(sheet: CardSheet) -> str:
    basis = sheet.columns["clearance"].heading.basis
    unit = sheet.head.get("unit")
    if not basis and unit is not None:
        basis = split_unit(unit.text)[1]
    if not basis:
        problem = "the clearance does not say whether it is meant on diameter or per side"
        raise refusal(sheet, problem, "Write Clearance [um on diameter] or Clearance [um per side] over it.")
    return basis
