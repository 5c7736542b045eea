"""``/hold`` and ``/hold/<serial>``: the pieces to hold, why, where they are, and the way to release one."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any
from urllib.parse import urlencode

from dash import Dash, Input, Output, State, dcc, html, no_update
from dash.development.base_component import Component

from dashboard import queries, words
from dashboard.door import Role, needs
from dashboard.fields import Field, choice, desk_form, line, people, submit
from dashboard.parts import card, figures, heading, nothing, outcome, serial_link, unbroken
from dashboard.routing import Page, address
from qc.jobs.board import LEFT_NEXT, HoldList, HoldRow, why_words
from qc.states import LET_GO, NEAR
from qc.words import count_words

SHOWN_PIECES = 6
"""Pieces named on the first screen; the rest is one click away."""

SHOWN_LEFT = 300
"""Pieces that left, named in their folded list; chosen: what a browser folds out at once."""

UNDER = (
    "A piece is here because a figure is outside a limit, or because something it shares is in doubt. It "
    "leaves the list when it is measured again inside, when the doubt is answered, or when the lead "
    "releases it."
)
AS_COMMAND = re.compile(
    r"tick it off: qc signals tick (?P<signal>\S+) --piece \S+ --who CODE|qc held list says what is asked"
)
"""What a step says to a terminal, and the board with a link."""

DONE = "hold-done"


def hold_card(view: HoldList) -> Component:
    """Return the short list of the first screen: what is in the house, the worst first."""
    pieces = by_piece(view.waiting)
    if not pieces:
        body: list[Any] = [nothing("No piece in the house is to be held.")]
    else:
        body = [html.Ul([_short(rows) for rows in pieces[:SHOWN_PIECES]], className="rows")]
        more = len(pieces) - SHOWN_PIECES
        said = f"{more} more, with what to do" if more > 0 else "All of it, with what to do"
        body.append(html.P(dcc.Link(said, href="/hold")))
    title = f"Pieces to hold: {len(pieces)} in the house" if pieces else "Pieces to hold"
    return card(title, *body, *_newest_left(view), *_left(view), className="below")


def by_piece(rows: Sequence[HoldRow]) -> list[list[HoldRow]]:
    """Gather rows by their piece, in the order of each piece's first row."""
    found: dict[str, list[HoldRow]] = {}
    for row in rows:
        found.setdefault(row.serial, []).append(row)
    return list(found.values())


@needs(Role.TECHNICIAN)
def list_layout(**_: str) -> Component:
    """Return the whole list and the form by which a piece is kept back by hand."""
    return _page("")


@needs(Role.TECHNICIAN)
def one_layout(serial: str, **_: str) -> Component:
    """Return what holds one piece, and the form by which it is released or kept back."""
    return _page(serial)


def register(app: Dash) -> None:
    """Add the callback that shows the page anew once something was decided."""

    @needs(Role.TECHNICIAN)
    def show_again(ticket: str, serial: str) -> tuple[Component, Any]:
        """Return what became of a ticket, and the page as it stands now."""
        said, done = outcome(queries.ticket(ticket, "sentence"))
        return said, body_of(serial) if done else no_update

    app.callback(
        Output("hold-said", "children"),
        Output("hold-body", "children"),
        Input(DONE, "data"),
        State("hold-serial", "data"),
        prevent_initial_call=True,
    )(show_again)


def body_of(serial: str) -> list[Component]:
    """Return everything a page says: of all pieces, or of the one that is named."""
    view = queries.board().hold()
    return _one(view, serial) if serial else _all(view)


def _page(serial: str) -> Component:
    said = html.Div(id="hold-said", role="status", className="said-of", **{"aria-live": "polite"})
    stores = [dcc.Store(id=DONE), dcc.Store(id="hold-serial", data=serial)]
    return html.Div([said, html.Div(body_of(serial), id="hold-body"), *stores])


def _all(view: HoldList) -> list[Component]:
    pieces = by_piece(view.waiting)
    here: Component = (
        html.Ul([_told(alike) for alike in _alike(pieces)], className="rows")
        if pieces
        else nothing("No piece in the house is to be held.")
    )
    folded = [*_left(view), *_near(view), *_released(view)]
    beside = [card("Beside these", *folded, className="below")] if folded else []
    gone = _left_held(view)
    out = [card("Left while to be held", *gone, className="warn")] if gone else []
    main = html.Div([*out, card(f"In the house: {len(pieces)}", here), *beside])
    aside = html.Aside([_by_hand(), _tags(len(pieces))])
    return [heading("Pieces to hold", UNDER), html.Div([main, aside], className="grid first")]


