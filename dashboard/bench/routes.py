"""The plain routes of the bench: its pages, what a tablet asks while typing, and the one that takes cards."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from flask import Flask, Response, abort, jsonify, redirect, request
from werkzeug.wrappers import Response as AnyResponse

from dashboard import queries, words
from dashboard.bench.asking import typing_page
from dashboard.bench.done import done_page
from dashboard.bench.open_cards import OpenCards
from dashboard.bench.picking import picking_page
from dashboard.door import Role, keeper, needs, signed
from dashboard.uploads import WHO_LENGTH, problem
from qc.errors import QcError
from qc.jobs.bench import BenchDoubt, TypedCard, read_typed

MOST_TEXT: Final = 80  # characters of what is typed to find a card; chosen: a serial, a title
MOST_CARD: Final = 2**17
"""Largest card that a tablet sends [bytes]; chosen: of five hundred figures; what waits lies in memory."""

GIVEN: Final = ("Gauge", "Tool", "Stage", "Card")
"""Boxes that another page may fill in by its link, in the address in small letters."""


def add_routes(server: Flask) -> None:
    """Add the routes of the bench."""
    cards = OpenCards()

    @needs(Role.TECHNICIAN)
    def pick() -> AnyResponse:
        if queries.KNOWN in request.args:
            return redirect("/bench", 303)  # the bench is of today
        queries.stand_on(None)
        return picking_page(_asked("typed"), _asked("serial"))

    @needs(Role.TECHNICIAN)
    def type_card(card: str) -> AnyResponse:
        queries.stand_on(None)
        found = queries.board().bench().card(card)
        if found is None:
            abort(404, "The plan has no such card. The cards it has stand on the page of the bench.")
        queries.desk().warm()
        given = {label: _asked(label.lower()) for label in GIVEN if _asked(label.lower())}
        return typing_page(found, _asked("serial"), given)

    @needs(Role.TECHNICIAN)
    def tell_piece(card: str) -> Response:
        try:
            piece = queries.board().bench().piece(card, _asked("serial"), _asked("model"))
        except QcError as error:
            return problem(str(error), 404)
        return jsonify(
            {"serial": piece.serial, "model": piece.model, "usual": piece.usual, "notes": piece.notes}
        )

    @needs(Role.TECHNICIAN)
    def check() -> Response:
        sent = _sent()
        try:
            typed = read_typed(sent)
            serial = typed.boxes.get("Serial", "")
            # noted before anything takes time: who asked first is the first
            other = cards.note(typed.card, serial, _tablet(sent), _named(typed)) if serial else None
            doubts = queries.board().bench().doubts(typed)
        except QcError as error:
            return problem(str(error), 400)
        return jsonify({"doubts": [_told(one) for one in doubts], "other": _other(serial, other)})

    @needs(Role.TECHNICIAN)
    def enter() -> Response:
        sent = _sent()
        try:
            typed = read_typed(sent)
            faults = queries.board().bench().faults(typed)
        except QcError as error:
            return problem(str(error), 400)
        if faults:
            return problem(" ".join(faults), 400)
        ticket = queries.desk().enter(_plain(sent), _who(typed))
        cards.forget(typed.card, typed.boxes.get("Serial", ""), _tablet(sent))
        return jsonify({"ticket": ticket})

    @needs(Role.TECHNICIAN)
    def tell_done(entry: str) -> AnyResponse:
        queries.stand_on(None)
        found = queries.board().bench().outcome(entry)
        if found is None:
            abort(404, "Nothing is on record under this id. Open the card on the tablet it was typed on.")
        return done_page(found)

    server.add_url_rule("/bench", "bench", pick, methods=["GET"])
    server.add_url_rule("/bench/<card>", "bench-card", type_card, methods=["GET"])
    server.add_url_rule("/bench/<card>/piece", "bench-piece", tell_piece, methods=["GET"])
    server.add_url_rule("/bench/check", "bench-check", check, methods=["POST"])
    server.add_url_rule("/bench/enter", "bench-enter", enter, methods=["POST"])
    server.add_url_rule("/bench/done/<entry>", "bench-done", tell_done, methods=["GET"])


def _sent() -> Any:
    """Return the body of a request, None where it is none that a page sends."""
    request.max_content_length = MOST_CARD
    try:
        return request.get_json(silent=True)
    except RecursionError:  # lists within lists, deeper than any reader follows
        return None


def _asked(name: str) -> str:
    return request.args.get(name, "").strip()[:MOST_TEXT]


def _told(doubt: BenchDoubt) -> dict[str, object]:
    said = doubt.to_dict()
    return said | {name: words.units_in(str(said[name])) for name in ("sentence", "mend")}


def _plain(sent: Any) -> Mapping[str, object]:
    return {name: sent[name] for name in ("entry", "card", "boxes", "figures", "left_out", "sure")}


def _tablet(sent: Any) -> str:
    return str(sent.get("tablet", ""))[:MOST_TEXT]


def _named(typed: TypedCard) -> str:
    return (typed.boxes.get("Person") or typed.boxes.get("Tester") or "")[:WHO_LENGTH]


def _who(typed: TypedCard) -> str:
    """Return who is signed in, else the person named on the card, where the plan knows them."""
    own = signed()
    if own is not None or keeper().asks():
        return own.code if own is not None else ""
    named = _named(typed)
    return named if named in {code for code, _ in queries.board().shop().people} else ""


def _other(serial: str, found: tuple[str, int] | None) -> str:
    if found is None:
        return ""
    who, minutes = found
    by = f" by {who}" if who else ""
    since = "just now" if minutes < 1 else f"{minutes} min ago"
    return (
        f"This card of {serial} was begun on another tablet {since}{by}. Ask who goes on: both handed in are "
        "two cards of one piece."
    )
