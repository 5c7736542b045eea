"""The report as a workbook: one sheet for each block, numbers as numbers, for those who reckon on."""

from __future__ import annotations

import io
from collections.abc import Sequence
from datetime import date, datetime
from itertools import accumulate
from operator import attrgetter
from typing import TYPE_CHECKING, Any

from qc.report.month.content import MonthContent
from qc.report.month.methods import methods
from qc.report.month.template_data import STANDING, beside_words, title_words

if TYPE_CHECKING:
    from xlsxwriter.format import Format
    from xlsxwriter.workbook import Workbook

Cell = str | float | int | date | None

WIDEST = 60
"""Letters of the widest column; chosen, longer sentences run on, and the sheet stays on one screen."""


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
            ("what", "stands", "coincides with", "next", "evidence"),
            [
                (c.sentence, STANDING[c.standing][1], c.because, c.next_step, c.evidence)
                for c in content.changes
            ],
        ),
        *_yield_tables(content),
        (
            "Rework",
            ("cause", "hours [h]", "pieces", "share", "share up to here"),
            [
                (r.cause, r.hours, r.pieces, r.share, running)
                for r, running in zip(
                    content.rework, accumulate(r.share for r in content.rework), strict=True
                )
            ],
        ),
        (
            "Open",
            _OPEN,
            [
                (r.name, r.called, r.finding, r.opened, r.age_days, r.due, r.owner)
                + (f"{r.state}. {r.answered}" if r.answered else r.state, r.pieces)
                + ("\n".join(r.steps), r.caution)
                for r in content.reactions
            ],
        ),
        (
            "Tools",
            (
                "id",
                "series",
                "state",
                "count now",
                "change by count",
                "change by",
                "draws left",
                "weeks left",
            ),
            [_die_cells(d) for d in content.dies],
        ),
        ("Gauges", ("id", "name", "state", "what to do"), [_gauge_cells(g) for g in content.gauges]),
        ("Gauge checks", _CHECKED, [_checked_cells(g) for g in content.gauge_checks]),
        (
            "To hold",
            ("serial", "figure", "why", "measured", "where", "shipped", "stands", "next"),
            [_hold_cells(p) for p in content.hold],
        ),
        ("Capability", _CAPABILITY, [_capability_cells(v) for v in content.verdicts]),
        ("Upstream", ("final result", "earlier figures that go with it"), list(content.upstream)),
        ("Between people", ("series", "who differs from the others"), list(content.people)),
        ("Data", ("what", "number", "remark"), [(g.what, g.number, g.remark) for g in content.gaps]),
        (
            "Since closed",
            ("what", "number", "remark"),
            [(g.what, g.number, g.remark) for g in content.since_closed],
        ),
        ("Plan", ("what changed",), [(said,) for said in content.plan_changes]),
        # every point as charted and as measured, so that any chart can be drawn again
        ("Points", _POINTS, [(str(v.key), *_point_cells(p)) for v in content.verdicts for p in v.points]),
        (
            "Checks",
            ("gauge", "on", "day", "off its master", "unit"),
            [(g.gauge, g.on, day, value, g.unit) for g in content.gauge_checks for day, value in g.points],
        ),
        ("Methods", ("how the figures came about",), [(said,) for said in methods(content)]),
    ]


def _yield_tables(content: MonthContent) -> list[tuple[str, Sequence[str], list[Sequence[Cell]]]]:
    """List the yields with those of the months beside, and the pieces that did not pass."""
    before, year_ago = beside_words(content.first)
    head = (
        *("stage", "passed", "through", "share", "from", "to"),
        *(f"{what}, {month}" for month in (before, year_ago) for what in ("passed", "through")),
    )
    rows: list[Sequence[Cell]] = [
        (y.stage, y.passed, y.through, y.share, y.low, y.high)
        + (y.before or (None, None))
        + (y.year_ago or (None, None))
        for y in content.yields
    ]
    return [
        ("First pass", head, rows),
        ("Not passed", ("stage", "serial", "day", "why"), list(content.not_passed)),
    ]