def _one(view: HoldList, serial: str) -> list[Component]:
    rows = [row for row in view.rows if row.serial == serial]
    near = [row for row in view.near if row.serial == serial]
    where = (rows or near)[0].whereabouts.words if rows or near else ""
    lines = [_line(row) for row in rows]
    told = html.Ul(lines, className="rows") if lines else nothing("Nothing holds this piece.")
    more = [html.P(unbroken(_capital(row.because)), className="small") for row in near]
    facts = [("Piece", serial_link(serial)), *([("Where", unbroken(where))] if where else [])]
    main = html.Div([card("Why it is to be held" if rows else "", told, *more)])
    tag = [html.Div(_print_tags("Print its tag", serial), className="ways no-print")]
    waits = any(row.waits and row.in_house for row in rows)
    aside = html.Aside([card("", figures(facts), *(tag if waits else [])), _decide(serial, rows)])
    head = heading(f"{serial}, to hold" if rows else serial, back=("Pieces to hold", "/hold"))
    return [head, html.Div([main, aside], className="grid first")]


def _short(rows: Sequence[HoldRow]) -> Component:
    """Tell a piece in two lines: what is worst, and how much more there is."""
    first = rows[0]
    more = f" And {count_words(len(rows) - 1, 'more reason')}." if len(rows) > 1 else ""
    said = html.P(unbroken(f"{first.name}: {_sentence(first)}{more}"), className="said")
    return html.Li(html.Div([_head(first), said]), className="row bare")


def _alike(pieces: Sequence[Sequence[HoldRow]]) -> list[list[Sequence[HoldRow]]]:
    """Gather pieces that are held for the very same reasons, in the order of each first one.

    A signal holds every piece made under it: its sentence is said once, with all of them under it.
    """
    found: dict[tuple[object, ...], list[Sequence[HoldRow]]] = {}
    for rows in pieces:
        reasons = tuple((row.name, why_words(row), row.next_step, row.released) for row in rows)
        found.setdefault(reasons, []).append(rows)
    return list(found.values())


def _told(alike: Sequence[Sequence[HoldRow]]) -> Component:
    """Tell pieces held for the same reasons: each reason a line, then what to do about the first."""
    rows = alike[0]
    said = [*map(_said, rows), _after(rows[0])]
    if len(alike) == 1:
        body = [_head(rows[0]), *said]
    else:
        number = html.P(count_words(len(alike), "piece"), className="name")
        body = [number, *said, html.Ul([html.Li(_head(other[0])) for other in alike], className="alike")]
    return html.Li(html.Div(body), className="row bare")


def _head(row: HoldRow) -> Component:
    link = dcc.Link(row.serial, href=address("/hold/<serial>", {"serial": row.serial}), className="name")
    return html.P([link, html.Span([" ", *unbroken(row.whereabouts.words)], className="state")])


def _line(row: HoldRow) -> Component:
    return html.Li(html.Div([_said(row), _after(row)]), className="row bare")


def _said(row: HoldRow) -> Component:
    return html.P(unbroken(f"{row.name}: {_sentence(row)}"), className="said")


def _after(row: HoldRow) -> Component:
    """Say what to do, or who released it."""
    released = row.released
    if released is None:
        return html.P(_linked(f"Next: {row.next_step}"), className="next")
    return html.P(
        f"Released by {released.who} on {words.day(released.day, year=True)}: {released.why}",
        className="small",
    )


def _linked(step: str) -> list[Component | str]:
    """Set a step for the board: a link stands for the command that a terminal is given."""
    parts: list[Component | str] = []
    end = 0
    for found in AS_COMMAND.finditer(step):
        parts += unbroken(step[end : found.start()])
        if found["signal"]:
            href = address("/signals/<signal>", {"signal": found["signal"]})
            parts.append(dcc.Link(f"tick it off at signal {found['signal']}", href=href))
        else:
            parts.append(dcc.Link("the page of sheets says what is asked", href="/sheets"))
        end = found.end()
    return [*parts, *unbroken(step[end:])]


def _newest_left(view: HoldList) -> list[Component]:
    """Say on the first screen how many left while they were to be held, and which did last."""
    pieces = by_piece(view.left_held)
    if not pieces:
        return []
    first = pieces[0][0]
    said = f"{count_words(len(pieces), 'piece')} left while to be held"
    link = dcc.Link(said, href="/hold")
    return [html.P([link, *unbroken(f", the newest {first.serial}, {first.whereabouts.words}.")])]


