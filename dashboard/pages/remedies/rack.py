"""``/remedies/rack``: the tubes that wait, paired; pairs kept together; what is left and would help."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import Dash, Input, Output, dcc, html, no_update
from dash.development.base_component import Component

from dashboard import queries
from dashboard.door import Role, needs
from dashboard.fields import choice, switch, switches
from dashboard.pages.remedies.addresses import BACK, OVERVIEW, RACK
from dashboard.pages.remedies.words import amount, problem_card, sentence
from dashboard.parts import card, heading, nothing, serial_link, table, unbroken
from dashboard.routing import Page
from qc.jobs.board import RackView
from qc.shares import percent_words

CHOSEN = "rack-chosen"
BODY = "rack-body"
BETWEEN = " = "
"""Stands between the two tubes of a pair that is kept together; no serial holds it."""


@needs(Role.TECHNICIAN)
def layout(**_: str) -> Component:
    """Return the proposal for the rack."""
    views = queries.board().remedies().rack()
    head = heading(
        "The rack",
        "Tubes that were measured and are in no slide yet, paired by the plan's limits. A proposal: nothing "
        "is stored.",
        back=BACK,
    )
    return html.Div([head, html.Div(body_of(views, []), id=BODY), dcc.Store(id=CHOSEN)])


def register(app: Dash) -> None:
    """Pair anew when a pair is kept together or let go."""

    @needs(Role.TECHNICIAN)
    def pair_again(chosen: Mapping[str, Sequence[str]] | None) -> Any:
        """Return the proposal around the pairs that are kept."""
        chosen = chosen or {}
        if half_put(chosen):
            return no_update  # the other tube of the pair is still to be chosen
        kept = kept_pairs(chosen)
        answers = queries.board().remedies()
        views = answers.rack(kept)
        problems = [problem_card(view.problem) for view in views if view.result is None]
        plain = [view for view in answers.rack() if view.result is None]
        if len(problems) > len(plain):  # what cannot be kept is told, and the rest is still shown
            return [*problems, *body_of(answers.rack(), [])]
        return body_of(views, kept)

    app.callback(Output(BODY, "children"), Input(CHOSEN, "data"), prevent_initial_call=True)(pair_again)


def half_put(chosen: Mapping[str, Sequence[str]]) -> bool:
    """Tell whether one tube was put by hand and its mate is not yet chosen."""
    both = zip(chosen.get("inner", ()), chosen.get("outer", ()), strict=False)
    return any(bool(inner) != bool(outer) for inner, outer in both)


def kept_pairs(chosen: Mapping[str, Sequence[str]]) -> list[tuple[str, str]]:
    """Return the pairs that are kept together: those ticked, and one put together by hand."""
    kept = []
    for text in chosen.get("keep", ()):
        inner, between, outer = text.partition(BETWEEN)
        if between:
            kept.append((inner, outer))
    for by_hand in zip(chosen.get("inner", ()), chosen.get("outer", ()), strict=False):
        if all(by_hand):
            # a tube that is put elsewhere by hand leaves the pair it was ticked in
            kept = [pair for pair in kept if pair[0] != by_hand[0] and pair[1] != by_hand[1]]
            kept.append(by_hand)
    return kept


def body_of(views: Sequence[RackView], kept: Sequence[tuple[str, str]]) -> list[Component]:
    """Return the proposal for each model, in one form: what is kept counts for all of them."""
    parts = [part for view in views for part in _proposal(view, kept, named=len(views) > 1)]
    return [switches(CHOSEN, [html.Div(parts, className="stack first")], "rack-form")]


def _proposal(view: RackView, kept: Sequence[tuple[str, str]], named: bool) -> list[Component]:
    """Draw the proposed pairs beside what is left over and the tubes as they came."""
    found = view.result
    title = view.model if named else ""
    if found is None:
        return [problem_card(f"{title}: {view.problem}" if title else view.problem)]
    lead = [html.P(unbroken(sentence(found.said)), className="lead")]
    if found.random_share is not None and found.best_share is not None:
        any_how, paired = map(percent_words, (found.random_share, found.best_share))
        shares = f"Expected within limits: {any_how} taken as they come, {paired} paired."
        lead.append(html.P(shares, className="small"))
    lead.append(html.P(f"Wanted {found.target_um:g} µm of clearance on the diameter.", className="small"))
    left = [html.P(unbroken(sentence(said))) for said in found.leftovers]
    before = [html.P(unbroken(sentence(said)), className="small") for said in found.rack]
    why = "Pairing hides a drifting die: these are the tubes before pairing, in the order they came."
    return [
        html.Div(
            [
                html.Div([card(title, *lead), card("Pairs", _pairs(view, kept))]),
                html.Aside(
                    [
                        card("Left over", *(left or [nothing("No tube is left over.")])),
                        card("The tubes themselves", html.P(why, className="small"), *before),
                    ]
                ),
            ],
            className="grid first",
        )
    ]


def _pairs(view: RackView, kept: Sequence[tuple[str, str]]) -> Component:
    """Draw the pairs, each to be kept or put together otherwise by hand."""
    found = view.result
    if found is None:
        return nothing("")
    rows: list[list[Any]] = []
    for pair, tight in zip(found.pairing.pairs, found.tight, strict=True):
        both = f"{pair.inner}{BETWEEN}{pair.outer}"
        together = (pair.inner, pair.outer) in kept
        label = html.Span(f"keep {pair.inner} in {pair.outer}", className="unseen")
        inside: Any = "inside" if pair.inside else html.B("outside", className="is-drifting")
        rows.append(
            [
                serial_link(pair.inner),
                serial_link(pair.outer),
                amount(pair.least_um, 0),
                amount(pair.mean_um, 0),
                amount(pair.greatest_um, 0),
                inside,
                unbroken(tight),
                switch(html.Span([label, "keep"]), "keep", both, on=together),
            ]
        )
    head = ["Inner", "Outer", "Least", "Mean", "Greatest", "Limits", "Along its length", "Together"]
    caption = f"Clearance on the diameter [µm], limits {found.lower_um:g} to {found.upper_um:g}"
    names = found.inner_run.names, found.outer_run.names
    by_hand = [
        choice(f"Put this {side}", side, [(name, name) for name in own], ask="no choice")
        for side, own in zip(("inner", "outer"), names, strict=True)
    ]
    return html.Div(
        [
            table(head, rows, caption, numbers=(2, 3, 4)),
            html.Div(by_hand, className="fields by-hand"),
        ]
    )


def _title(**_: str) -> str:
    return "The rack"


PAGE = Page(RACK, OVERVIEW, layout, _title, register=register)
