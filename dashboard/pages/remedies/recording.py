"""Notes from a recording: a wav file or the microphone of this machine; heard by the worker, not kept."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from typing import Any, Final

from dash import Dash, Input, Output, dcc, html
from dash.development.base_component import Component

from dashboard import queries, words
from dashboard.door import Role, needs
from dashboard.drawing import Field
from dashboard.fields import desk_form, submit
from dashboard.pages.remedies.words import amount, cautions_card, problem_card, sentence, steps_card
from dashboard.parts import card, table, unbroken
from qc.jobs.board import Ticket, TuningView

DONE: Final = "tuning-done"
HEARD: Final = "tuning-heard"
HEAD: Final = ("Note", "Nearest", "Cents", "Refused")


def recording_part(view: TuningView) -> list[Component]:
    """Return the form that takes a recording of a piece, and the place where its answer appears."""
    said = [
        "Hold each note for a second, straight, with a short rest between. The recording is heard and thrown "
        "away; nothing of it is stored."
    ]
    if not view.order:
        said.append(
            "No card of this piece's notes is stored yet, so the board cannot know which notes these are: it "
            "only says what it heard."
        )
    chooser = html.Label(
        [html.Span("wav file"), Field("wav", "file", accept=".wav,audio/wav")], className="field"
    )
    record = html.Button("Record here", type="button", className="plain", **{"data-record": "start"})
    keep = html.Span(className="recorded small", role="status", **{"aria-live": "polite"})
    body = [
        Field("serial", "hidden", view.serial),
        *[html.P(text, className="small") for text in said],
        *([_order(view.order)] if view.order else []),
        html.Div([chooser, record, keep], className="ways"),
        submit("Hear the notes", "do", "hear", "do"),
    ]
    form = desk_form("/remedies/recording", DONE, body, "tuning-recording", "Listening …")
    return [
        card("From a recording", form, className="below no-print"),
        html.Div(id=HEARD, className="stack", role="status", **{"aria-live": "polite"}),
        dcc.Store(id=DONE),
    ]


def register(app: Dash) -> None:
    """Add the callback that shows what was heard."""

    @needs(Role.TECHNICIAN)
    def show_heard(ticket: str) -> list[Component]:
        """Return what was heard, and what to do."""
        found = queries.ticket(ticket, "heard")
        return heard_cards(found) if found else []

    app.callback(Output(HEARD, "children"), Input(DONE, "data"), prevent_initial_call=True)(show_heard)


def heard_cards(found: Ticket) -> list[Component]:
    """Return the answer of a recording: the order of work, or why there is none, and every note."""
    if found["state"] != "done" or found["receipt"] is None:
        return [problem_card(found["message"])]
    receipt = found["receipt"]
    rows = [
        [
            note["where"],
            note["note"],
            "" if note["cents"] is None else amount(note["cents"], 1, signed=True),
            sentence(note["refused"]) if note["refused"] else "",
        ]
        for note in receipt["heard"]
    ]
    # a card says which note it is, and a note that gives a figure has no reason: no empty columns
    filled = [place for place in range(len(HEAD)) if any(row[place] for row in rows)]
    listing = card(
        "What was heard",
        table(
            [HEAD[place] for place in filled],
            [[row[place] for place in filled] for row in rows],
            f"{receipt['file']}: cents from the tempered note, + = sharp",
        ),
    )
    if receipt["problem"]:
        return [problem_card(receipt["problem"]), listing]
    told = [html.P(unbroken(sentence(said)), className="small") for said in receipt["summary"]]
    told.append(html.P("To keep these notes, enter them on a tuning card.", className="small"))
    return [steps_card(receipt["steps"], *told), listing, cautions_card(receipt["cautions"])]


def _order(order: Sequence[str]) -> Component:
    """Say in which order the notes are to be blown, those of one position together."""
    lines: list[Any] = []
    for place, group in groupby(order, key=lambda one: one.partition(", ")[2]):
        partials = " ".join(one.partition(", ")[0].removeprefix("partial ") for one in group)
        lines.append(html.Li(f"{place[:1].upper()}{place[1:]}: partials {partials}"))
    title = html.Summary(f"The order: {words.counted(len(order), 'note', 'notes')}, as on its newest card")
    return html.Details([title, html.Ol(lines, className="steps")], className="folded")
