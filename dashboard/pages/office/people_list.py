"""``/people``: who is at work in which role; people are added, given a new code, said to have left."""

from __future__ import annotations

from typing import Any

from dash import html
from dash.development.base_component import Component

from dashboard import queries
from dashboard.door import TOKEN_FIELD, Role, needs, page_token
from dashboard.fields import Field, choice, line
from dashboard.parts import card, heading, nothing, table
from dashboard.routing import Page
from qc.jobs.roles import ROLES

UNDER = (
    "Whoever is on this list signs in and decides, each in their role. A one-time code is shown once, after "
    "it was made: hand it over in person."
)
ALONE = (
    "There is no list of people yet, so nobody signs in and the board stays on this machine. The first is "
    "added at the command, by whoever may read the folder of the workshop:"
)
MAY = (
    ("technician", "hands in sheets, settles held rows, says something of a signal"),
    ("lead", "also decides about series and pieces, and changes the plan"),
    ("owner", "also keeps this list"),
)


@needs(Role.OWNER)
def layout(**_: str) -> Component:
    """Return the list, with the form of each person and the one that adds."""
    found = queries.office().people()
    if not found.people:
        said = [html.P(ALONE), html.P(html.Code("qc people add CODE --role owner"), className="after")]
        return html.Div([heading("People", UNDER), card("", *said)])
    rows: list[tuple[Any, ...]] = [
        (one.code, one.name, one.role, found.state_of(one), _ways(one.code) if one.at_work else "")
        for one in found.people
    ]
    listing = table(("Code", "Name", "Role", "How they stand", "Ways"), rows, "Those at work first")
    may = html.Dl(
        [html.Div([html.Dt(role), html.Dd(said)], className="may") for role, said in MAY], className="small"
    )
    now = nothing("This page shows the list as it stands now.")
    main = html.Div([*([card("", now)] if queries.standing_day() else []), card("", listing)])
    aside = html.Aside([_add(), card("Who may what", may)])
    return html.Div([heading("People", UNDER), html.Div([main, aside], className="grid first")])


def _ways(code: str) -> Component:
    """Return the two ways to change one person, folded: neither is taken back by a click."""
    again = _form(
        "reset",
        [
            html.P("PIN, password and sessions of before end at once.", className="small"),
            html.Button(f"New one-time code for {code}", type="submit"),
        ],
        code,
    )
    gone = _form(
        "leave",
        [
            html.P(
                "Signs in no more. The name is erased here and in every text of the plan; the code stays in "
                "the records.",
                className="small",
            ),
            html.Button(f"{code} has left", type="submit"),
        ],
        code,
    )
    return html.Details([html.Summary("Change"), again, gone], className="person no-print")


def _add() -> Component:
    roles = [(role.value, role.value) for role in ROLES]
    body = [
        line("Code, as on the cards", "code"),
        line("Name, can be left out", "name"),
        choice("Role", "role", roles, ask="choose a role"),
        html.Button("Add, or change", type="submit", className="do"),
    ]
    note = "A code that is on the list already gets the new role or name."
    return card("Add somebody", html.P(note, className="small"), _form("add", body), className="no-print")


def _form(verb: str, body: list[Any], code: str = "") -> Component:
    hidden = [Field(TOKEN_FIELD, "hidden", page_token())]
    hidden += [Field("code", "hidden", code)] if code else []
    return html.Form([*hidden, *body], method="post", action=f"/people/{verb}", className="desk")


def _title(**_: str) -> str:
    return "People"


PAGE = Page("/people", "/people", layout, _title, nav="People")
