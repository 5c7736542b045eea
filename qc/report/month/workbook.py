"""The report as a workbook: one sheet for each block, numbers as numbers, for those who reckon on."""

from __future__ import annotations

import io
from collections.abc import Sequence
from datetime import date, datetime
from operator import attrgetter
from typing import TYPE_CHECKING, Any

from qc.report.month.content import MonthContent
from qc.report.month.template_data import title_words

if TYPE_CHECKING:
    from xlsxwriter.format import Format
    from xlsxwriter.workbook import Workbook

Cell = str | float | int | date | None


def month_workbook(content: MonthContent) -> bytes:
    """Write the month's report as an xlsx workbook.

    Parameters
    ----------
    content : MonthContent
        What it says.

    Returns
    -------
    bytes
        The workbook. Texts are written as texts, so that nothing a card held can act as a formula.
    """
    import xlsxwriter

    out = io.BytesIO()
    book = xlsxwriter.Workbook(
        out,
        {
            "in_memory": True,
            "strings_to_formulas": False,
            "strings_to_urls": False,
            "nan_inf_to_errors": True,
        },
    )
    made = datetime(content.as_of.year, content.as_of.month, content.as_of.day)
    book.set_properties({"title": title_words(content), "created": made})
    formats = {
        "head": book.add_format({"bold": True, "bottom": 1, "font_color": "#5C6A70"}),
        "day": book.add_format({"num_format": "yyyy-mm-dd"}),
    }
    for name, head, rows in _tables(content):
        _write(book, name, head, rows, formats)
    book.close()
    return out.getvalue()


def _tables(content: MonthContent) -> list[tuple[str, Sequence[str], list[Sequence[Cell]]]]:
    """List the sheets in the order of the two pages, then what those who reckon on need."""
    return [
        ("Month", ("what", "value"), _summary(content)),
        (
            "Changes",
            ("what", "coincides with", "next", "evidence"),
            [(c.sentence, c.because, c.next_step, c.evidence) for c in content.changes],
        ),
        (
            "First pass",
            ("stage", "passed", "through", "share"),
            [(y.stage, y.passed, y.through, y.share) for y in content.yields],
        ),
        (
            "Rework",
            ("cause", "hours [h]", "pieces"),
            [(r.cause, r.hours, r.pieces) for r in content.rework],
        ),
        (
            "Open",
            ("series", "since", "age [d]", "pieces", "state"),
            [(r.name, r.opened, r.age_days, r.pieces, r.state) for r in content.reactions],
        ),
        (
            "Tools and gauges",
            ("id", "what", "state", "count now", "change by count", "change by"),
            [
                *[
                    (d.tool, d.series, d.sentence, d.count, d.change_by_count, d.change_by_day)
                    for d in content.dies
                ],
                *[(g.gauge, g.name, g.state, None, None, None) for g in content.gauges],
            ],
        ),
        (
            "To hold",
            ("serial", "figure", "why", "where", "shipped", "next"),
            [(p.serial, p.name, p.because, p.where, p.shipped, p.next_step) for p in content.hold],
        ),
        ("Capability", _CAPABILITY, [_capability_cells(v) for v in content.verdicts]),
        ("Gaps", ("what", "number", "remark"), [(g.what, g.number, g.remark) for g in content.gaps]),
        # every point as charted and as measured, so that any chart can be drawn again
        ("Points", _POINTS, [(str(v.key), *_point_cells(p)) for v in content.verdicts for p in v.points]),
    ]


_CAPABILITY = (
    "series stage characteristic family unit behaviour pieces target lower upper Ppk from to verdict reason"
).split()
_capability_cells = attrgetter(
    *("title", "key.stage", "key.characteristic", "key.family", "unit", "behaviour", "rests_on"),
    *("target", "lower", "upper", "ppk", "ppk_low", "ppk_high", "capable", "ppk_reason"),
)
_POINTS = "series number serial day model value measured person gauge tool batch".split()
_point_cells = attrgetter("ordinal", *_POINTS[2:])


def _summary(content: MonthContent) -> list[Sequence[Cell]]:
    rows: list[Sequence[Cell]] = [
        ("workshop", content.workshop),
        ("month", content.month),
        ("figures as of", content.as_of),
        ("plan version", content.plan_version),
        ("last hash of the store", content.last_hash),
        ("in one sentence", content.headline),
        *[(f"shipped, {name}", number) for name, number in content.shipped],
        ("first pass, all stages in a row", content.rolled),
    ]
    rows += [(f"decision {i}", text) for i, text in enumerate(content.decisions, start=1)]
    return rows


def _write(
    book: Workbook, name: str, head: Sequence[str], rows: list[Sequence[Cell]], formats: dict[str, Format]
) -> None:
    """Write each cell by its type: a serial such as 00123 must not become a number, nor a text a formula."""
    sheet: Any = book.add_worksheet(name)
    sheet.write_row(0, 0, head, formats["head"])
    widths = [len(h) for h in head]
    for number, row in enumerate(rows, start=1):
        for column, cell in enumerate(row):
            if isinstance(cell, date):
                sheet.write_datetime(number, column, cell, formats["day"])
            elif isinstance(cell, str):
                sheet.write_string(number, column, cell)
            elif cell is not None:
                sheet.write_number(number, column, cell)
            # chosen: longer sentences wrap or run on, and the sheet stays on one screen
            widths[column] = max(widths[column], min(len(str(cell or "")), 60))
    for column, width in enumerate(widths):
        sheet.set_column(column, column, width + 2)
    sheet.freeze_panes(1, 0)
