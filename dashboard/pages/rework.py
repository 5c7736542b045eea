"""``/rework`` and ``/rework/<stretch>``: rework by cause, yields of stages, what goes with the results."""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any, Final

from dash import dcc, html
from dash.development.base_component import Component

from dashboard import queries, words
from dashboard.door import Role, needs
from dashboard.figures import draw_pareto
from dashboard.parts import card, chart, heading, nothing, serial_link, table, unbroken
from dashboard.routing import Page, address
from qc.jobs.board import SCREENED_BY, ReworkReport, ScreenedResult, StageYield
from qc.shares import adding_up, between_words, percent_words
from qc.words import count_words, listed, month_words, pieces_words

ALL: Final = "all"
"""The stretch of everything on record, in an address."""

MONTHS_SHOWN: Final = 6
"""Chosen: half a year beside each other; an earlier month is had by its address."""

COUNTS: Final = (
    "A piece passes a stage at the first go if nothing of it was reworked there, nothing was outside its "
    "limits, and no verdict failed. It counts in the days in which it came to the stage, or else in those in "
    "which it first failed there. Intervals hold 95 %, exact (Clopper and Pearson); that of the rolled yield "
    "is Lindstrom and Madden's, on the pieces of the smallest stage."
)


@needs(Role.TECHNICIAN)
def layout(stretch: str = "", **_: str) -> Component:
    """Return rework, yields and what goes with the results, of a month or of all that is on record."""
    today = queries.board().shop().day
    days = _days(stretch, today)
    under = "What did not go right at the first go: hours by cause, yields, and what goes with the results."
    ways = _ways(stretch or f"{today:%Y-%m}", today)
    if days is None:
        said = f"'{stretch}' is no month that has begun. Choose one above."
        return html.Div([heading("Rework and yield", under), ways, card("", nothing(said))])
    found = queries.board().rework(*days)
    main = [
        card(f"Hours by cause: {_name(stretch, today)}", *_hours(found)),
        card("First-pass yield by stage", *_yields(found), className="below"),
    ]
    aside = html.Aside([card("What goes with the final results", *_upstream())])
    return html.Div(
        [heading("Rework and yield", under), ways, html.Div([html.Div(main), aside], className="grid first")]
    )


def _days(stretch: str, today: date) -> tuple[date | None, date | None] | None:
    """Return the first and last day of a stretch, None where the address names no month that has begun."""
    if stretch == ALL:
        return None, None
    try:
        first = date.fromisoformat(f"{stretch or f'{today:%Y-%m}'}-01")
    except ValueError:
        return None
    last = first.replace(day=monthrange(first.year, first.month)[1])
    return None if first > today else (first, min(last, today))


def _name(stretch: str, today: date) -> str:
    if stretch == ALL:
        return "all on record"
    month = stretch or f"{today:%Y-%m}"
    return f"{month_words(month)}{' so far' if month == f'{today:%Y-%m}' else ''}"


def _ways(stretch: str, today: date) -> Component:
    """Return the months to choose from, the newest first."""
    months, day = [], today.replace(day=1)
    for _ in range(MONTHS_SHOWN):
        months.append(f"{day:%Y-%m}")
        day = (day - timedelta(days=1)).replace(day=1)
    names = [*((month, month_words(month)) for month in months), (ALL, "All on record")]
    links = [
        html.Strong(name, **{"aria-current": "page"})
        if own == stretch
        else dcc.Link(name, href=address("/rework/<stretch>", {"stretch": own}), className="plain")
        for own, name in names
    ]
    return html.Div(links, className="ways months-of no-print", role="group", **{"aria-label": "Which month"})


def _hours(found: ReworkReport) -> list[Component]:
    if not found.causes:
        return [nothing("No rework on record in these days.")]
    worst = found.causes[0]
    cost = f" They cost {_money(found, found.hours)}." if found.hour else ""
    said = (
        f"{adding_up([found.hours], 2)[0]} h from {count_words(len(found.causes), 'cause')}, "
        f"{percent_words(worst.share)} of them {worst.name} ({pieces_words(worst.pieces)}).{cost}"
    )
    figure = draw_pareto(found.causes, queries.narrow_screen())
    drawn = [chart("rework-hours", figure, "Hours of rework by cause, most first")] if figure else []
    caption = html.P("Bars: hours. Line: their share with the causes above.", className="caption small")
    return [html.P(said, className="said"), *drawn, caption, _causes(found)]


