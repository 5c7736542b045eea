"""Sheets that wait for their layout: why each was refused, how it is read, and the way to put it away."""

from __future__ import annotations

from collections.abc import Sequence

from dash import dcc, html
from dash.development.base_component import Component

from dashboard import queries, words
from dashboard.door import signed
from dashboard.fields import Field, desk_form, line, people, submit
from dashboard.parts import card, unbroken
from dashboard.routing import address
from qc.jobs.board import UnreadSheet
from qc.words import command_words


def waiting_card(sheets: Sequence[UnreadSheet]) -> Component:
    """Return the sheets that nobody could read yet; each is kept as it was handed in."""
    number = words.counted(len(sheets), "sheet waits", "sheets wait")
    lead = html.P(f"{number[:1].upper()}{number[1:]}, kept as handed in.", className="small")
    rows = [html.Li(_waiting(one), className="held-row") for one in sheets]
    return card("Waits for its layout", lead, html.Ul(rows, className="held"))


def _waiting(one: UnreadSheet) -> list[Component]:
    by = f", handed in by {one.who}" if one.who else ""
    read = command_words("held", "read", one.file, "--mapping", "FILE", "--who", "CODE")
    told = [
        html.P([html.B(one.file), html.Span(f" since {one.handed_in}{by}", className="small")]),
        html.P(unbroken(one.why)),
        html.P(
            dcc.Link("Show what stands where", href=address("/sheets/<sheet>/layout", {"sheet": one.sheet}))
        ),
        html.P(["Or write it into a file: ", html.Code(read)], className="small"),
    ]
    return [html.Div(told), _put_away(one)]


def _put_away(one: UnreadSheet) -> Component:
    shop = queries.board().shop()
    asked = [] if signed() or not shop.people else [people(shop)]
    button = submit("Put away", "do", "put-away", **{"aria-label": f"Put {one.file} away"})
    body = [Field("sheet", "hidden", one.sheet), *asked, line("Why", "why"), button]
    form = desk_form("/sheets/put-away", "sheets-done", body, f"sheets-away-{one.sheet[:12]}")
    return html.Details([html.Summary("Put it away"), form], className="decide no-print")
