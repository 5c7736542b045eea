"""A second card of a piece that has gone on since, while another piece waits for just this card."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

import polars as pl

from qc.ingest.doubts.facts import Doubted, Doubts, Facts
from qc.ingest.doubts.figures import Wrong, stretches_off
from qc.ingest.doubts.pieces.serial_series import LEAST, slips
from qc.ingest.doubts.record import TOLD, Figure, Record, gather_record, taken_apart
from qc.ingest.frames import INDEX
from qc.ingest.reasons import Finding, Reason

SELDOM = 0.02
"""Where no more than so many pieces were measured on a second day, a second card is odd; chosen."""

SEVERAL = 3
"""A series has so many pieces; chosen."""

ONCE = "hardly a piece has had it twice"


def find_second_card(facts: Facts, doubted: Doubts) -> Doubted:
    """Find cards of pieces that are further on, or of another model, where another piece waits."""
    if facts.readings.is_empty():
        return Doubted()
    rows = facts.readings.filter(
        (pl.col("serial") != "") & pl.col("day").is_not_null() & ~pl.col(INDEX).is_in(list(doubted))
    )
    record = gather_record(facts, doubted)
    off = list(stretches_off(facts))
    planned = {model.id for model in facts.plan.models}
    found = []
    keys = ["serial", "stage", "characteristic", "day", "model"]
    cards = rows.group_by(keys, maintain_order=True).agg(INDEX)
    for serial, stage, name, day, model, own in cards.iter_rows():
        figure = (str(stage), str(name))
        before = [d for d in record.days.get(str(serial), {}).get(figure, ()) if d < day]
        if not before or _is_asked_again(str(stage), before[-1], day, off, facts):
            continue
        own_model = record.models.get(str(serial), "")
        differs = bool(model) and bool(own_model) and model != own_model and model in planned
        # what is outside a limit or under a signal is measured again, and what was reworked: as its model
        if not differs and (str(serial), str(stage)) in facts.known.again:
            continue
        further = _further(str(serial), str(stage), day, record)
        if not (differs or further or _never_again(figure, record, facts)):
            continue
        waiting = record.waiting(figure, str(model or own_model), day, (str(serial),))
        if not waiting and not record.before(str(stage), str(serial)):
            waiting = _next(str(serial), figure, record)
        if not waiting:
            continue
        why = f"is {own_model}" if differs else f"has been at {further} since" if further else ONCE
        # a piece that left may have come back unsaid: then it is not the serial that is wrong
        sure = differs or str(serial) not in facts.known.left
        others = " and ".join(waiting[:3])
        problem = f"{serial} has this card already, of {before[-1]}, and {why}; without it is {others}"
        mend = f"If {' or '.join(waiting[:3])} was measured, accept or type it; else confirm {serial}."
        proposal: dict[str, object] = {"serial": waiting[0]} if len(waiting) == 1 and sure else {}
        if other := _of_another(str(serial), figure, before[-1], record):
            # the serial here is the right one, then: nothing is offered to be accepted with one key
            problem += f"; that card came far ahead of its series, and {other} has none"
            mend = (
                f"If the card of {before[-1]} was of {other}, put that right (qc correct) and confirm this "
                f"one. {mend}"
            )
            proposal = {}
        found += [Finding(index, Reason.DOUBLED_SERIAL, problem, mend, proposal) for index in own]
    return Doubted(found)


def _is_asked_again(stage: str, before: date, day: date, off: Sequence[Wrong], facts: Facts) -> bool:
    """Tell whether a gauge of the stage was found off after the first card, so that a second is asked for."""
    kinds = {
        figure.gauge_class for one in facts.plan.stages if one.id == stage for figure in one.characteristics
    }
    for wrong in off:
        gauge = facts.plan.gauge(wrong.gauge)
        if gauge and gauge.gauge_class in kinds and wrong.since <= before <= wrong.until < day:
            return True
    return False


def _never_again(figure: Figure, record: Record, facts: Facts) -> bool:
    """Tell whether pieces have had this figure on one day only; notes are tried until they are right."""
    tuned = {card.stage for card in facts.plan.cards if card.source == "tuning"}
    if figure[0] in tuned or record.pieces.get(figure, 0) < TOLD:
        return False
    again = sum(len(figures.get(figure, ())) > 1 for figures in record.days.values())
    # the card that is asked about counts among them
    return again <= 1 + SELDOM * record.pieces[figure]


def _next(serial: str, figure: Figure, record: Record) -> list[str]:
    """Return the serial that comes next, where the piece is the newest of its series and is begun here."""
    parts = taken_apart(serial)
    numbers = record.numbers().get(parts.head, []) if parts is not None else []
    if parts is None or len(numbers) < SEVERAL or parts.number != numbers[-1]:
        return []
    return [replace(parts, number=parts.number + 1).text()]


def _of_another(serial: str, figure: Figure, day: date, record: Record) -> str:
    """Return the piece whose card the one on record may be: far ahead then, and one slip leads there."""
    parts = taken_apart(serial)
    if parts is None:
        return ""
    had = {
        taken.number
        for one, figures in record.days.items()
        if one != serial
        and any(on <= day for on in figures.get(figure, ()))
        and (taken := taken_apart(one)) is not None
        and taken.head == parts.head
    }
    if len(had) < SEVERAL or parts.number - max(had) <= LEAST:
        return ""
    options = set(slips(serial, [parts.head], day)) - set(record.days)
    near = [o for o in sorted(options) if (t := taken_apart(o)) and min(had) < t.number <= max(had) + SEVERAL]
    return near[0] if len(near) == 1 else ""


def _further(serial: str, stage: str, day: date, record: Record) -> str:
    """Return a later stage at which the piece was before the day, empty where there is none."""
    for later in sorted(record.follows):
        first = record.first(serial, later) if stage in record.before(later, serial) else None
        if first is not None and first < day:
            return later
    return ""
