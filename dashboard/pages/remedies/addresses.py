"""Where the remedies stand, and the way to them from a piece and from a signal."""

from __future__ import annotations

from typing import Final

from dash import dcc, html
from dash.development.base_component import Component

from dashboard import queries
from dashboard.parts import card
from dashboard.routing import address
from qc.jobs.board import SeriesVerdict

OVERVIEW: Final = "/remedies"
TUNING: Final = "/remedies/tuning/<serial>"
RACK: Final = "/remedies/rack"
DIES: Final = "/remedies/dies"
LACQUER_PAGE: Final = "/remedies/lacquer/<serial>"
BACK: Final = ("Remedies", OVERVIEW)
OF_PIECE: Final = {
    "tuning": (TUNING, "Tuning: what to cut, and where"),
    "lacquer": (LACQUER_PAGE, "Lacquer: where it is thin"),
}
OF_SHOP: Final = {"dies": (DIES, "Dies: when to change which"), "rack": (RACK, "Rack: which tube into which")}


def of_piece(serial: str) -> list[Component]:
    """Return a card that leads from a piece to its remedies; nothing where it has none."""
    found = queries.board().remedies().for_piece(serial)
    links = [html.P(of_remedy(name, serial)) for name in found]
    return [card("Remedies", *links)] if links else []


def of_remedy(name: str, serial: str) -> Component:
    """Return the way to one remedy of a piece."""
    return dcc.Link(OF_PIECE[name][1], href=_of(name, serial))


def of_series(verdict: SeriesVerdict) -> list[Component]:
    """Return the way from a series to its remedy; for a remedy of one piece, that of its newest piece."""
    name = queries.board().remedies().for_series(verdict.key)
    if name in OF_SHOP:
        href, said = OF_SHOP[name]
        return [dcc.Link(said, href=href, className="plain")]
    if name in OF_PIECE and verdict.points:
        serial = verdict.points[-1].serial
        return [dcc.Link(f"{OF_PIECE[name][1]}, {serial}", href=_of(name, serial), className="plain")]
    return []


def _of(name: str, serial: str) -> str:
    return address(OF_PIECE[name][0], {"serial": serial})
