"""The life of a signal: what was said of it, the steps to tick, and the ways it can go on."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import dcc, html
from dash.development.base_component import Component

from dashboard import queries, words
from dashboard.fields import choice, desk_form, line, people, submit, tick
from dashboard.parts import card, nothing, serial_link, table, unbroken
from dashboard.routing import address
from dashboard.steps import steps
from qc.jobs.board import SeriesView, SignalView, TouchedView, caution_words
from qc.sayings import CLOSED_STATES, MENDED, STAYS, WORDS, What
from qc.words import count_words

BECAME = [(MENDED, "mended"), (STAYS, "the new level stays")]
SAID_WORDS = {**WORDS, What.COMMENT: "remark"}
# chosen: what fits a screen; and what a browser folds out at once, since a drift found late has thousands
SHOWN_PIECES, SHOWN_REST = 15, 300


def action_card(view: SignalView, series: SeriesView | None) -> Component:
    """Return the steps as a checklist, and the form by which the signal goes on."""
    body: list[Any] = []
    care = ""
    done: list[tuple[str, str]] = []
    if series is not None:
        listed = steps(series, view.signal)
        boxes = [html.Li(tick(step, "step", step, step in view.ticked)) for step in listed]
        done = [(str(n), f"{n}. {step}") for n, step in enumerate(listed, start=1) if step in view.ticked]
        body.append(html.Ol(boxes, className="checks"))
        if view.state not in CLOSED_STATES:
            kept = "Ticks are kept with your name by one of the buttons below."
            body.append(html.P(kept, className="small no-print"))
        care = caution_words(series.cautions)
    if care:
        body.append(html.P(care, className="small"))
    ways = _ways_closed() if view.state in CLOSED_STATES else _ways_open(view)
    back = [_back([choice("Step", "step-back", done, ask="choose a step")], What.STEP_UNDONE)] if done else []
    asked = [people(queries.board().shop()), line("Remark", "text"), *ways, *back]
    # On paper the steps stay, to be ticked by hand.
    body.append(html.Div(asked, className="desk no-print"))
    where = address("/signals/<signal>/say", {"signal": view.id})
    form = desk_form(where, "signals-done", body, "signals-form")
    return card("What to do", form, className="to-do")


def history_card(view: SignalView) -> Component:
    """Return what was said of the signal, oldest first; nothing of it is ever changed."""
    lines = [
        html.Li(
            [
                html.Span(f"{said.when}, {said.who or 'no name'}: ", className="small"),
                html.B(SAID_WORDS[said.state]),
                html.Span([". ", *unbroken(said.text)] if said.text else "."),
            ]
        )
        for said in view.comments
    ]
    body = html.Ol(lines, className="life") if lines else nothing("Nobody has said anything of it yet.")
    kept = html.P("Kept as said; nothing here is changed later.", className="small") if lines else ""
    return card("Its life", body, kept)


def made_under_card(view: SignalView) -> Component:
    """Return the pieces made under the cause: where each is, what to do, and whether that is done."""
    rows = [
        [
            html.Span([serial_link(piece.serial), f" in {piece.inside}" if piece.inside else ""]),
            words.day(piece.day),
            unbroken(piece.to_do),
            f"{piece.done.who}, {words.day(piece.done.when.date())}. {piece.done.text}".strip()
            if piece.done
            else "",
        ]
        for piece in view.made_under
    ]
    done = sum(piece.done is not None or piece.released is not None for piece in view.made_under)
    said = f"{count_words(len(rows), 'piece')} made under it; {done} of them dealt with."
    body: list[Any] = [html.P(said, className="said")]
    head = ["Piece", "Measured", "What to do", "Done"]
    body.append(table(head, rows[:SHOWN_PIECES], "In order of making"))
    if rows[SHOWN_PIECES:]:
        rest = table(head, rows[SHOWN_PIECES:][:SHOWN_REST], "Later pieces")
        summary = html.Summary(f"Show the other {len(rows) - SHOWN_PIECES}")
        body.append(html.Details([summary, rest], className="folded"))
    left = [(p.serial, p.serial) for p in view.made_under if p.done is None]
    if left:
        asked = [
            people(queries.board().shop()),
            choice("Piece", "first", left[:SHOWN_REST], ask="choose a piece"),
            line("What was done with it", "text"),
            html.Div([submit("Tick it off", "what", What.PIECE_DONE)], className="ways"),
        ]
        where = address("/signals/<signal>/say", {"signal": view.id})
        fields = [html.Div(asked, className="desk no-print")]
        form = desk_form(where, "signals-done", fields, "signals-pieces")
        body.append(html.Details([html.Summary("Tick one off"), form], className="folded no-print"))
    ticked = [(p.serial, p.serial) for p in view.made_under if p.done is not None]
    if ticked:
        chosen = choice("Piece", "first", ticked[:SHOWN_REST], ask="choose a piece")
        asked = [people(queries.board().shop()), chosen, line("Why", "text")]
        where = address("/signals/<signal>/say", {"signal": view.id})
        fields = [_back(asked, What.PIECE_UNDONE)]
        body.append(desk_form(where, "signals-done", fields, "signals-pieces-back"))
    return card("Made under it", *body)


def touched_card(found: TouchedView, title: str = "What else it touched") -> Component:
    """Return what a suspect or a gauge touched, shipped or not."""
    rows = [
        [serial_link(serial), words.day(day, year=True), where, left]
        for serial, day, where, left in found.pieces
    ]
    head = ["Piece", "First on", "Where", "Now"]
    said = html.P(found.sentence[:1].upper() + found.sentence[1:], className="said")
    if not rows:
        return card(title, said)
    newest = rows[::-1]
    body: list[Any] = [table(head, newest[:SHOWN_PIECES], "Newest first")]
    rest = newest[SHOWN_PIECES:]
    if rest:
        older = [table(head, rest[:SHOWN_REST], "Earlier pieces")]
        if len(rest) > SHOWN_REST:
            older.append(html.P(f"The newest {SHOWN_REST} of them; qc also lists all.", className="small"))
        body.append(html.Details([html.Summary(f"Show the other {len(rest)}"), *older], className="folded"))
    return card(title, said, *body)


def _ways_open(view: SignalView) -> list[Component]:
    """Offer what an open signal can become; closing is folded, since it moves the settled state."""
    causes = [(cause, cause.replace("-", " ")) for cause in queries.board().shop().causes]
    first = [] if view.state == "in-hand" else [submit("Take in hand", "what", What.IN_HAND, "do")]
    closing = [
        choice("Cause", "cause", causes, ask="choose a cause"),
        line("What was done", "action"),
        choice("What became of the cause", "outcome", BECAME, ask="choose what became of it"),
        line("First piece made after the mend, if not the next one measured", "first"),
        html.P(
            "Mended: the state before is the reference again, and the next pieces have to bear that out, or "
            "this signal opens anew. Stays: the new level is the settled state. Closed as false, the finding "
            "counts no more; the pieces go on being judged as they are now.",
            className="small",
        ),
        html.Div(
            [
                submit("Close with this cause", "what", What.CLOSED, "do"),
                submit("Close as false", "what", What.CLOSED_FALSE),
            ],
            className="ways",
        ),
    ]
    return [
        html.Div([*first, submit("Keep ticks and remark", "what", What.COMMENT)], className="ways"),
        html.Details([html.Summary("Close it"), *closing], className="folded", id="signals-close"),
    ]


def _ways_closed() -> list[Component]:
    again = [submit("Reopen", "what", What.REOPENED), submit("Keep ticks and remark", "what", What.COMMENT)]
    return [html.Div(again, className="ways")]


def _back(asked: Sequence[Component], what: What) -> Component:
    """Fold the way by which a tick is taken back; it stays in the life as it was said."""
    ways = html.Div([submit("Take the tick back", "what", what)], className="ways")
    body = html.Div([*asked, ways], className="desk")
    return html.Details([html.Summary("Take a tick back"), body], className="folded no-print")


def status() -> list[Component]:
    """Return the places the script and the callback write to."""
    said = html.Div(id="signals-said", role="status", className="said-of", **{"aria-live": "polite"})
    return [said, dcc.Store(id="signals-done")]
