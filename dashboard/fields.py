"""Forms and their fields: sent by ``assets/sheets.js`` to a plain route, answered by a ticket."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from dash import html
from dash.development.base_component import Component

from dashboard.door import signed
from dashboard.drawing import Field as Field
from dashboard.parts import unbroken
from qc.jobs.board import ShopView


def desk_form(
    address: str,
    done: str,
    children: Sequence[Any],
    form_id: str,
    saying: str = "Keeping it …",
    files: Sequence[str] = (),
    choices: str = "",
) -> Component:
    """Return a form for the worker.

    Parameters
    ----------
    address : str
        Route that takes it.
    done : str
        Id of the store that gets the ticket once it is worked off.
    children : sequence
        Fields and submit buttons; the button that was pressed sends its name and value too.
    form_id : str
        Id of the form.
    saying : str
        What stands there while it is worked off.
    files : sequence of str
        Names of the files just sent that go with it once more.
    choices : str
        Id of a store that gets what stands in its fields whenever one is changed, as of `switches`.
    """
    said = html.Div(className="form-said", role="status", **{"aria-live": "polite"})
    data = {"data-desk": address, "data-done": done, "data-saying": saying}
    if files:
        data["data-files"] = json.dumps(list(files), ensure_ascii=False)
    if choices:
        data["data-choices"] = choices
    return html.Form([*children, said], id=form_id, className="desk", **data)


def submit(said: str, name: str, value: str, className: str = "", **more: Any) -> Component:
    """Return a button that sends its form; `className` is Dash's own spelling."""
    return html.Button(said, type="submit", name=name, value=value, className=className, **more)


def choice(label: str, name: str, options: Sequence[tuple[str, str]], ask: str = "") -> Component:
    """Return a choice with its label; `ask` is what stands there until something is chosen."""
    first = [html.Option(ask, value="")] if ask else []
    chosen = html.Select([*first, *[html.Option(shown, value=code) for code, shown in options]], name=name)
    return html.Label([html.Span(label), chosen], className="field")


def people(shop: ShopView, label: str = "Who says it") -> Component:
    """Return who is signed in, else the choice among those at work; nobody is chosen beforehand.

    The name is kept with what is said, so a form shows under which one it goes.
    """
    own = signed()
    if own is not None:
        return html.P([f"{label}: ", html.Strong(own.name or own.code)], className="field")
    return choice(label, "who", shop.people, ask="choose a name")


def line(label: str, name: str, value: str = "") -> Component:
    """Return a line of text with its label."""
    return html.Label([html.Span(label), Field(name, value=value)], className="field")


def tick(label: str, name: str, value: str, done: bool) -> Component:
    """Return a box to tick; one that was ticked before stays so."""
    box = Field(name, "checkbox", value, checked=done, disabled=done)
    return html.Label([box, html.Span(unbroken(label))], className="tick")


def switches(store: str, children: Sequence[Any], form_id: str) -> Component:
    """Return a form whose ticks change what is shown; a store gets what is on, by name."""
    return html.Form(children, id=form_id, className="no-print", **{"data-choices": store})


def switch(label: Any, name: str, value: str, kind: str = "checkbox", on: bool = False) -> Component:
    """Return one switch of such a form: a box to tick, or one of a choice (`kind` radio)."""
    box = Field(name, kind, value, checked=on)
    return html.Label([box, label], className="tick")
