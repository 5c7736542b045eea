"""The first page of the bench: which card, of which piece; typed, picked, or read by a scanner that types."""

from __future__ import annotations

from flask import Response, redirect
from markupsafe import Markup
from werkzeug.wrappers import Response as AnyResponse

from dashboard import queries
from dashboard.bench.frame import heading, page
from dashboard.routing import address
from qc.jobs.bench import BenchCard

FIND = Markup(
    """<form class="card bench-find" method="get" action="/bench" autocomplete="off">
<label class="field"><span>Scan or type a card or a serial</span>
<input type="text" name="typed" value="{typed}" maxlength="80" list="bench-pieces" autofocus
 enterkeyhint="go" autocapitalize="characters"></label><button type="submit" class="do">Go</button>
<datalist id="bench-pieces">{pieces}</datalist>{said}
<input type="hidden" name="serial" value="{serial}"></form>"""
)


def picking_page(typed: str, serial: str) -> AnyResponse:
    """Return the page of cards, or lead to the card that was typed or scanned.

    Parameters
    ----------
    typed : str
        Card id, card title or serial.
    serial : str
        The piece, where it was typed before.
    """
    bench = queries.board().bench()
    cards = bench.cards()
    wanted = typed.strip().casefold()
    found = next((one for one in cards if wanted in {one.id.casefold(), one.title.casefold()}), None)
    if wanted and found is not None:
        return redirect(card_address(found.id, serial), 303)
    said = ""
    if wanted:
        serial = bench.serial(typed)
        said = f"{serial}: choose its card." if serial else _unknown(typed)
    return _page(cards, "" if serial else typed, serial, said)


def card_address(card: str, serial: str) -> str:
    """Return the address of a card, with its piece where it is known."""
    own = address("/bench/<card>", {"card": card})
    return own + (address("?serial=<serial>", {"serial": serial}) if serial else "")


def _unknown(typed: str) -> str:
    return (
        f"{typed.strip()[:40]} is no card of the plan and no piece on record. A new piece: choose the card "
        "below and type its serial there."
    )


def _page(cards: tuple[BenchCard, ...], typed: str, serial: str, said: str) -> Response:
    """Draw the page on which a card is picked, those measured apart from those of events."""
    pieces = Markup("").join(
        Markup('<option value="{}">').format(one) for one in queries.board().bench().pieces()
    )
    line = Markup('<p role="status">{}</p>').format(said) if said else ""
    if not cards:
        line = Markup("<p>The plan has no card yet. Add one under cards in plan.yaml, then load this.</p>")
    figures = [one for one in cards if not one.event]
    events = [one for one in cards if one.event]
    body = [
        heading("Bench", ("Board", "/"), "Choose the card you are about to fill."),
        FIND.format(typed=typed, pieces=pieces, said=line, serial=serial),
        Markup('<div id="bench-drafts" class="bench-drafts"></div>'),
        _list("What you measure", figures, serial),
        _list("What happened", events, serial),
    ]
    return page("Bench", body, script=True)


def _list(title: str, cards: list[BenchCard], serial: str) -> Markup:
    if not cards:
        return Markup("")
    ways = Markup("").join(
        Markup(
            '<li><a class="bench-card" href="{}"><strong>{}</strong><span class="small">{}</span></a></li>'
        ).format(card_address(one.id, serial), one.title, _under(one))
        for one in cards
    )
    return Markup('<section><h2>{}</h2><ul class="bench-cards">{}</ul></section>').format(title, ways)


def _under(card: BenchCard) -> str:
    if card.event:
        return card.stage
    count = len(card.fields)
    of = "1 figure" if count == 1 else f"up to {count} figures"
    return f"{card.stage}, {of}" if card.stage else of
