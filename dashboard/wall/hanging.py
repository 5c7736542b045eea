"""``/wall``: the first screen enlarged for a screen on the wall, which nobody touches.

A plain page: a small script (``assets/wall.js``) asks for what is to be shown every half minute and puts it
in the place of what stood there, so nothing flashes; when the board does not answer the page says so and
turns pale. Type is a share of the screen's width, chosen so that on a screen 1.2 m wide the capitals are seen
under 16 minutes of arc from four metres: the least that ISO 9241-303 asks for (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from flask import Flask, Response
from markupsafe import Markup, escape

from dashboard import pictograms, queries, words
from dashboard.door import TOKEN_FIELD, Role, needs, page_token, signed
from dashboard.drawing import Node, markup
from dashboard.pages.today import next_step
from dashboard.parts import unbroken
from qc.jobs.board import SeriesVerdict, StageView, TodayView
from qc.jobs.in_hand import share_words
from qc.jobs.people import PASSWORD, WALL
from qc.states import DUE, OVERDUE

LOOKS: Final = r"\b(wall|day)\."
"""Files among the assets that only the pages of this room ask for."""

SHOWN: Final = 4
"""Findings sent; the page leaves those out that find no room, the last first."""

PAGE: Final = """<!doctype html>
<html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1"><title>{title}</title>
<link rel="icon" href="data:,"><link rel="stylesheet" href="/theme.css">
<link rel="stylesheet" href="/assets/wall.css"></head>
<body><div id="wall" aria-live="polite">{shown}</div>
<footer><span id="heard" role="status"></span>{way}</footer>
<script src="/assets/wall.js"></script></body></html>"""


def add_wall(server: Flask) -> None:
    """Add the view for the wall, and what it asks for to stay up to date."""
    server.add_url_rule("/wall", view_func=show_wall, methods=["GET"])
    server.add_url_rule("/wall/now", view_func=tell_wall, methods=["GET"])


@needs(Role.TECHNICIAN)
def show_wall() -> Response:
    """Return the page."""
    queries.stand_on(None)
    shop = queries.board().shop()
    title = escape(f"Wall · {shop.name}")
    return Response(PAGE.format(title=title, shown=wall(), way=_way_out()), mimetype="text/html")


@needs(Role.TECHNICIAN)
def tell_wall() -> Response:
    """Return what the page is to show now."""
    return Response(wall(), mimetype="text/html")


def wall() -> Markup:
    """Return what hangs on the wall: the route, what moved, what waits. A wall shows no past day."""
    queries.stand_on(None)
    board = queries.board()
    view, shop = board.today(), board.shop()
    if board.not_judged():
        queries.desk().judge()
    head = Markup('<header><h1>{}</h1><p class="shop">{} · {}</p></header>').format(
        words.headline(view.stages, len(view.settled), view.open_as_well), shop.name, words.day(shop.day)
    )
    return head + _route(view.stages) + Markup("<main>{}{}</main>").format(_moved(view), _waits(view))


def _way_out() -> Markup:
    """Return the way back, and that to let this screen hang; one that hangs can only be signed out."""
    own = signed()
    hangs = own is not None and own.by == WALL
    back = "" if hangs else Markup('<a href="/">Back to the board</a>')
    if own is None or own.by not in {WALL, PASSWORD}:
        return Markup("<span>{}</span>").format(back)
    where, said = ("/sign-out", "Sign out") if hangs else ("/sign-in/wall", "Keep this screen on the wall")
    return Markup(
        '<form method="post" action="{}"><input type="hidden" name="{}" value="{}">{} '
        '<button type="submit">{}</button></form>'
    ).format(where, TOKEN_FIELD, page_token(), back, said)


def _route(stages: Sequence[StageView]) -> Markup:
    stops = Markup("").join(_stop(stage) for stage in stages)
    return Markup(
        '<section class="route" style="--stages:{}"><div class="pipe"></div><ol>{}</ol>'
        '<div class="end">{}</div></section>'
    ).format(max(1, len(stages)), stops, drawn(pictograms.draw_bell()))


def _stop(stage: StageView) -> Markup:
    peak = drawn(pictograms.draw_peak()) if stage.behaviour == "drifting" else ""
    return Markup(
        '<li><span class="above">{}</span>{}<strong>{}</strong><span class="is-{}">{}</span></li>'
    ).format(
        peak,
        drawn(pictograms.draw_ring(stage.behaviour, stage.capable)),
        stage.name,
        stage.behaviour,
        stage.behaviour,
    )


def _moved(view: TodayView) -> Markup:
    """Tell what moved, worst first; where nothing did, that alone in large letters."""
    if not view.findings:
        said = "Nothing has moved." if view.series else "No sheet has come in yet."
        return Markup('<section class="moved"><p class="calm">{}</p></section>').format(said)
    shown = view.findings[:SHOWN]
    rows = Markup("").join(_finding(verdict) for verdict in shown)
    rest = len(view.findings) - len(shown)
    return Markup(
        '<section class="moved"><ol id="finds">{}</ol><p id="more" data-more="{}"></p></section>'
    ).format(rows, rest)


def _finding(verdict: SeriesVerdict) -> Markup:
    signal = verdict.telling
    after = next_step(signal.next_step) if signal and signal.next_step else ""
    step = Markup('<p class="next">{}</p>').format(set_whole(after)) if after else ""
    return Markup('<li>{}<div><p class="what">{}</p>{}</div></li>').format(
        drawn(pictograms.draw_peak(20)), set_whole(words.finding(verdict)), step
    )


def _waits(view: TodayView) -> Markup:
    """Tell what waits and runs out, each in a name, a figure and who or what; nothing where nothing does."""
    own, rows = view.holders, []
    if view.cards_missing:
        rows.append(("Cards missing", str(len(view.cards_missing)), ", ".join(view.cards_missing)))
    late = sum(one.late for one in own.reactions)
    if own.reactions:
        said = share_words(own.reactions, "nobody yet")
        figure = f"{late} overdue" if late else str(sum(one.number for one in own.reactions))
        rows.append(("Open reactions", figure, said))
    if own.pieces:
        figure = str(sum(one.number for one in own.pieces))
        rows.append(("Pieces to hold", figure, share_words(own.pieces, "no card yet", 2)))
    if view.held_rows:
        rows.append(("Held rows", str(view.held_rows), share_words(own.rows, "a card without a name", 2)))
    bad = [due.id for due in view.gauges_due if due.state != DUE]
    if bad:
        rows.append(("Gauges", f"{len(bad)} not in order", ", ".join(bad[:3])))
    if view.dies_due:
        over = sum(due.state == OVERDUE for due in view.dies_due)
        figure = f"{over} overdue" if over else f"{len(view.dies_due)} this week"
        rows.append(("Dies", figure, ", ".join(due.id for due in view.dies_due[:3])))
    if not rows:
        return Markup('<section class="waits"><p class="calm">Nothing waits.</p></section>')
    lines = Markup("").join(
        Markup('<div><dt>{}</dt><dd>{}</dd><dd class="who">{}</dd></div>').format(*row) for row in rows
    )
    return Markup('<section class="waits"><dl>{}</dl></section>').format(lines)


def set_whole(sentence: str) -> Markup:
    """Return a sentence in which serials, names and days never break, as `unbroken` sets it on the board."""
    whole = Markup('<span class="whole">{}</span>')
    return Markup("").join(
        part if isinstance(part, str) else whole.format(part.children) for part in unbroken(sentence)
    )


def drawn(tree: Node) -> Markup:
    """Return a drawing as markup; `markup` escapes every value of it."""
    return Markup('<span class="drawing" aria-hidden="true">{}</span>').format(Markup(markup(tree)))
