"""Plain values of what a signal holds besides its finding: for another program, and for nobody to read."""

from __future__ import annotations

from datetime import UTC, date

from qc.plain import JsonObject
from qc.sayings import CLOSINGS, Said, What, outcome_of
from qc.watch import SignalResult

TOLD = (
    *(
        "kind",
        "side",
        "raised_serial",
        "raised_day",
        "start_serial",
        "start_day",
        "size",
        "size_low",
        "size_high",
    ),
    *("unit", "rate", "pieces", "suspects", "unchanged", "next_step"),
)
"""What of a finding stands in the plain values of its signal."""


def since_plain(found: SignalResult) -> JsonObject:
    """Give the beginning of what opened again after a mend; of anything else it is its start."""
    since = {"since_serial": found.since_serial, "since_day": found.since_day.isoformat()}
    return since if found.began_serial else {}


def told_plain(row: tuple[date, str, str]) -> JsonObject:
    """Return plain values of how a signal was told on a day: day, sentence, what it coincides with."""
    day, sentence, because = row
    return {"day": day.isoformat(), "sentence": sentence, "because": because}


def tick_plain(step: str, said: Said) -> JsonObject:
    """Return plain values of a step that is done."""
    return {"step": step, "who": said.who, "when": said.when.astimezone(UTC).isoformat()}


def event_plain(event: Said) -> JsonObject:
    """Return plain values of what was said of a signal."""
    said = {"cause": event.cause, "action": event.action, "text": event.text}
    became = {"outcome": outcome_of(event)} if event.what in CLOSINGS else {}
    first = {"from": event.first} if event.what in CLOSINGS and event.first else {}
    piece = {"piece": event.first} if event.what in {What.PIECE_DONE, What.PIECE_UNDONE} else {}
    return {
        "what": event.what.value,
        **said,
        **became,
        **first,
        **piece,
        "who": event.who,
        "when": event.when.astimezone(UTC).isoformat(),
    }
