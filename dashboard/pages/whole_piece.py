"""What the page of one piece shows of it: judgement, figures, maps of its places, parts, life, like."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import dcc, html
from dash.development.base_component import Component

from dashboard import words
from dashboard.along import draw_along
from dashboard.drawing import Drawing
from dashboard.parts import card, figures, nothing, serial_link, table, unbroken
from dashboard.routing import address, series_address
from qc.intervals import stepped_words
from qc.jobs.board import (
    CardOfPiece,
    FigureOfPiece,
    MapCell,
    PartOfPiece,
    PieceRecord,
    SeriesVerdict,
    among_words,
    form_lines,
    grid_of,
    limits_of,
    limits_words,
    made_of,
    shared_words,
)
from qc.states import NEAR
from qc.words import passed_words

SHOWN_SHARED = 40
"""Pieces named that bear a suspect batch or tool; `qc also` and its page have all of them."""


def judgement(record: PieceRecord) -> Component:
    """Return what is said of a piece first, and the way to release it where it is to be held."""
    first, *rest = record.judgement
    waits = any(row.waits for row in record.hold)
    lines: list[Any] = [html.P(unbroken(first), className="lead")]
    lines += [html.P(unbroken(sentence)) for sentence in [*rest, *record.notes]]
    if waits:
        href = address("/hold/<serial>", {"serial": record.serial})
        lines.append(html.P(dcc.Link("All reasons, and the way to release it", href=href)))
    return card("", *lines, className="warn" if waits else "")


def figures_card(record: PieceRecord, verdicts: Sequence[SeriesVerdict]) -> Component:
    """Return the figures of a piece beside their limits, their like, and what their series does."""
    if not record.figures and not record.of_parts:
        return card("Its figures", nothing("Nothing was measured on it."))
    by_key = {verdict.key: verdict for verdict in verdicts}
    rows = [_row(one, by_key.get(one.series) if one.series else None) for one in record.figures]
    for part, own in record.of_parts:
        for one in own:
            name, *rest = _row(one, by_key.get(one.series) if one.series else None)
            rows.append([html.Span([serial_link(part), ", ", name]), *rest])
    head = ["Figure", "This piece", "Worst place", "Limits", "Among those before it", "The series now"]
    caption = "Each figure where it is worst, beside its limits and the pieces made before it"
    return card("Its figures", table(head, rows, caption, numbers=(1,)))


def _row(one: FigureOfPiece, verdict: SeriesVerdict | None) -> list[Any]:
    """Lay out one figure of a piece against its limits and its like."""
    link: Any = dcc.Link(one.title, href=series_address(one.series)) if one.series else one.title
    unit = words.unit(one.unit)
    worst = f"{_number(one.worst.value, one)} at {one.worst.place}" if len(one.places) > 1 else ""
    kept: Any = "not proven" if one.state == NEAR else one.state
    if one.inside is False:
        kept = html.B(kept, className="is-drifting")
    doubt = ", gauge in doubt" if one.gauge_checked is False else ""
    value = [
        passed_words(one.value) if one.kind == "pass-fail" else f"{_number(one.value, one)} {unit}".rstrip(),
        html.Br(),
        html.Span([kept, doubt], className="small"),
    ]
    series = f"{verdict.behaviour}, {limits_words(verdict)}" if verdict else ""
    among = among_words(one).removesuffix(" before it").replace(" of the ", " of ")
    return [link, html.Span(value), worst, limits_of(one).replace("-", "\N{MINUS SIGN}"), among, series]


def maps(record: PieceRecord) -> list[Component]:
    """Return a map for each figure with several places: every place against its limits, and the form."""
    cards = []
    for one in record.figures:
        if len(one.places) < 2:
            continue
        lines: list[Any] = []
        along = draw_along(one)
        if along is not None:
            lines.append(Drawing(along, label=f"{one.title} along each leg, between its limits"))
        lines.append(_grid(one))
        lines += [html.P(unbroken(f"{_capital(line)}."), className="small") for line in form_lines(one)]
        title = html.Summary(f"{one.title}, {len(one.places)} places: {_answer(one)}")
        cards.append(
            html.Details(
                [title, *lines], className="card", open=one.inside is False or bool(along and one.series)
            )
        )
    return cards


def _answer(one: FigureOfPiece) -> str:
    if one.inside is None:
        return one.state
    return f"outside, {one.said}" if not one.inside else f"inside, worst {one.said}"


def _grid(one: FigureOfPiece) -> Component:
    found = grid_of(one)
    head = html.Thead(html.Tr([html.Th("", scope="col"), *(html.Th(c, scope="col") for c in found.columns)]))
    body = [
        html.Tr([html.Th(name, scope="row"), *(_cell(cell) for cell in cells)])
        for name, cells in zip(found.rows, found.cells, strict=True)
    ]
    caption = (
        f"{one.name} at each place, {words.unit(one.unit) or 'number'}; the deeper the nearer to a limit"
    )
    if one.lower is None and one.upper is None:
        caption = f"{one.name} at each place, {words.unit(one.unit) or 'number'}; the deeper the further out"
    inner = html.Table([html.Caption(caption), head, html.Tbody(body)], className="places")
    return html.Div(inner, className="table", tabIndex=0, role="region", **{"aria-label": caption})


def _cell(cell: MapCell | None) -> Component:
    if cell is None:
        return html.Td("")
    shown: Any = html.B([cell.text, html.Span(" out", className="small")]) if cell.out else cell.text
    mix = f"color-mix(in srgb, var(--{'drift' if cell.out else 'brass'}) {cell.depth:.0%}, transparent)"
    return html.Td(shown, className="num", style={"background": mix}, title=cell.told)


def parts_card(record: PieceRecord) -> Component:
    """Return what is in a piece: its parts, the batches and tools of its cards, and what a part is in."""
    rows: list[Any] = []
    for stay in record.stays:
        when = f", until {words.day(stay.until, year=True)}" if stay.until else ""
        rows.append((f"{stay.role or 'part'} of", html.Span([serial_link(stay.serial), when])))
    for one in record.parts:
        rows.append((one.part, html.Span([serial_link(one.serial), *_of(one)])))
    rows += _of_its_cards(record)
    if not rows:
        return card("What is in it", nothing("No part, batch or tool is recorded."))
    return card("What is in it", figures(rows))


def _of_its_cards(record: PieceRecord) -> list[Any]:
    """Return the batches and tools of its own cards, each with the stages that name it."""
    rows = []
    for kind, name, stages in made_of(record.cards):
        rows.append((kind, html.Span([also_link(kind, name), html.Span(f", {stages}", className="small")])))
    return rows


def life_card(record: PieceRecord) -> Component:
    """Return the life of a piece from its first card on: who measured it with what, and what happened."""
    told: list[tuple[Any, list[Any]]] = [(one.day, _measured(one)) for one in record.cards]
    told += [(one.day, [one.said]) for one in record.events]
    if not told:
        return card("Its life", nothing("Nothing was measured on it, and no event is recorded."))
    lines = [
        html.Li([html.Span(words.day(day, year=True), className="small"), *said])
        for day, said in sorted(told, key=lambda one: one[0])
    ]
    return card("Its life", html.Ul(lines, className="life"))


def _measured(one: CardOfPiece) -> list[Any]:
    said: list[Any] = [f"{one.stage_name} measured"]
    for kind, before in (("person", ", by "), ("gauge", ", gauge ")):
        names = filter(None, getattr(one, kind).split(" + "))
        for number, name in enumerate(names):
            said += [" + " if number else before, also_link(kind, name)]
    return said


def _of(one: PartOfPiece) -> list[Any]:
    told: list[Any] = []
    for kind, names in (("batch", one.batch), ("tool", one.tool)):
        for name in filter(None, names.split(" + ")):
            told += [html.Br(), html.Span([f"{kind} ", also_link(kind, name)], className="small")]
    if one.went_to:
        told += [html.Br(), html.Span(["went into ", serial_link(one.went_to)], className="small")]
    elif one.gone:
        told += [html.Br(), html.Span(one.gone, className="small")]
    elif one.came_from:
        told += [html.Br(), html.Span(["out of ", serial_link(one.came_from)], className="small")]
    return told


def also_link(kind: str, name: str) -> Component | str:
    """Return the name of a batch, tool, gauge or person that leads to all that it touched."""
    return dcc.Link(name, href=address("/also/<kind>/<name>", {"kind": kind, "name": name})) if name else ""


def beside(record: PieceRecord) -> list[Component]:
    """Return what the piece shares with others and what became of it, a card each, where there is any."""
    cards = []
    if record.returns:
        lines = [
            html.Li([html.Span(words.day(one.day, year=True), className="small"), f"{one.cause}. ", one.said])
            for one in record.returns
        ]
        cards.append(card("Is it a one-off?", html.Ul(lines, className="life")))
    if record.signals:
        cards.append(
            card("Signals it lies in", html.Ul([_signal(one) for one in record.signals], className="life"))
        )
    if record.shared:
        shared = [part for one in record.shared for part in _shared(one)]
        cards.append(card("What its suspect parts went into", *shared))
    if record.remedies:
        lines = [
            html.Li(
                [
                    html.Span(words.day(one.day, year=True), className="small"),
                    f"{one.said}: {'; '.join(one.effects) or 'nothing was measured since'}",
                ]
            )
            for one in record.remedies
        ]
        cards.append(card("Remedies and their effect", html.Ul(lines, className="life")))
    return cards


def _signal(one: Any) -> Component:
    link = dcc.Link(one.title, href=address("/signals/<signal>", {"signal": one.name}))
    return html.Li(
        [
            html.Span(one.standing, className="small"),
            link,
            ": ",
            *unbroken(f"{one.sentence} {one.became}".rstrip()),
        ]
    )


def _shared(one: Any) -> list[Component]:
    """Return what else a batch or tool went into; one under the other, so that the card spaces them."""
    rest = unbroken(f"{shared_words(one).partition(one.name)[2].rstrip('.')}.")
    head = [f"{one.kind} ", also_link(one.kind, one.name), *rest]
    serials = [serial_link(serial) for serial, _ in one.pieces[:SHOWN_SHARED]]
    spaced = [part for link in serials for part in (link, " ")]
    more = len(one.pieces) - len(serials)
    folded = html.Details(
        [html.Summary(f"All {len(one.pieces)}"), html.P([*spaced, f"and {more} more" if more > 0 else ""])],
        className="folded",
    )
    return [html.P(head), folded] if one.pieces else [html.P(head)]


def leaving_card(record: PieceRecord) -> list[Component]:
    """Return when it can leave, and the field in which a promised day is asked about."""
    if record.leaving is None:
        return []
    field = html.Label(
        [
            html.Span("Promised for "),
            dcc.Input(id="instruments-due", type="text", debounce=0.4, placeholder="YYYY-MM-DD"),
        ],
        className="finder no-print",
    )
    said = html.Div(html.P(unbroken(record.leaving.said)), id="instruments-due-said", role="status")
    return [card("When it can leave", field, said)]


def _number(value: float, one: FigureOfPiece) -> str:
    return stepped_words(value, one.step)


def _capital(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}"