def _causes(found: ReworkReport) -> Component:
    hours = adding_up([one.hours for one in found.causes], 2)
    shares = [int(share) for share in adding_up([100 * one.share for one in found.causes])]
    money = adding_up([found.cost(one.hours) or 0.0 for one in found.causes])
    rows, so_far = [], 0
    for place, one in enumerate(found.causes):
        so_far += shares[place]
        cost = (money[place],) if found.hour else ()
        rows.append((one.name, hours[place], f"{shares[place]} %", f"{so_far} %", str(one.pieces), *cost))
    head: tuple[str, ...] = ("Cause", "Hours", "Share", "With those above", "Pieces")
    head += (f"Cost [{found.currency or 'per plan'}]",) if found.hour else ()
    listing = table(head, rows, "Hours of rework by cause", numbers=range(1, len(head)))
    return html.Details([html.Summary("As a table"), listing], className="folded")


def _money(found: ReworkReport, hours: float) -> str:
    return f"{adding_up([found.cost(hours) or 0.0])[0]} {found.currency}".rstrip()


def _yields(found: ReworkReport) -> list[Component]:
    """Say the rolled yield, then the stages, then why pieces failed."""
    whole = found.rolled
    if whole is None:
        return [nothing("No piece came to any stage in these days.")]
    low, high = whole.interval
    said = (
        f"{percent_words(whole.share)} ({between_words(low, high)}) go through all "
        f"{count_words(whole.stages, 'stage')} without any of it: the rolled yield, on "
        f"{pieces_words(whole.least)} at the smallest stage."
    )
    few = [one.name for one in found.yields if one.few]
    note = f" Too few pieces to tell a good stage from a poor one: {listed(few)}." if few else ""
    head = ("Stage", "Passed", "Share", "Between (95 %)")
    listing = table(head, [_row(one) for one in found.yields], "First-pass yield by stage", numbers=(1, 2, 3))
    failed = [part for one in found.yields if one.failed for part in _failed(one)]
    return [
        html.P(said + note, className="said"),
        listing,
        *failed,
        html.Details([html.Summary("What counts"), html.P(COUNTS)], className="folded"),
    ]


def _row(one: StageYield) -> tuple[str, str, str, str]:
    share = one.found
    return one.name, f"{one.passed} of {one.of}", percent_words(share.share), between_words(*share.interval)


def _failed(one: StageYield) -> list[Component]:
    """Fold the pieces of a stage that did not pass: each with its day and why."""
    lines = [
        html.Li([serial_link(own.serial), " ", *unbroken(f"{words.day(own.day, year=True)}: {own.why}")])
        for own in one.failed
    ]
    title = f"{one.name}: {count_words(len(lines), 'piece')} did not pass at the first go"
    return [html.Details([html.Summary(title), html.Ul(lines, className="rows")], className="folded")]


def _upstream() -> list[Component]:
    results = queries.board().upstream().results
    found: list[Component] = [part for one in results for part in _result(one)]
    found.append(html.Details([html.Summary("How this is asked"), html.P(SCREENED_BY)], className="folded"))
    return found


def _result(one: ScreenedResult) -> list[Component]:
    """Say of one final result what goes with it, and what was looked at."""
    asked: Sequence[Any] = [f"Looked at: {', '.join(own.title for own in one.looked_at)}."]
    few = [f" Too few pieces: {', '.join(own.title for own in one.too_few)}."] if one.too_few else []
    looked = [html.Details([html.Summary("What was looked at"), html.P([*asked, *few])], className="folded")]
    return [
        html.P(html.B(f"{one.result.title}, {pieces_words(one.pieces)}")),
        html.P(unbroken(one.sentence), className="said"),
        *(looked if one.looked_at else []),
    ]


def _title(stretch: str = "", **_: str) -> str:
    return "Rework and yield"


PAGE = Page("/rework", "/rework", layout, _title, nav="Rework")
MONTH_PAGE = Page("/rework/<stretch>", "/rework", layout, _title)