def _left_held(view: HoldList) -> list[Component]:
    """Name what left although it was on the list by then: somebody has to find out where it is."""
    pieces = by_piece(view.left_held)
    if not pieces:
        return []
    todo = LEFT_NEXT if len(pieces) == 1 else LEFT_NEXT.replace("where it is", "where each is")
    said = f"{count_words(len(pieces), 'piece')} left while to be held. {todo}"
    lines = [_short(rows) for rows in pieces[:SHOWN_PIECES]]
    more = len(pieces) - SHOWN_PIECES
    rest = [html.P(f"And {more} more, among those that left.", className="small")] if more > 0 else []
    return [html.P(said, className="small"), html.Ul(lines, className="rows"), *rest]


def _left(view: HoldList) -> list[Component]:
    """Fold what has left into one line: nothing here can be done about it at a bench."""
    pieces = by_piece(view.shipped)
    which = "it" if len(pieces) == 1 else "them"
    title = f"{count_words(len(pieces), 'piece')} left before anybody released {which}"
    return _folded(title, [_short(rows) for rows in pieces[:SHOWN_LEFT]], len(pieces))


def _near(view: HoldList) -> list[Component]:
    pieces = by_piece([row for row in view.near if row.in_house])
    title = f"{count_words(len(pieces), 'piece')} {NEAR}: within the gauge's own spread"
    return _folded(title, [_short(rows) for rows in pieces], len(pieces))


def _released(view: HoldList) -> list[Component]:
    rows = view.released
    lines = [html.Li(html.Div([_head(row), _said(row), _after(row)]), className="row bare") for row in rows]
    return _folded(f"{count_words(len(by_piece(rows)), 'piece')} {LET_GO}", lines, len(lines))


def _folded(title: str, lines: Sequence[Component], number: int) -> list[Component]:
    if not number:
        return []
    return [html.Details([html.Summary(title), html.Ul(lines, className="rows")], className="folded")]


def _decide(serial: str, rows: Sequence[HoldRow]) -> Component:
    """Return the form for one piece; nobody is chosen beforehand, since the name is kept."""
    names = {f"{row.stage}/{row.characteristic}": row.name for row in rows if row.characteristic}
    several = [choice("For which figure", "figure", list(names.items()), ask="all of it")]
    one = several if len(names) > 1 else []
    open_rows = any(row.waits for row in rows)
    ways = [submit("Release it", "what", "release")] if open_rows else []
    body = [
        Field("serial", "hidden", serial),
        *one,
        people(queries.board().shop(), "Who decides"),
        line("Why", "why"),
        html.Div([*ways, submit("Keep it back", "what", "keep")], className="ways"),
    ]
    note = "A release covers what is known now: a new reading or signal brings the piece back to this list."
    form = desk_form("/hold/decide", DONE, body, "hold-decide")
    return card("Release it, or keep it back", html.P(note, className="small"), form, className="no-print")


def _by_hand() -> Component:
    body = [
        line("Serial", "serial"),
        people(queries.board().shop(), "Who decides"),
        line("Why", "why"),
        html.Div([submit("Keep it back", "what", "keep")], className="ways"),
    ]
    form = desk_form("/hold/decide", DONE, body, "hold-by-hand")
    return card("Keep a piece back by hand", form, className="no-print")


def _tags(pieces: int) -> Component:
    if not pieces:
        return html.Span()
    said = html.P("A tag to hang on each piece: why it is kept back, and a line for who releases it.")
    return card("Tags", said, html.Div(_print_tags("Print the tags"), className="ways"), className="no-print")


def _print_tags(said: str, serial: str = "") -> Component:
    href = f"/hold/tags.pdf?{urlencode({'serial': serial})}" if serial else "/hold/tags.pdf"
    return html.A(said, href=href, target="_blank", className="button")


def _sentence(row: HoldRow) -> str:
    return f"{why_words(row).rstrip('.')}."


def _capital(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}."


def _list_title(**_: str) -> str:
    return "Pieces to hold"


def _one_title(serial: str, **_: str) -> str:
    return f"{serial}, to hold"


LIST_PAGE = Page("/hold", "/hold", list_layout, _list_title, nav="To hold", register=register)
ONE_PAGE = Page("/hold/<serial>", "/hold", one_layout, _one_title)