_OPEN = (
    *("series", "signal", "finding", "since", "age [d]", "due", "owner", "state", "pieces"),
    *("steps", "cautions"),
)
_CAPABILITY = (
    "series stage characteristic family unit behaviour pieces target lower upper Ppk from to verdict reason"
).split()
_capability_cells = attrgetter(
    *("title", "key.stage", "key.characteristic", "key.family", "unit", "behaviour", "rests_on"),
    *("target", "lower", "upper", "ppk", "ppk_low", "ppk_high", "capable", "ppk_reason"),
)
_die_cells = attrgetter(
    *("tool", "series", "sentence", "count", "change_by_count", "change_by_day", "draws_left", "weeks")
)
_gauge_cells = attrgetter("gauge", "name", "state", "advice")
_CHECKED = (
    *("id", "name", "on", "checks", "outside", "mean off its master", "from", "to", "unit"),
    *("moved since", "what its checks say", "what to do"),
)
_checked_cells = attrgetter(
    *("gauge", "name", "on", "checks", "outside", "mean", "low", "high", "unit", "since", "told", "next_step")
)
_hold_cells = attrgetter("serial", "name", "because", "day", "where", "shipped", "standing", "next_step")
_POINTS = "series number serial day model value measured person gauge tool batch".split()
_point_cells = attrgetter("ordinal", *_POINTS[2:])


def _beside(content: MonthContent) -> list[tuple[str, int | None]]:
    before, year_ago = beside_words(content.first)
    return [(before, content.shipped_before), (year_ago, content.shipped_year_ago)]


def _summary(content: MonthContent) -> list[Sequence[Cell]]:
    """Return the first sheet: what page one says, as names and figures."""
    rolled, hour = content.rolled, content.hour
    rows: list[Sequence[Cell]] = [
        ("workshop", content.workshop),
        ("month", content.month),
        ("figures as of", content.as_of),
        ("plan version", content.plan_version),
        ("last hash of the store", content.last_hash),
        ("in one sentence", content.headline),
        ("closed", content.closed or "no"),
        ("shipped", content.shipped_total),
        *[(f"shipped, {name}", number) for name, number in content.shipped],
        *[(f"shipped, {name}", number) for name, number in _beside(content) if number is not None],
        ("first pass, all stages in a row", rolled.share if rolled else None),
        ("first pass, all stages in a row, from", rolled.low if rolled else None),
        ("first pass, all stages in a row, to", rolled.high if rolled else None),
        ("rework [h]", content.rework_hours),
        *([] if hour is None else [(f"rework [{hour[1] or 'money'}]", content.rework_hours * hour[0])]),
        ("pieces to hold in the house", content.held_pieces),
        ("pieces that left without a release", content.left_unreleased),
        ("reactions open", len(content.reactions)),
        ("signals beside the budget", content.signals_told),
        ("budget", content.budget),
    ]
    rows += [("returned", said) for said in content.returned]
    rows += [(f"decision {i}", text) for i, text in enumerate(content.decisions, start=1)]
    return rows


def _write(
    book: Workbook, name: str, head: Sequence[str], rows: list[Sequence[Cell]], formats: dict[str, Format]
) -> None:
    """Write each cell by its type: a serial such as 00123 must not become a number, nor a text a formula."""
    sheet: Any = book.add_worksheet(name)
    sheet.write_row(0, 0, head, formats["head"])
    for number, row in enumerate(rows, start=1):
        for column, cell in enumerate(row):
            if isinstance(cell, str):
                if cell:
                    sheet.write_string(number, column, cell)
            elif isinstance(cell, date):
                sheet.write_datetime(number, column, cell, formats["day"])
            elif cell is not None:
                sheet.write_number(number, column, cell)
    for column, (title, cells) in enumerate(zip(head, zip(*rows, strict=True), strict=True) if rows else ()):
        told = max((len(str(cell)) for cell in set(cells) if cell), default=0)
        sheet.set_column(column, column, max(len(title), min(told, WIDEST)) + 2)
    sheet.freeze_panes(1, 0)
