"""Signals, and what a lead decided about a series: what was found, what stands, what was said."""

from __future__ import annotations

from collections.abc import Sequence

from qc.report.terminal.columns import table
from qc.sayings import WORDS, Said
from qc.watch import DEFER, SignalResult, Span, rate_words


def signal_text(
    head: tuple[str, str, str],
    found: SignalResult,
    steps: Sequence[str],
    cautions: Sequence[str],
    events: Sequence[Said],
) -> str:
    """Say everything of one signal; `head` is its id, the name of its series, and how it stands."""
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
    ]
    return "\n".join(lines)


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


def _event_words(event: Said) -> str:
    said = "; ".join(part for part in (event.cause, event.action, event.text) if part)
    return _dated(event) + (f" ({said})" if said else "")


def _history_words(said: Said) -> str:
    return f"{_dated(said)}, {said.first} to {said.last} ({said.text})"


def _dated(said: Said) -> str:
    return f"{said.when.date().isoformat()} {said.who}: {WORDS[said.what]}"
