"""What was decided about a series, with the way to undo it and to decide anew."""

from __future__ import annotations

from typing import Any

from dash import html
from dash.development.base_component import Component

from dashboard import queries, words
from dashboard.fields import Field, desk_form, line, people, submit
from dashboard.parts import card, serial_link
from qc.jobs.board import DecisionView, SeriesView
from qc.sayings import What

DONE = "stage-decided"


def decisions_card(view: SeriesView) -> Component:
    """Return what stands for a series and the folded form for a new decision."""
    standing = [_standing(view, decision, n) for n, decision in enumerate(view.decisions)]
    return card("What was decided", *standing, _anew(view, bool(standing)))


def _standing(view: SeriesView, decision: DecisionView, number: int) -> Component:
    """Show one decision with its reason and the way to undo it, which asks for a name and a reason too."""
    frozen = decision.what == What.FREEZE
    name = "Settled state frozen: " if frozen else "Left out of judging: "
    span: list[Any] = [serial_link(decision.first)]
    if decision.last != decision.first:
        span += [" to ", serial_link(decision.last)]
    by = f" by {decision.who}" if decision.who else ""
    on = f" on {words.day(decision.day, year=True)}" if decision.day else ""
    body = [
        *_hidden(view, What.UNDO_FREEZE if frozen else What.UNDO_LEAVE_OUT),
        Field("first", "hidden", decision.first),
        Field("last", "hidden", decision.last),
        people(queries.board().shop(), "Who undoes it"),
        line("Why", "why"),
        submit("Undo", "do", "undo", **{"aria-label": f"Undo: {name}{decision.first} to {decision.last}"}),
    ]
    form = desk_form("/series/decide", DONE, body, f"stage-undo-{number}")
    undo = html.Details([html.Summary("Undo this"), form], className="decide no-print")
    told = html.P([html.B(name), *span, f"{by}{on}."])
    why = html.P(f"Why: {decision.why.rstrip('.')}.", className="small")
    return html.Div([told, why, undo], className="decision")


def _anew(view: SeriesView, more: bool) -> Component:
    """Offer a new decision, folded: it is rare, and what it does is said before it is asked for."""
    wears = bool(view.wears_with)
    note = (
        "This figure wears: a frozen settled state is the line through its pieces, all of one fitting of the "
        "tool, and later pieces of that fitting are compared with it. "
        if wears
        else "A frozen settled state is what later pieces are compared with. "
    )
    note += (
        "Pieces left out are still shown, hollow, but not judged. Nothing is deleted, and both can be undone."
    )
    ways = [submit("Freeze as the settled state", "what", What.FREEZE)]
    body = [
        Field("series", "hidden", str(view.verdict.key)),
        line("First piece", "first"),
        line("Last piece", "last"),
        people(queries.board().shop(), "Who decides"),
        line("Why", "why"),
        html.Div([*ways, submit("Leave out", "what", What.LEAVE_OUT)], className="ways"),
    ]
    form = desk_form("/series/decide", DONE, body, "stage-decide")
    title = "Decide something else" if more else "Freeze a settled state, or leave pieces out"
    return html.Details(
        [html.Summary(title), html.P(note, className="small"), form], className="decide no-print"
    )


def _hidden(view: SeriesView, what: str) -> list[Component]:
    return [Field("series", "hidden", str(view.verdict.key)), Field("what", "hidden", what)]
