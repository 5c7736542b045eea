"""The signals in whose stretch a piece, or a part of it, lies: each stands as it does on every other face."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from qc.jobs.judging import signals_of_day
from qc.jobs.pieces import covered_by, since_words
from qc.jobs.signals import life_of
from qc.jobs.whole_piece.sharing import Genealogy
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.sayings import OPEN_STATES
from qc.watch import SeriesVerdict, SignalResult
from qc.words import listed


@dataclass(frozen=True, slots=True)
class SignalOfPiece:
    """A signal in whose stretch a piece lies.

    `state` is what the store keeps of it, `standing` how it stands in words: one that nobody answered and
    that came back is over.
    """

    id: str
    series: str
    state: str
    standing: str
    title: str
    sentence: str
    found: SignalResult
    name: str

    @property
    def asks(self) -> bool:
        """Whether nobody has answered it."""
        return self.state in OPEN_STATES

    @property
    def waits(self) -> bool:
        """Whether it is open and the change by which it was raised still lasts."""
        return self.state in OPEN_STATES and self.found.ended is None

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        return {
            "id": self.id,
            "series": self.series,
            "kind": self.found.kind,
            "state": self.state,
            "over": self.found.ended is not None,
            "standing": self.standing,
            "sentence": f"{self.title}: {self.sentence}",
        }


def signals_of_piece(
    workshop: Workshop, serial: str, tree: Genealogy, verdicts: Sequence[SeriesVerdict]
) -> tuple[SignalOfPiece, ...]:
    """Return the signals that a piece, or a part of it, lies in, those that wait first.

    They are those by which it is held (`qc.jobs.pieces.covered_by`), and those in whose stretch it lies.
    """
    by_key = {str(verdict.key): verdict for verdict in verdicts}
    own = {serial, *tree.inside(serial)}
    found = []
    for signal in signals_of_day(workshop, verdicts):
        verdict = by_key.get(signal.series)
        if verdict is None or not signal.listed:
            continue
        inside = [p.serial for p in covered_by(workshop, signal, verdict) if p.serial in own]
        if inside:
            part = (
                "" if serial in inside else f", by its part{'s' if len(inside) > 1 else ''} {listed(inside)}"
            )
            life = life_of(workshop, signal, verdict)
            words = since_words(workshop, signal, verdict) if signal.state in OPEN_STATES else {}
            found.append(
                SignalOfPiece(
                    signal.id,
                    signal.series,
                    signal.state,
                    life.standing,
                    verdict.title + part,
                    life.sentence + next((words[one] for one in inside if one in words), ""),
                    signal.found,
                    signal.name,
                )
            )
    return tuple(sorted(found, key=lambda one: not one.waits))
