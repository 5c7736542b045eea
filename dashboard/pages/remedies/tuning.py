"""``/remedies/tuning/<serial>``: what to do to the lengths of a piece, its notes before and after."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import TYPE_CHECKING, Any

from dash import Dash, Input, Output, State, dcc, html
from dash.development.base_component import Component

from dashboard import queries, words
from dashboard.door import Role, needs
from dashboard.drawing import Drawing
from dashboard.fields import choice, line, switches
from dashboard.pages.remedies import recording
from dashboard.pages.remedies.addresses import BACK, OVERVIEW, TUNING
from dashboard.pages.remedies.sketches import draw_notes
from dashboard.pages.remedies.words import amount, cautions_card, problem_card, sentence, steps_card
from dashboard.parts import card, heading, serial_link, table, unbroken
from dashboard.routing import Page
from qc.jobs.board import Sitting, TuneAsked, TuningView

if TYPE_CHECKING:
    from qc.jobs.remedies import TuneResult

CHOSEN, BODY, SERIAL = "tuning-chosen", "tuning-body", "tuning-serial"


@needs(Role.TECHNICIAN)
def layout(serial: str, **_: str) -> Component:
    """Return the remedy of one piece."""
    view = queries.board().remedies().tuning(serial)
    notes = sum(sitting.notes for sitting in view.sittings)
    under: list[Any] = [serial_link(serial)]
    if view.sittings:
        sittings = words.counted(len(view.sittings), "sitting", "sittings")
        under.append(f", {view.model}: {words.counted(notes, 'note', 'notes')} in {sittings}")
    return html.Div(
        [
            heading(f"Tuning of {serial}", under, back=BACK),
            html.Div(body_of(view, TuneAsked()), id=BODY),
            *([_beside(view)] if view.sittings else []),
            *recording.recording_part(view),
            dcc.Store(id=CHOSEN),
            dcc.Store(id=SERIAL, data=serial),
        ]
    )


def register(app: Dash) -> None:
    """Work the remedy out anew when something is said beside the notes."""

    @needs(Role.TECHNICIAN)
    def work_out(chosen: Mapping[str, Sequence[str]] | None, serial: str) -> list[Component]:
        """Return the remedy with what was said beside the notes."""
        asked = asked_of(chosen or {})
        return body_of(queries.board().remedies().tuning(serial, asked), asked)

    app.callback(
        Output(BODY, "children"), Input(CHOSEN, "data"), State(SERIAL, "data"), prevent_initial_call=True
    )(work_out)
    recording.register(app)


def asked_of(chosen: Mapping[str, Sequence[str]]) -> TuneAsked:
    """Return what was typed beside the notes; a change counts once all of it is there."""
    said = {name: " ".join(next(iter(chosen.get(name, ())), "").split()) for name in TuneAsked.__slots__}
    if not (said["since"] and said["mm"]):
        said |= {"since": "", "part": "", "mm": ""}
    return TuneAsked(**said)


def body_of(view: TuningView, asked: TuneAsked) -> list[Component]:
    """Return the order of work, the notes, the lengths, and what to know before."""
    found = view.result
    if found is None:
        return [html.Div([problem_card(view.problem), *_sittings_card(view)], className="stack first")]
    told = [html.P(unbroken(sentence(said)), className="small") for said in found.summary]
    fit = found.remedy.fit
    apart = [html.P(unbroken(sentence(said)), className="small") for said in fit.not_separable]
    return [
        html.Div(
            [
                html.Div(
                    [
                        steps_card(found.remedy.order_of_work, *told),
                        _notes_card(found, _before(view, asked)),
                        _lengths_card(found),
                    ]
                ),
                html.Aside(
                    [
                        *_testers_card(found),
                        *_sittings_card(view),
                        *([card("Cannot be told apart", *apart)] if apart else []),
                        cautions_card(found.remedy.cautions),
                    ]
                ),
            ],
            className="grid first",
        )
    ]


def _before(view: TuningView, asked: TuneAsked) -> Sitting | None:
    """Return the sitting to draw as "before": the last one before the change, else the first of several."""
    earlier = [one for one in view.sittings if asked.since and one.day < asked.since]
    if earlier:
        return earlier[-1]
    return view.sittings[0] if len(view.sittings) > 1 else None


def _notes_card(found: TuneResult, before: Sitting | None) -> Component:
    """Draw where each note lies now and after the work."""
    said = "Partial by partial, below them the position. Filled: now. Ring: after the whole work."
    if before is not None:
        said += f" Cross: {_day(before.day)}."
    label = "How far each note is off, in cents, now and after the work"
    head = ["Valve", "Position", "Partial", "Readings", "Now", "After"]
    rows = [
        [
            " and ".join(one.valves) or "open",
            str(one.position),
            str(one.partial),
            str(one.readings),
            amount(one.cents, 1, signed=True),
            amount(one.after_cents, 1, signed=True),
        ]
        for one in found.places
    ]
    inner = table(head, rows, "Cents, + = sharp; what a partial is off by nature is taken off", range(3, 6))
    return card(
        "Note map",
        Drawing(draw_notes(found.places, before, queries.narrow_screen()), label=label),
        html.P(said, className="small"),
        html.Details([html.Summary("As a table"), inner], className="folded"),
    )


def _lengths_card(found: TuneResult) -> Component:
    """Draw what each length is off by and what to take away; one not blown is named, too."""
    rows = []
    for one in found.remedy.lengths:
        name = "Main length" if one.part == "main" else f"{one.part.partition(':')[2]} wrap"
        if one.error_mm is None or one.interval_mm is None:
            rows.append([name, "not known yet", "", "", ""])
            continue
        low, high = (amount(end, 1, signed=True) for end in one.interval_mm)
        known = f"{amount(one.error_mm, 1, signed=True)} ({low} to {high})"
        if one.action == "none":
            rows.append([name, known, "leave", "", ""])
            continue
        change = [amount(mm, 1, signed=True) for mm in (one.exact_change_mm, one.change_mm)]
        leg = f"{amount(abs(one.per_leg_mm), 1)} {'on the slide' if one.by == 'slide' else 'each'}"
        rows.append([name, known, *change, leg])
    blown = {one.part for one in found.remedy.lengths}
    unblown = [valve.name for valve in found.instrument.valves if f"valve:{valve.name}" not in blown]
    rows += [[f"{name} wrap", "not blown", "", "", ""] for name in unblown]
    head = ["Length", "Too long (+) by", "Change, exact", "First order", "Leg or slide"]
    caption = "Millimetres of tube; a change of − takes tube away"
    marks = [
        html.P(
            unbroken(
                f"Mark of position {mark.position}: {amount(mark.error_mm, 1, signed=True)} mm of slide "
                f"({amount(mark.interval_mm[0], 1, signed=True)} to "
                f"{amount(mark.interval_mm[1], 1, signed=True)}), + = too far out."
            ),
            className="small",
        )
        for mark in found.remedy.fit.positions
    ]
    return card("Lengths", table(head, rows, caption, numbers=(1, 2, 3, 4)), *marks)


def _testers_card(found: TuneResult) -> list[Component]:
    """Draw how the testers differ; nothing where no note names one."""
    counts: dict[str, int] = {}
    for note in found.notes:
        if note.tester:
            counts[note.tester] = counts.get(note.tester, 0) + 1
    if not counts:
        return []
    offsets = found.offsets or {}
    rows = [
        [name, str(count), amount(offsets[name], 1, signed=True) if name in offsets else "not known"]
        for name, count in counts.items()
    ]
    said = (
        "Taken off before the fit; learned from the reference instrument."
        if found.offsets
        else "Name a reference instrument below that they share, and each tester's own pitch is taken off."
    )
    inner = table(["Tester", "Notes", "Blows sharp by"], rows, "Cents", numbers=(1, 2))
    return [card("Testers", inner, html.P(said, className="small"))]


def _sittings_card(view: TuningView) -> list[Component]:
    if not view.sittings:
        return []
    rows = [[_day(one.day), str(one.notes), amount(one.rms_cents, 1)] for one in view.sittings]
    inner = table(["Sitting", "Notes", "Off by"], rows, "Cents in the mean square", numbers=(1, 2))
    return [card("Before and after", inner)]


def _beside(view: TuningView) -> Component:
    """Return the questions beside the notes: the testers' reference, and what was changed in between."""
    parts = [("main", "main length"), *[(name, f"{name} wrap") for name in view.valves]]
    days = [(one.day, _day(one.day)) for one in view.sittings[1:]]
    fields = [line("Reference instrument that the testers share (its serial)", "reference")]
    if days:
        fields += [
            choice("Something was changed before the sitting of", "since", days, ask="nothing"),
            choice("What was changed", "part", parts),
            line("By how many mm of tube (− = taken off)", "mm"),
        ]
    why = (
        "After a cut the earlier notes tell how far the piece really answers, and only the later ones are "
        "worked on."
        if days
        else "After a cut, blow the set again: two sittings together tell how far the piece really answers."
    )
    form = switches(
        CHOSEN, [html.Div(fields, className="fields"), html.P(why, className="small")], "tuning-form"
    )
    return card("What these notes do not say", form, className="below no-print")


def _day(sitting: str) -> str:
    """Write the day of a sitting."""
    return words.day(date.fromisoformat(sitting), year=True)


def _title(serial: str, **_: str) -> str:
    return f"Tuning of {serial}"


PAGE = Page(TUNING, OVERVIEW, layout, _title, register=register)
