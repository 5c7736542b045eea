"""Blank cards of the plan: a page to print and a workbook to type into, each behind a plain address."""

from __future__ import annotations

from typing import Final

from dash import html
from dash.development.base_component import Component
from flask import Flask, Response, abort

from dashboard import queries
from dashboard.door import Role, needs
from dashboard.parts import card, nothing, table

MIME: Final = {
    "pdf": "application/pdf",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}


def add_routes(server: Flask) -> None:
    """Add the plain route for blank cards."""

    @server.get("/cards/<card>.<ending>")
    @needs(Role.TECHNICIAN)
    def blank_card(card: str, ending: str) -> Response:
        data = queries.board().blank_card(card, ending)
        if data is None:
            abort(404, "The plan has no such card. The cards it has stand on the page of sheets.")
        how = "inline" if ending == "pdf" else "attachment"
        head = {"Content-Disposition": f'{how}; filename="{card}.{ending}"'}
        return Response(data, mimetype=MIME[ending], headers=head)


def blanks_card() -> Component:
    """Return the blank cards of the plan with a way to each file."""
    cards = queries.board().cards()
    if not cards:
        return card("Blank cards", nothing("The plan has no card yet."), className="no-print")
    rows = [[title, _ways(card_id, title)] for card_id, title in cards]
    said = "Print the page and write on it; type it into the workbook in the same order and drop that above."
    return card(
        "Blank cards",
        html.P(said, className="small"),
        html.Details(
            [
                html.Summary("Choose a card"),
                table(["Card", "Files"], rows, "In the order of the plan"),
            ],
            id="sheets-blanks",
        ),
        className="no-print",
    )


def _ways(card_id: str, title: str) -> Component:
    """Draw the two ways to a blank card."""
    print_it = html.A(
        "Print",
        href=f"/cards/{card_id}.pdf",
        target="_blank",
        className="button",
        **{"aria-label": f"Print {title}"},
    )
    book = html.A(
        "Workbook",
        href=f"/cards/{card_id}.xlsx",
        className="button",
        **{"aria-label": f"Workbook of {title}"},
    )
    return html.Div([print_it, book], className="ways")
