"""What became of a card that was typed: how much of it is kept, what waits, and the piece drawn at once."""

from __future__ import annotations

from dataclasses import replace
from urllib.parse import quote

from flask import Response
from markupsafe import Markup

from dashboard import queries, words
from dashboard.bench.frame import heading, page
from dashboard.bench.picking import card_address
from dashboard.bench.plain import plain
from dashboard.bench.remedy import remedy_cards
from dashboard.pages.whole_piece import figures_card, maps
from dashboard.routing import instrument_address
from qc.jobs.bench import BenchOutcome


def done_page(found: BenchOutcome) -> Response:
    """Return the page of a card that was handed in."""
    body = [
        heading(found.title, ("All cards", "/bench")),
        Markup('<section class="card{}"><p class="lead" role="status">{}</p>{}{}</section>').format(
            " warn" if found.waiting or found.left else "",
            found.sentence,
            _left(found) + _waiting(found),
            _ways(found),
        ),
        *_drawn(found),
    ]
    return page(found.title, body)


def _left(found: BenchOutcome) -> Markup:
    """Say what is out although something holds it, with the way to its page."""
    return Markup("").join(
        Markup(
            '<p class="bench-left"><strong>{}</strong> {} <a href="/hold/{}">What holds it</a></p>'
        ).format(words.units_in(one.sentence), one.next_step, quote(one.rows[0].serial, safe=""))
        for one in found.left
    )


def _waiting(found: BenchOutcome) -> Markup:
    rows = Markup("").join(
        Markup("<li><strong>{}</strong>: {} {}</li>").format(
            one.what, words.units_in(one.sentence), words.units_in(one.mend)
        )
        for one in found.waiting
    )
    if not rows:
        return Markup("")
    return Markup(
        '<ul class="bench-waits">{}</ul><p><a class="button" href="/sheets">Answer them on the page of sheets'
        "</a></p>"
    ).format(rows)


def _ways(found: BenchOutcome) -> Markup:
    piece = Markup('<a class="button" href="{}">All of {}</a>').format(
        instrument_address(found.serial), found.serial
    )
    return Markup(
        '<p class="bench-ways"><a class="button do" href="{}" autofocus>The next one</a>'
        '<a class="button" href="{}">Another card{}</a>{}</p>'
    ).format(
        card_address(found.card, ""),
        f"/bench?serial={found.serial}" if found.serial else "/bench",
        f" of {found.serial}" if found.serial else "",
        piece if found.serial else "",
    )


def _drawn(found: BenchOutcome) -> list[Markup]:
    """Return what to do, what the stage of this card now says of the piece, and the maps of its places."""
    board = queries.board()
    view = board.instrument(found.serial) if found.serial and found.accepted else None
    stage = next((one.stage_id for one in board.bench().cards() if one.id == found.card), "")
    if view is None or view.record is None or not stage:
        return []
    own = replace(view.record, figures=tuple(one for one in view.record.figures if one.stage == stage))
    drawn = maps(own)
    for one in drawn:
        one.open = True
    todo = remedy_cards(found.serial, {one.characteristic for one in own.figures})
    return [
        plain(one) for one in [*todo, *drawn, *([figures_card(own, board.verdicts())] if own.figures else [])]
    ]
