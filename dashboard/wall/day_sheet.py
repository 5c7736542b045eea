"""``/day``: the day on one side of A4, to print and to lie on the desk overnight.

A plain page whose pictures are drawn before it is sent, so a printer gets what the screen shows. Its lists
are cut, each with how much more there is, so that it is always one side.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from flask import Flask, Response
from markupsafe import Markup, escape

from dashboard import pictograms, queries, words
from dashboard.door import Role, needs
from dashboard.pages.today import due_words, next_step
from dashboard.wall.hanging import drawn, set_whole
from qc.jobs.board import Due, SeriesVerdict, StageView, TodayView, as_running_rate
from qc.jobs.in_hand import DayView, share_words
from qc.words import count_words

FINDINGS, BENCHES, TOLD, DONE, SERIALS, DUES = 4, 9, 3, 6, 8, 4
"""Lines of each list: chosen, so that all of them at once still fit one side."""

SPARK_POINTS: Final = 36

PAGE: Final = """<!doctype html>
<html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1"><title>{title}</title>
<link rel="icon" href="data:,"><link rel="stylesheet" href="/theme.css">
<link rel="stylesheet" href="/assets/day.css"></head>
<body><nav class="no-print" aria-label="This sheet"><a href="/">Back to the board</a>
<button type="button" id="print">Print this side</button></nav>
<main>{body}</main><script src="/assets/day.js"></script></body></html>"""


def add_day_sheet(server: Flask) -> None:
    """Add the sheet of the day."""
    server.add_url_rule("/day", view_func=show_day, methods=["GET"])


@needs(Role.TECHNICIAN)
def show_day() -> Response:
    """Return the sheet, of the past day that the address names where it does."""
    shop = queries.board().shop()
    title = escape(f"The day on one side · {shop.name}")
    return Response(PAGE.format(title=title, body=day_sheet()), mimetype="text/html")


def day_sheet() -> Markup:
    """Return what stands on the side."""
    board = queries.board()
    view, own, shop = board.today(), board.day(), board.shop()
    known = queries.standing_day()
    then = f", as it was known on {words.day(known, year=True)}" if known else ""
    head = Markup('<header><h1>{}</h1><p>{}{}</p><p class="lead">{}</p></header>').format(
        words.long_day(own.cards.day),
        shop.name,
        then,
        words.headline(view.stages, len(view.settled), view.open_as_well),
    )
    left = _block("What moved, worst first", _moved(view)) + _block("First told on this day", _told(own))
    right = Markup("").join(
        [
            _block("On cards of this day", _came(own)),
            _block("Decided and put right", _lines(own.done, DONE, "Nothing.")),
            _block("Left the shop on this day", _serials(own)),
            _block("Waits, and with whom", _waits(view)),
            _block(
                "Runs out",
                _lines([_due(due) for due in (*view.dies_due, *view.gauges_due)], DUES, "Nothing."),
            ),
        ]
    )
    notes = Markup('<section class="notes"><h2>Notes, and for whom</h2></section>')
    return (
        head
        + _route(view.stages)
        + Markup('<div class="two"><div>{}</div><div>{}{}</div></div>').format(left, right, notes)
    )


def _route(stages: Sequence[StageView]) -> Markup:
    stop = Markup('<li>{}<strong>{}</strong><span class="is-{}">{}</span><span>{}</span></li>')
    stops = Markup("").join(
        stop.format(
            drawn(pictograms.draw_mark(one.behaviour, one.capable, 30)),
            one.name,
            one.behaviour,
            one.behaviour,
            one.limits,
        )
        for one in stages
    )
    return Markup('<ol class="route">{}</ol>').format(stops)


def _block(title: str, body: Markup) -> Markup:
    return Markup("<section><h2>{}</h2>{}</section>").format(title, body)


def _moved(view: TodayView) -> Markup:
    if not view.findings:
        return Markup("<p>{}</p>").format(
            "Nothing has moved." if view.series else "No sheet has come in yet."
        )
    rows = Markup("").join(_finding(verdict) for verdict in view.findings[:FINDINGS])
    return Markup('<ol class="finds">{}</ol>{}').format(rows, _more(len(view.findings) - FINDINGS))


def _finding(verdict: SeriesVerdict) -> Markup:
    signal = verdict.telling
    because = set_whole(signal.because) if signal else ""
    after = set_whole(next_step(signal.next_step)) if signal and signal.next_step else ""
    return Markup('<li><p class="what">{}</p>{}<p>{}</p><p class="next">{}</p></li>').format(
        set_whole(words.finding(verdict)), _spark(verdict), because, after
    )


def _spark(verdict: SeriesVerdict) -> Markup:
    shown = as_running_rate(verdict)
    tail = [p for p in shown.points if not p.left_out][-SPARK_POINTS:]
    found = verdict.telling
    begun = sum(p.ordinal < found.start for p in tail) if found is not None and tail else None
    return drawn(pictograms.draw_spark([p.value for p in tail], begun))


def _told(own: DayView) -> Markup:
    return _lines(own.told, TOLD, "Nothing new.")


def _came(own: DayView) -> Markup:
    """Draw what each card brought today, and the cards that are missing."""
    row = Markup("<tr><th scope='row'>{}</th><td>{}</td><td>{}</td><td>{}</td></tr>")
    rows = Markup("").join(
        row.format(
            one.card,
            count_words(one.pieces, "piece") if one.pieces else "",
            _read(one.readings, one.held),
            one.people,
        )
        for one in own.benches[:BENCHES]
    )
    table = Markup("<table>{}</table>").format(rows) if rows else Markup("<p>No card.</p>")
    missing = own.cards.missing
    lack = Markup('<p class="is-drifting">Not in: {}.</p>').format(", ".join(missing)) if missing else ""
    return table + _more(len(own.benches) - BENCHES) + lack


def _read(readings: int, held: int) -> str:
    said = [count_words(readings, "reading")] if readings else []
    return ", ".join([*said, *([f"{held} held"] if held else [])])


def _serials(own: DayView) -> Markup:
    said = []
    for name, serials in (("Shipped", own.shipped), ("Came back", own.returned)):
        more = f" and {len(serials) - SERIALS} more" if len(serials) > SERIALS else ""
        said += [f"{name}: {', '.join(serials[:SERIALS])}{more}"] if serials else []
    return _lines(said, 2, "Nothing.")


def _waits(view: TodayView) -> Markup:
    own, said = view.holders, []
    if own.reactions:
        late = sum(one.late for one in own.reactions)
        overdue = f"; {late} overdue" if late else ""
        said.append(f"Open reactions: {share_words(own.reactions, 'nobody yet')}{overdue}")
    if own.rows:
        said.append(f"Held rows: {share_words(own.rows, 'a card without a name')}")
    if own.pieces:
        said.append(f"Pieces to hold: {share_words(own.pieces, 'no card yet')}")
    return _lines(said, 3, "Nothing.")


def _due(due: Due) -> str:
    return f"{due.id}, {due_words(due)}"


def _lines(said: Sequence[str], most: int, none: str) -> Markup:
    if not said:
        return Markup("<p>{}</p>").format(none)
    rows = Markup("").join(Markup("<li>{}</li>").format(set_whole(one)) for one in said[:most])
    return Markup("<ul>{}</ul>{}").format(rows, _more(len(said) - most))


def _more(number: int) -> Markup:
    return Markup('<p class="more">and {} more</p>').format(number) if number > 0 else Markup("")
