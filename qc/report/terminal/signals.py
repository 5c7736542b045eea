"""Signals, decisions and what else was touched: what was found, what stands, what was said."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from qc.report.terminal.columns import table
from qc.sayings import WORDS, Said
from qc.watch import DEFER, SignalResult, Span, rate_words
from qc.words import count_words, day_words

Touch = tuple[str, str, date, Sequence[str], date | None, bool]
"""Serial, serial of the instrument it went into, first day, stages, day it left, told by held rows only."""


def signal_text(
    head: tuple[str, str, str],
    found: SignalResult,
    steps: Sequence[str],
    cautions: Sequence[str],
    events: Sequence[Said],
    told: Sequence[tuple[date, str, str]] = (),
) -> str:
    """Say everything of one signal; `head` is its id, the name of its series, and how it stands.

    `told` are day, sentence and coincidence each time it was said otherwise.
    """
    number, title, standing = head
    lines = [
        f"{number}  {title}  ({standing})",
        f"  {found.sentence}",
        f"  {found.because}",
        f"  A series that has not changed is called so in error {rate_words(found.rate)}.",
        *(f"  {place}. {step}" for place, step in enumerate(steps, start=1)),
        *(f"  Caution: {caution}" for caution in cautions),
        *([f"  {DEFER}"] if cautions else []),
        *(f"  {_event_words(event)}" for event in events),
        *_told_anew(found, told),
    ]
    return "\n".join(lines)


def _told_anew(found: SignalResult, told: Sequence[tuple[date, str, str]]) -> list[str]:
    """Say that the finding is told anew, and what had been said of it on which day."""
    earlier = [row for row in told if row[1:] != (found.sentence, found.because)]
    if not earlier:
        return []
    said = [f"    {day.isoformat()}: {sentence} {because}" for day, sentence, because in earlier]
    return ["  Told anew, by the pieces made since. It had been said:", *said]


def signals_text(rows: Sequence[tuple[str, str, str]], budget: str, whole: str = "") -> str:
    """List signals by id, standing and sentence; one alone is told whole."""
    lines = [whole] if whole else table(rows, widths=(0, 8, 0), indent="")
    return "\n".join([*(lines or ["No signal is open."]), *(("", budget) if budget else ())])


def decisions_text(
    title: str, behaviour: str, baseline: Span | None, left_out: Sequence[Span], history: Sequence[Said]
) -> str:
    """Say what stands of a lead's decisions about a series, then their history."""
    stands = [f"  settled state: {baseline.first} to {baseline.last}"] if baseline else []
    stands += [f"  left out: {span.first} to {span.last}" for span in left_out]
    return "\n".join(
        [
            f"{title} ({behaviour})",
            *(stands or ["  nothing frozen, nothing left out"]),
            *(f"  {_history_words(said)}" for said in history),
        ]
    )


def touched_text(what: str, since: date | None, why_since: str, pieces: Sequence[Touch], as_of: date) -> str:
    """Say how many pieces it touched, how many have left, and list them."""
    left = sum(shipped is not None for *_, shipped, _ in pieces)
    doubt = sum(held for *_, held in pieces)
    when = f" since {day_words(since, as_of)}{why_since}" if since else ""
    head = f"{what} touched {count_words(len(pieces), 'piece')}{when}; {left} left the shop."
    if doubt:
        head += f" {doubt} of them stand{'s' * (doubt == 1)} only on held rows: qc held list"
    return "\n".join([head, *(f"  {_touch_line(piece, as_of)}" for piece in pieces)])


def _event_words(event: Said) -> str:
    said = "; ".join(part for part in (event.cause, event.action, event.text) if part)
    return _dated(event) + (f" ({said})" if said else "")


def _history_words(said: Said) -> str:
    return f"{_dated(said)}, {said.first} to {said.last} ({said.text})"


def _dated(said: Said) -> str:
    return f"{said.when.date().isoformat()} {said.who}: {WORDS[said.what]}"


def _touch_line(piece: Touch, today: date) -> str:
    serial, inside, day, stages, shipped, held = piece
    part = f" in {inside}" if inside else ""
    left = f", left {day_words(shipped, today)}" if shipped else ", still here"
    doubt = " (only on a held row)" if held else ""
    return f"{serial}{part}  {day_words(day, today)}  {', '.join(stages)}{left}{doubt}"
