"""What to do to a piece, on the page of the card that was just handed in: cut, pair, or spray again."""

from __future__ import annotations

from collections.abc import Collection

from dash import dcc, html
from dash.development.base_component import Component

from dashboard import queries
from dashboard.pages.remedies.addresses import RACK, of_remedy
from dashboard.pages.remedies.words import sentence, steps_card
from dashboard.parts import card, unbroken
from qc.jobs.board import LACQUER, NOTES, SLIDE_FIGURES, RackView


def remedy_cards(serial: str, figures: Collection[str]) -> list[Component]:
    """Return the remedy that the figures of one card lead to, with the way to its page; often none."""
    found = [*_tuning(serial), *_lacquer(serial)] if serial else []
    own = [component for figure, component in found if figure in figures]
    return own + (_rack(serial) if serial and set(SLIDE_FIGURES) & set(figures) else [])


def _tuning(serial: str) -> list[tuple[str, Component]]:
    remedies = queries.board().remedies()
    if "tuning" not in remedies.for_piece(serial):
        return []
    view = remedies.tuning(serial)
    way = html.P(of_remedy("tuning", serial))
    if view.result is None:
        return [(NOTES, card("", html.P(unbroken(view.problem)), way))]
    return [(NOTES, steps_card(view.result.remedy.order_of_work, way))]


def _lacquer(serial: str) -> list[tuple[str, Component]]:
    remedies = queries.board().remedies()
    if "lacquer" not in remedies.for_piece(serial):
        return []
    view = remedies.lacquer(serial)
    said = sentence(view.result.said) if view.result is not None else view.problem
    return [
        (LACQUER, card("", html.P(unbroken(said), className="lead"), html.P(of_remedy("lacquer", serial))))
    ]


def _rack(serial: str) -> list[Component]:
    """Return what goes with a loose tube, or what it wants; nothing for a tube that is in a slide."""
    told = [said for view in queries.board().remedies().rack() for said in _of_tube(view, serial)]
    way = html.P(dcc.Link("The whole rack, and which tube into which", href=RACK))
    return [card("", *(html.P(unbroken(said), className="lead") for said in told), way)] if told else []


def _of_tube(view: RackView, serial: str) -> list[str]:
    """Say into which tube of the rack this one goes, or what would mend it where it fits none."""
    found = view.result
    if found is None:
        return []
    for pair, tight in zip(found.pairing.pairs, found.tight, strict=True):
        if serial in {pair.inner, pair.outer}:
            inside = "inside" if pair.inside else "outside"
            said = (
                f"Put {pair.inner} in {pair.outer}: {pair.mean_um:.0f} µm of clearance, "
                f"{pair.least_um:.0f} to {pair.greatest_um:.0f}, {inside} the limits "
                f"{found.lower_um:g} to {found.upper_um:g}."
            )
            return [f"{said} {sentence(tight)}" if tight else said]
    left = (*found.pairing.left_inner, *found.pairing.left_outer)
    names = [tube.name for tube in left]
    return [sentence(found.leftovers[names.index(serial)])] if serial in names else []
