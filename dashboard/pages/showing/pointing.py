"""``/sheets/<sheet>/layout``: a sheet that nobody could read, shown: what stands where, what comes of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import Dash, Input, Output, State, dcc, html
from dash.development.base_component import Component

from dashboard import queries, words
from dashboard.door import Role, needs, signed
from dashboard.fields import Field, choice, desk_form, line, people, submit, switches
from dashboard.pages.missing import missing
from dashboard.pages.sheets import receipt_card
from dashboard.parts import card, heading, unbroken
from dashboard.routing import Page
from qc.jobs.board import PointedLine, PointedSheet, Preview

WAY, SAID, DONE, SHEET = "layout-way-chosen", "layout-said-chosen", "layout-done", "layout-sheet"
UNDER = "Say once what stands where. The sheet is read so, and so is every other sheet of this form."
LEFT_OUT = "leave out"
WAYS = {"rows": "a row", "columns": "a column"}
OF_HEAD = ("serial", "model", "date", "person", "gauge")
"""Facts that a cell above or beside the pieces may say for all of them."""

SAMPLES = 3


@needs(Role.TECHNICIAN)
def layout(sheet: str, **_: str) -> Component:
    """Return the page of one sheet."""
    queries.desk().warm()
    seen = queries.board().showing().pointed(sheet, {})
    if seen is None:
        return missing("This sheet waits no more.", dcc.Link("See what waits", href="/sheets"))
    return html.Div(
        [
            heading(f"What stands where on {seen.about.file}", UNDER, back=("Sheets", "/sheets")),
            html.Div(id="layout-receipt", className="stack"),
            html.Div(
                [
                    card("Why it was not read", html.P(unbroken(seen.about.why))),
                    _cells_card(seen),
                    _way_card(seen),
                    html.Div(_points(seen), id="layout-points"),
                ],
                id="layout-body",
                className="stack",
            ),
            dcc.Store(id=SHEET, data=sheet),
            dcc.Store(id=WAY),
            dcc.Store(id=SAID),
            dcc.Store(id=DONE),
        ]
    )


def register(app: Dash) -> None:
    """Add the callbacks that propose anew, preview what was said, and show the receipt."""

    @needs(Role.TECHNICIAN)
    def propose(way: dict[str, list[str]] | None, sheet: str) -> Any:
        """Return the form as it is proposed for another card, way or first piece."""
        seen = queries.board().showing().pointed(sheet, way or {})
        return _points(seen) if seen is not None else []

    app.callback(
        Output("layout-points", "children"),
        Input(WAY, "data"),
        State(SHEET, "data"),
        prevent_initial_call=True,
    )(propose)

    @needs(Role.TECHNICIAN)
    def preview(said: dict[str, list[str]] | None, sheet: str) -> list[Component]:
        """Return what would be read as it was pointed at."""
        return _preview(sheet, said or {})

    app.callback(
        Output("layout-preview", "children"),
        Input(SAID, "data"),
        State(SHEET, "data"),
        prevent_initial_call=True,
    )(preview)

    @needs(Role.TECHNICIAN)
    def show_receipt(ticket: str) -> tuple[list[Component], str]:
        """Return the receipt of what was read, in the place of the form."""
        found = queries.ticket(ticket, "sheets")
        if found is None:
            return [], "stack"
        back = html.P(dcc.Link("Back to the sheets", href="/sheets"))
        read = found["state"] == "done" and bool((found["receipt"] or {}).get("sheets"))
        return [receipt_card(found), back], "gone" if read else "stack"

    app.callback(
        Output("layout-receipt", "children"),
        Output("layout-body", "className"),
        Input(DONE, "data"),
        prevent_initial_call=True,
    )(show_receipt)


def _cells_card(seen: PointedSheet) -> Component:
    """Show the cells as they stand, under the letters and beside the lines of a spreadsheet."""
    letters = [chr(65 + number) for number in range(seen.columns)]
    top = html.Tr([html.Th("", scope="col"), *[html.Th(one, scope="col") for one in letters]])
    rows = [
        html.Tr(
            [html.Th(str(number), scope="row"), *[html.Td(text) for text in _padded(cells, seen.columns)]]
        )
        for number, cells in seen.lines
    ]
    said = f"The first {len(seen.lines)} lines and {seen.columns} columns" if seen.cut else "All its cells"
    where = f", tab {seen.tab}" if seen.tab else ""
    whole = html.Table([html.Caption(f"{said}{where}"), html.Thead(top), html.Tbody(rows)])
    return card("The sheet", html.Div(whole, className="table cells", tabIndex=0, role="region",
                                      **{"aria-label": "Cells of the sheet"}))  # fmt: skip


def _padded(cells: Sequence[str], width: int) -> list[str]:
    return [*cells, *[""] * (width - len(cells))]


def _way_card(seen: PointedSheet) -> Component:
    """Ask which card it is, how pieces follow each other, and where the first stands."""
    return card(
        "The card and its pieces", switches(WAY, [html.Div(_way(seen), className="ways")], "layout-way-form")
    )


def _way(seen: PointedSheet) -> list[Component]:
    pointing = seen.pointing
    lines = [(str(number), f"line {number}") for number, _ in seen.lines]
    columns = [(str(number), f"column {chr(65 + number)}") for number in range(seen.columns)]
    return [
        _chosen("Card", "card", seen.cards, pointing.card),
        _chosen("Each piece is", "are", tuple(WAYS.items()), pointing.are),
        _chosen(
            "The first piece", "first", lines if pointing.are == "rows" else columns, str(pointing.first)
        ),
    ]


def _points(seen: PointedSheet) -> Component:
    """Return the form that says what stands in each line of the pieces, and in the head."""
    pointing = seen.pointing
    what = "column" if pointing.are == "rows" else "row"
    way = _hidden(seen)
    body: list[Any] = [
        html.P("The box behind each is the unit, where it is not the plan's.", className="small"),
        Field("sheet", "hidden", seen.about.sheet),
        *[Field(name, "hidden", value) for name, value in way.items()],
        *[_line(one, what, seen.choices) for one in pointing.lines],
    ]
    if seen.heads:
        cells = [(cell, f"{cell}: {text}") for cell, text in seen.heads.items()]
        said = dict(pointing.said)
        asked = [
            _chosen(seen.choices[fact], f"said-{fact}", [("", "no cell"), *cells], said.get(fact, ""))
            for fact in OF_HEAD
        ]
        body += [html.P("Said once for all pieces:", className="small"), html.Div(asked, className="ways")]
    preview = _preview(seen.about.sheet, {name: [value] for name, value in way.items()})
    body.append(html.Div(preview, id="layout-preview", role="status", className="after"))
    shop = queries.board().shop()
    who = [] if signed() or not shop.people else [people(shop, "Who shows it")]
    body.append(html.Div([line("What the bench calls this form", "name", seen.name), *who], className="ways"))
    body.append(html.Div(submit("Read it, and remember", "do", "read", "do"), className="ways"))
    form = desk_form("/sheets/show", DONE, body, "layout-form", "Reading the sheet …", choices=SAID)
    return card(f"What stands in each {what}", form)


def _hidden(seen: PointedSheet) -> Mapping[str, str]:
    pointing = seen.pointing
    return {"card": pointing.card, "are": pointing.are, "first": str(pointing.first)}


def _line(one: PointedLine, what: str, choices: Mapping[str, str]) -> Component:
    """Ask what stands in one column or row: what it most likely is stands there already."""
    over = one.heading or "no heading"
    below = ", ".join(one.texts[:SAMPLES]) + (" (proposed by these figures alone)" if one.by_values else "")
    about = html.Span(
        [html.B(f"{what.capitalize()} {one.name}: {over}"), html.Span(below, className="small")]
    )
    about.className = "asked"
    # what stands first is chosen
    named = [(one.meaning, choices[one.meaning])] if one.meaning else []
    rest = [(value, label) for value, label in choices.items() if value != one.meaning]
    options = [*named, ("", LEFT_OUT), *rest] if one.meaning else [("", LEFT_OUT), *rest]
    shown = [html.Option(label, value=value) for value, label in options]
    unit = Field("unit", value=one.unit, label=f"Unit in {what} {one.name}")
    select = html.Select(shown, name="meant", **{"aria-label": f"What stands in {what} {one.name}"})
    return html.Div(
        [about, html.Span([select, unit], className="pointed"), Field("at", "hidden", str(one.at))],
        className="field heading-question",
    )


def _chosen(label: str, name: str, options: Sequence[tuple[str, str]], value: str) -> Component:
    first = [one for one in options if one[0] == value]
    return choice(label, name, [*first, *[one for one in options if one[0] != value]])


def _preview(sheet: str, said: Mapping[str, Sequence[str]]) -> list[Component]:
    """Say what would be read: the first pieces, or why nothing can be."""
    found = queries.board().showing().preview(sheet, said)
    if found is None:
        return [html.P("This sheet waits no more.")]
    if found.faults:
        return [
            html.P("It cannot be read so yet:"),
            html.Ul([html.Li(unbroken(one)) for one in found.faults]),
        ]
    return _read(found)


def _read(found: Preview) -> list[Component]:
    counted = words.counted(found.rows, "figure", "figures")
    lead = html.P(f"{counted[:1].upper()}{counted[1:]} would be read. The first pieces:", className="lead")
    pieces = [html.Li([html.B(title), html.Span(f": {'; '.join(said)}")]) for title, said in found.pieces]
    parts: list[Component] = [lead, html.Ul(pieces, className="life")]
    if found.left:
        parts.append(html.P(f"Numbers that are not taken: {', '.join(found.left)}.", className="small"))
    text = html.Details([html.Summary("As it is remembered"), html.Pre(found.text)])
    return [*parts, text]


def _title(**_: str) -> str:
    return "Show a layout"


PAGE = Page("/sheets/<sheet>/layout", "/sheets", layout, _title, register=register)
