"""``/instruments`` and ``/instruments/<serial>``: everything that is known about one serial."""

from __future__ import annotations

from collections.abc import Collection
from itertools import groupby
from typing import Any

from dash import Dash, Input, Output, State, dcc, html
from dash.development.base_component import Component

from dashboard import queries, words
from dashboard.door import Role, needs
from dashboard.pages import whole_piece
from dashboard.pages.missing import missing
from dashboard.pages.reading_life import DONE, corrected_card, life_of
from dashboard.pages.remedies.addresses import of_piece
from dashboard.pages.whole_piece import also_link
from dashboard.parts import card, figures, heading, nothing, serial_link, series_name, table, unbroken
from dashboard.routing import Page, address, series_address
from qc.jobs.board import InstrumentReading, InstrumentView, PieceRecord, Point, SeriesVerdict, limits_words
from qc.words import passed_words

LISTED = 60
"""Pieces listed at once; the finder reaches the rest."""

SHOWN_READINGS = 200
"""Newest readings of a stage that are listed; an instrument has a few dozen."""


@needs(Role.TECHNICIAN)
def list_layout(**_: str) -> Component:
    """Return the list of instruments with its finder."""
    finder = html.Label(
        [
            html.Span("Serial "),
            dcc.Input(id="instruments-find", type="text", debounce=0.2, placeholder="any part of it"),
        ],
        className="finder",
    )
    return html.Div(
        [
            heading("Instruments", "Newest first. A serial leads to all its readings, parts and events."),
            card("", finder, html.Div(_list(""), id="instruments-list")),
        ]
    )


def register(app: Dash) -> None:
    """Add the finder."""

    @needs(Role.TECHNICIAN)
    def find(wanted: str | None) -> Component:
        """Return the instruments whose serial holds what was typed."""
        return _list((wanted or "").strip()[:40])

    app.callback(
        Output("instruments-list", "children"), Input("instruments-find", "value"), prevent_initial_call=True
    )(find)


@needs(Role.TECHNICIAN)
def one_layout(serial: str, **_: str) -> Component:
    """Return everything about one serial."""
    view = queries.board().instrument(serial)
    if view is None:
        near = queries.board().nearest(serial)
        links = [part for one in near for part in (serial_link(one), " ")]
        return missing(
            "Nothing has been measured on this serial.", *(["The nearest known: ", *links] if near else [])
        )
    return html.Div(
        [
            html.Div(id="instruments-said", role="status"),
            html.Div(_one(view), id="instruments-one"),
            dcc.Store(id="instruments-serial", data=serial),
            # the script of the sheets writes here when a correction is done
            dcc.Store(id=DONE),
        ]
    )


def _one(view: InstrumentView) -> Component:
    """Draw a piece; one without a record of its own, as a loose part, by its readings alone."""
    if view.record is not None:
        return _whole(view, view.record)
    return html.Div(
        [
            heading(
                view.serial, f"{view.model or 'Part'}, {view.state}", back=("Instruments", "/instruments")
            ),
            html.Div(
                [
                    html.Div([_standing(view), *_stages(view)]),
                    html.Aside([*of_piece(view.serial), _parts(view), _events(view)]),
                ],
                className="grid first",
            ),
        ]
    )


def _whole(view: InstrumentView, record: PieceRecord) -> Component:
    """Return everything known of a piece, the judgement first."""
    under = f"{record.model_name or 'Part'}: {record.where}"
    verdicts = [verdict for verdict, _ in view.charted]
    main = [
        whole_piece.judgement(record),
        whole_piece.figures_card(record, verdicts),
        *whole_piece.maps(record),
        *_stages(view),
    ]
    aside = [*whole_piece.leaving_card(record), *of_piece(view.serial), *whole_piece.beside(record)]
    aside += [whole_piece.parts_card(record), whole_piece.life_card(record)]
    return html.Div(
        [
            heading(view.serial, unbroken(under), back=("Instruments", "/instruments")),
            html.Div([html.Div(main), html.Aside(aside)], className="grid first"),
        ]
    )


def register_one(app: Dash) -> None:
    """Show a piece anew once one of its readings was put right, with what that changed."""

    @needs(Role.TECHNICIAN)
    def show(ticket: str, serial: str) -> tuple[Component, Component]:
        """Return what became of the correction, and the piece as it stands now."""
        view = queries.board().instrument(serial)
        body = _one(view) if view else missing("Nothing that was measured on this serial stands any more.")
        return corrected_card(queries.ticket(ticket, "sentence")), body

    app.callback(
        Output("instruments-said", "children"),
        Output("instruments-one", "children"),
        Input(DONE, "data"),
        State("instruments-serial", "data"),
        prevent_initial_call=True,
    )(show)

    @needs(Role.TECHNICIAN)
    def can_leave(due: str | None, serial: str) -> Component:
        """Say whether the piece can leave by the day that was typed."""
        asked = (due or "").strip()[:40]
        view = queries.board().instrument(serial) if not asked else None
        if asked:
            return html.P(unbroken(queries.board().leaving(serial, asked)))
        told = view.record.leaving if view and view.record else None
        return html.P(unbroken(told.said) if told else "")

    app.callback(
        Output("instruments-due-said", "children"),
        Input("instruments-due", "value"),
        State("instruments-serial", "data"),
        prevent_initial_call=True,
    )(can_leave)


