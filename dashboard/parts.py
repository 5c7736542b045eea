"""Pieces that several pages are put together from."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from dash import dcc, html
from dash.development.base_component import Component

from dashboard import pictograms, words
from dashboard.door import TOKEN_FIELD, page_token, signed
from dashboard.drawing import Drawing, Field
from dashboard.figures import GRAPH_CONFIG, Figure
from dashboard.routing import instrument_address, series_address
from qc.jobs.board import (
    SeriesVerdict,
    SeriesView,
    ShopView,
    SignalResult,
    Ticket,
    as_running_rate,
    limits_words,
)
from qc.states import FIGURES
from qc.words import MONTHS

DAY = rf"\b\d{{4}}-\d\d-\d\d\b|\b\d{{1,2}} (?:{'|'.join(name[:3] for name in MONTHS)})\b(?: \d{{4}}\b)?"
AMOUNT = r"[+−-]?\b\d[\d.]* (?:mm|µm|cents|cm³/min|mm²|°C|%)(?!\w)"
WHOLE = re.compile(rf"\b[A-Z]{{1,4}}-\w+|{DAY}|{AMOUNT}")
"""Serials, names of gauges and tools, days, and figures with their unit, as they stand in a sentence."""

BY_KEYS = "The arrow keys go from piece to piece, Enter opens it; the same figures stand in the table below."
"""What is said of a chart that the keyboard walks."""

SHARE = re.compile(r"([\d.]+ %\)?)")
"""A share with its sign, and what closes behind it."""

SHORT_CELL = 12
"""Characters of a cell that stays on one line, such as a day or a tool; chosen, a longer one may break."""

# chosen: four pixels a piece at the width of the line; closer, its course is a smear
SPARK_POINTS = 36
SPARK_AFTER = 6  # chosen: so many pieces after a change that is over show that it is
"""Points of a sparkline: enough to see the change beside what was before."""


def heading(title: str, under: Any = "", back: tuple[str, str] | None = None) -> Component:
    """Return the head of a page: the way back, the title, a line under it."""
    children: list[Component] = []
    if back:
        children.append(dcc.Link(f"‹ {back[0]}", href=back[1], className="back"))
    children.append(html.H1(title, id="page-title", tabIndex=-1))
    if under:
        children.append(html.P(under, className="under"))
    return html.Div(children, className="heading")


def card(title: str, *children: Any, className: str = "", **more: Any) -> Component:
    """Return a card with a small title."""
    head = [html.H2(title)] if title else []
    return html.Section([*head, *children], className=f"card {className}".strip(), **more)


def figures(rows: Sequence[tuple[str, Any]]) -> Component:
    """Return a list of names and figures, one a line."""
    lines = [html.Div([html.Dt(name), html.Dd(value)], className="kv") for name, value in rows]
    return html.Dl(lines, className="kvs")


def chart(graph_id: Any, figure: Figure, label: str, walked: bool = False) -> Component:
    """Return a chart with its name for those who cannot see it.

    With `walked` the keyboard reaches it and goes from piece to piece, each spoken (board.js).
    """
    graph = dcc.Graph(id=graph_id, figure=figure, config=GRAPH_CONFIG, className="graph")
    keys = {"tabIndex": 0, "data-walked": "true"} if walked else {}
    return html.Figure(graph, **{"aria-label": label, **keys}, role="group", className="chart")


def outcome(found: Ticket | None) -> tuple[Component, bool]:
    """Return what became of a ticket in a sentence, empty where it is not known, and whether it is done."""
    if found is None:
        return html.Span(), False
    if found["state"] != "done" or found["receipt"] is None:
        return html.P(found["message"], className="refused"), False
    return html.P(found["receipt"]["sentence"], className="is-steady"), True


def caption(view: SeriesView) -> Component:
    """Return the line under the chart of a series: what it shows, and what its marks mean."""
    points = view.verdict.points
    present = {p.model for p in points}
    models = [
        html.Span([Drawing(pictograms.draw_symbol(m.symbol)), " ", m.name], className="key")
        for m in view.models
        if m.id in present
    ]
    running = as_running_rate(view.verdict) is not view.verdict
    rate = "A large mark is a piece with a fault. " if running else ""
    text = (
        f"Pieces in order of making, up to {points[-1].serial}. {rate}"
        "In brackets: the number of pieces a figure rests on."
    )
    left_out = sum(p.left_out for p in points)
    gloss = (
        [
            html.Span(
                [Drawing(pictograms.draw_left_out()), f" left out on purpose, in no figure ({left_out})"],
                className="key",
            )
        ]
        if left_out
        else []
    )
    names = [*(["running rate"] if running else []), "mean", "before, now", "usual from, usual to"]
    meant = html.Details(
        [
            html.Summary("What the words at its edge mean"),
            *[html.P([html.B(name), f": {FIGURES[name][:1].lower()}{FIGURES[name][1:]}"]) for name in names],
        ],
        className="folded no-print",
    )
    return html.Figcaption([html.Span(text), *models, *gloss, meant], className="caption small")


def mark(verdict: SeriesVerdict) -> Component:
    """Return ring and core of a series; the words beside it say the same."""
    return Drawing(pictograms.draw_mark(verdict.behaviour, verdict.capable))


def state_words(verdict: SeriesVerdict) -> Component:
    """Return behaviour and capability of a series in words."""
    limits = limits_words(verdict)
    return html.Span(
        [html.B(verdict.behaviour, className=f"is-{verdict.behaviour}"), f" · {limits}"], className="state"
    )


def spark(verdict: SeriesVerdict, signal: SignalResult | None = None) -> Component:
    """Return the newest points of a series as a small line, or those around one of its signals."""
    verdict = as_running_rate(verdict)
    points = [p for p in verdict.points if not p.left_out]
    if signal is not None and points:
        # as much of what came before as of the change itself, so that both are seen
        last = len(verdict.points) if signal.ended is None else signal.ended - 1
        last = signal.start if signal.kind == "single" else last
        points = [p for p in points if p.ordinal <= max(last + SPARK_AFTER, signal.start + SPARK_POINTS // 2)]
        tail = [p for p in points if p.ordinal >= signal.start - SPARK_POINTS // 2][:SPARK_POINTS]
        start, end = (sum(p.ordinal < at for p in tail) for at in (signal.start, last + 1))
        return Drawing(pictograms.draw_spark([p.value for p in tail], start, end))
    tail = points[-SPARK_POINTS:]
    found = verdict.telling
    begun = sum(p.ordinal < found.start for p in tail) if found is not None and tail else None
    return Drawing(pictograms.draw_spark([p.value for p in tail], begun))


def series_name(verdict: SeriesVerdict) -> str:
    """Return the name of a series with its family where there is more than one."""
    family = verdict.key.family
    return verdict.name if family == "all" else f"{verdict.name}, {family}"


def series_row(verdict: SeriesVerdict, current: bool = False) -> Component:
    """Return one series as a line of a list: mark, name, sentence, small line."""
    link = dcc.Link(series_name(verdict), href=series_address(verdict.key), className="name")
    said = html.P(unbroken(words.finding(verdict)), className="said")
    return html.Li(
        [mark(verdict), html.Div([html.P([link, " ", state_words(verdict)]), said]), spark(verdict)],
        className="row here" if current else "row",
        **({"aria-current": "true"} if current else {}),
    )


def serial_link(serial: str) -> Component:
    """Return a serial that leads to its page."""
    return dcc.Link(serial, href=instrument_address(serial), className="serial")


def unbroken(sentence: str) -> list[Any]:
    """Return a sentence set for reading: serials, names and days never break, and units bear their signs."""
    parts: list[Any] = []
    end = 0
    sentence = words.units_in(sentence)
    for found in WHOLE.finditer(sentence):
        parts += [sentence[end : found.start()], html.Span(found.group(), className="whole")]
        end = found.end()
    return [part for part in [*parts, sentence[end:]] if part != ""]


def table(
    head: Sequence[str], rows: Sequence[Sequence[Any]], caption: str, numbers: Sequence[int] = ()
) -> Component:
    """Return a plain table; columns in `numbers` are set flush right in tabular figures.

    A column in which no row has anything is left out.
    """
    filled = [i for i in range(len(head)) if not rows or any(row[i] not in ("", None) for row in rows)]
    numbers = [place for place, i in enumerate(filled) if i in numbers]
    head, rows = [head[i] for i in filled], [[row[i] for i in filled] for row in rows]
    flush = {index: {"className": "num"} for index in numbers}
    top = html.Thead(html.Tr([html.Th(name, scope="col", **flush.get(i, {})) for i, name in enumerate(head)]))
    body = html.Tbody(
        [
            html.Tr(
                [
                    html.Td(_set(cell), **flush.get(i, _whole(cell)), **{"data-head": name})
                    for i, (name, cell) in enumerate(zip(head, row, strict=True))
                ]
            )
            for row in rows
        ]
    )
    # on a phone each row is a card of its own, with the heads beside the cells (board.css)
    inner = html.Table([html.Caption(caption), top, body], className="as-cards")
    # A wide table scrolls by itself; the keyboard must be able to reach it.
    return html.Div(inner, className="table", tabIndex=0, role="region", **{"aria-label": caption})


def _set(cell: Any) -> Any:
    """Return a cell in which no share stands apart from its sign; what is short stays on one line anyway."""
    if not isinstance(cell, str) or len(cell) <= SHORT_CELL or " %" not in cell:
        return cell
    pieces = SHARE.split(cell)
    return [html.Span(p, className="whole") if i % 2 else p for i, p in enumerate(pieces) if p]


def _whole(cell: Any) -> dict[str, str]:
    return {"className": "whole"} if isinstance(cell, str) and len(cell) <= SHORT_CELL else {}


def nothing(sentence: str) -> Component:
    """Return a quiet sentence for an empty list."""
    return html.P(sentence, className="quiet")


def masthead(shop: ShopView, chooser: Component) -> Component:
    """Return the head of every page: the shop, the choice of a past day, the navigation for the router."""
    return html.Header(
        [
            html.A("Skip to the page", href="#main", className="skip"),
            html.Div(
                [
                    dcc.Link([Drawing(pictograms.draw_badge()), shop.name], href="/", className="shop"),
                    html.Span(words.long_day(shop.day), className="small"),
                    chooser,
                    who_is_there(),
                    html.Button(
                        "Light or dark",
                        id="theme-switch",
                        className="plain",
                        n_clicks=0,
                        title="Light or dark",
                        **{"aria-label": "Switch between light and dark"},
                    ),
                ],
                className="top",
            ),
            html.Nav(id="nav", **{"aria-label": "Pages"}),
        ]
    )


def who_is_there() -> Component:
    """Say who is signed in, with the way out; or that the board knows no sign-in."""
    own = signed()
    if own is None:
        return html.Span(
            "no sign-in", className="who", title="This board is open to whoever uses this machine."
        )
    role = own.acts_as if own.acts_as is own.role else f"{own.acts_as}, by PIN"
    return html.Form(
        [
            html.Span(f"{own.name or own.code}, {role}"),
            Field(TOKEN_FIELD, "hidden", page_token()),
            html.Button("Sign out", type="submit", className="plain"),
        ],
        method="post",
        action="/sign-out",
        className="who no-print",
    )
