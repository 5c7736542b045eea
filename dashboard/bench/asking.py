"""The page on which a card is typed: its boxes, then one large field after the other."""

from __future__ import annotations

import json

from flask import Response
from markupsafe import Markup

from dashboard import queries
from dashboard.bench.frame import heading, page, picture
from dashboard.bench.places import draw_places
from dashboard.door import signed
from qc.jobs.bench import BenchBox, BenchCard

FOLDED = frozenset({"Batch", "Note", "Draws", "Main slide out mm", "A4 Hz", "Method", "Class"})
"""Boxes that most cards go without; they stand under a fold."""

TYPE = Markup(
    """<section id="bench-type" class="card" hidden aria-label="Figures">
<div class="bench-where">{picture}<p id="bench-note" class="bench-note" hidden></p>
<p><button type="button" id="bench-head">Change piece, person or gauge</button></p></div>
<div class="bench-now"><p id="bench-count" class="small"></p>
<label for="bench-figure" id="bench-label"><strong id="bench-name"></strong>
<span id="bench-place"></span></label>
<div class="bench-big"><input id="bench-figure" name="figure" autocomplete="off" inputmode="decimal"
 enterkeyhint="next" maxlength="40" spellcheck="false"><span id="bench-unit"></span></div>
<p id="bench-hint" class="small"></p>
<div id="bench-asks" role="alert"></div>
<div id="bench-pad" class="pad" role="group" aria-label="Number pad"></div>
<div class="bench-ways"><button type="button" id="bench-back">Undo</button>
<button type="button" id="bench-skip">Not measured</button>
<button type="button" id="bench-next" class="do">Next</button></div></div>
<details id="bench-all"><summary>All figures of this card</summary><ol id="bench-list"></ol>
<p class="bench-ways"><button type="button" id="bench-more" hidden></button>
<button type="button" id="bench-rest">Leave out the rest</button></p></details>
</section>
<section id="bench-last" class="card" hidden aria-label="Hand in"><h2>Hand in</h2>
<p id="bench-sum" class="lead"></p>
<div id="bench-open"></div>
<div class="bench-ways"><button type="button" id="bench-again">Back to the figures</button>
<button type="button" id="bench-hand" class="do">Hand in</button></div></section>"""
)
BOXES = Markup(
    """<div id="bench-news" role="status" aria-live="polite"></div><div id="bench-kept" role="status"></div>
<form id="bench-boxes" class="card" autocomplete="off" novalidate>{boxes}{more}
<p id="bench-piece" class="small" role="status"></p>
<div class="bench-ways"><button type="submit" class="do">{begin}</button></div></form>"""
)


def typing_page(card: BenchCard, serial: str, given: dict[str, str]) -> Response:
    """Return the page of a card.

    Parameters
    ----------
    card : BenchCard
        What is asked.
    serial : str
        The piece, where it was picked already.
    given : dict
        Other boxes that the way here filled in, such as a gauge that is overdue.
    """
    given = {**given, **({"Serial": serial} if serial else {})}
    folded = [box for box in card.boxes if box.label in FOLDED and not (card.event and box.label != "Class")]
    shown = [box for box in card.boxes if box not in folded]
    more = Markup("<details><summary>More about this card</summary>{}</details>").format(
        Markup("").join(_box(box, given) for box in folded)
    )
    begin = "Begin" if card.fields else "Hand in"
    boxes = Markup("").join(_box(box, given) for box in shown)
    places = draw_places(card)
    under = "In the order of the plan; Enter goes on to the next figure." if len(card.fields) > 1 else ""
    body = [
        heading(card.title, ("All cards", "/bench"), under),
        BOXES.format(boxes=boxes, more=more if folded else "", begin=begin),
        TYPE.format(picture=picture(places)),
        _data(card),
    ]
    return page(card.title, body, script=True)


def _box(box: BenchBox, given: dict[str, str]) -> Markup:
    """Draw the field of a box; a list without choices becomes a typed field."""
    value = given.get(box.label, box.value)
    need = Markup(" required") if box.needed else Markup("")
    own = Markup('name="{}" data-kind="{}"{}').format(box.label, box.kind, need)
    if box.kind in {"choice", "model", "person"}:
        options = box.options
        if box.kind == "person":
            options = queries.board().shop().people
            by = signed()
            value = value or (by.code if by is not None else "")
        if not options:
            return _typed(box, value, own)
        choices = Markup("").join(
            Markup('<option value="{}"{}>{}</option>').format(
                code, Markup(" selected") if code == value else "", text
            )
            for code, text in [("", "choose"), *options]
        )
        return Markup('<label class="field"><span>{}</span><select {}>{}</select></label>').format(
            box.label, own, choices
        )
    if box.kind == "day":
        value = value or queries.board().shop().day.isoformat()
        return Markup('<label class="field"><span>{}</span><input type="date" value="{}" {}></label>').format(
            box.label, value, own
        )
    return _typed(box, value, own)


def _typed(box: BenchBox, value: str, own: Markup) -> Markup:
    mode = Markup(' inputmode="decimal"') if box.kind == "number" else Markup("")
    listed = Markup(' list="bench-pieces"') if box.kind == "serial" else Markup("")
    field = Markup(
        '<label class="field"><span>{}</span><input type="text" value="{}" maxlength="300"'
        ' autocomplete="off"{}{} {}></label>'
    ).format(box.label, value, mode, listed, own)
    if box.kind != "serial":
        return field
    known = Markup("").join(
        Markup('<option value="{}">').format(one) for one in queries.board().bench().pieces()
    )
    return field + Markup('<datalist id="bench-pieces">{}</datalist>').format(known)


def _data(card: BenchCard) -> Markup:
    """Return what the script reads of the card, as data that no browser runs."""
    fields = [
        {
            "n": one.number,
            "figure": one.figure,
            "place": one.place,
            "unit": one.unit,
            "hint": one.hint,
            "at": dict(one.at),
            "kind": one.kind,
            "models": one.models,
        }
        for one in card.fields
    ]
    text = json.dumps({"card": card.id, "title": card.title, "event": card.event, "fields": fields})
    # a text that would end the element is written so that it stays data
    safe = text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
    return Markup('<script type="application/json" id="bench-data">{}</script>').format(Markup(safe))