def _list(wanted: str) -> Component:
    rows = queries.board().instruments(wanted, LISTED)
    if not rows:
        return nothing("No serial holds this." if wanted else "No instrument has been measured yet.")
    kept = {row.serial for row in queries.board().hold().waiting}
    lines = [
        [serial_link(r.serial), r.model, words.day(r.first_day, year=True), r.state, _kept(r.serial, kept)]
        for r in rows
    ]
    head = ["Serial", "Model", "First measured", "Now", "To hold"]
    many = len(rows) >= LISTED
    caption = f"The newest {len(rows)}" if many else words.counted(len(rows), "piece", "pieces").capitalize()
    return table(head, lines, f"{caption}, newest first")


def _kept(serial: str, kept: Collection[str]) -> Any:
    if serial not in kept:
        return ""
    return dcc.Link("keep it back", href=address("/hold/<serial>", {"serial": serial}))


def _standing(view: InstrumentView) -> Component:
    if not view.charted:
        return card("Among its like", nothing("None of its readings is part of a charted series."))
    rows = [_standing_row(verdict, point) for verdict, point in view.charted]
    head = ["Figure", "This piece", "Limits", "The series now"]
    caption = "Its figures beside the limits and the series they belong to"
    return card("Among its like", table(head, rows, caption, numbers=(1,)))


def _standing_row(verdict: SeriesVerdict, point: Point) -> list[Any]:
    value = words.figure(verdict, point.value)
    outside = verdict.is_outside(point)
    shown: Any = html.B([value, " outside"], className="is-drifting") if outside else value
    name = dcc.Link(f"{verdict.stage_name}: {series_name(verdict)}", href=series_address(verdict.key))
    return [name, shown, words.between(verdict), f"{verdict.behaviour}, {limits_words(verdict)}"]


def _stages(view: InstrumentView) -> list[Component]:
    """Draw the readings stage by stage, the newest ones where there are many."""
    cards = []
    for _, group in groupby(view.readings, key=lambda r: r.stage):
        readings = list(group)
        rows = [_reading_row(r) for r in readings[-SHOWN_READINGS:]]
        head = ["Figure", "Place", "Reading", "As typed", "Day", "Person", "Gauge"]
        head += ["Batch", "Tool", "Sheet", "Since"]
        inner = table(
            head, rows, f"{readings[0].stage_name}, in order of making{_cut(len(readings))}", numbers=(2,)
        )
        title = html.Summary(
            f"{readings[0].stage_name}: {words.counted(len(readings), 'reading', 'readings')}"
        )
        cards.append(html.Details([title, inner], className="card", open=len(rows) <= 12))
    return cards


def _cut(count: int) -> str:
    return f"; the newest {SHOWN_READINGS} of {count}" if count > SHOWN_READINGS else ""


def _reading_row(reading: InstrumentReading) -> list[Any]:
    """Lay out one reading; one that was corrected is struck through."""
    value = f"{reading.value:g}".replace("-", "−")
    shown = f"{value} {words.unit(reading.unit)}".rstrip()
    if reading.kind == "pass-fail":
        shown = passed_words(reading.value)
    return [
        reading.name,
        reading.place,
        html.S(shown) if reading.became else shown,
        reading.text,
        words.day(reading.day, year=True),
        also_link("person", reading.person),
        also_link("gauge", reading.gauge),
        also_link("batch", reading.batch),
        also_link("tool", reading.tool),
        f"{reading.file}, line {reading.row}" if reading.file else "",
        life_of(reading),
    ]


def _parts(view: InstrumentView) -> Component:
    if not view.parts and not view.part_of:
        return card("Parts", nothing("No part is recorded."))
    rows = [(role, serial_link(serial)) for role, serial in view.parts]
    rows += [(f"{role} of", serial_link(serial)) for role, serial in view.part_of]
    return card("Parts", figures(rows))


def _events(view: InstrumentView) -> Component:
    if not view.events:
        return card("Its life", nothing("No event is recorded."))
    lines = [
        html.Li([html.Span(words.day(e.day, year=True), className="small"), e.sentence]) for e in view.events
    ]
    return card("Its life", html.Ul(lines, className="life"))


def _list_title(**_: str) -> str:
    return "Instruments"


def _one_title(serial: str, **_: str) -> str:
    return serial


LIST_PAGE = Page(
    "/instruments", "/instruments", list_layout, _list_title, nav="Instruments", register=register
)
ONE_PAGE = Page("/instruments/<serial>", "/instruments", one_layout, _one_title, register=register_one)
