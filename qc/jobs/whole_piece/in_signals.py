"""The signals in whose stretch a piece, or a part of it, lies: each stands as it does on every other face."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from qc.jobs.judging import SignalOfDay, signals_of_day
from qc.jobs.pieces import HoldRow, covered_by, measured_since_mended, mend_of, since_words
from qc.jobs.signals import life_of
from qc.jobs.whole_piece.sharing import Genealogy
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.sayings import OPEN_STATES, last_closing, pieces_done, told_here
from qc.watch import Point, SeriesVerdict, SignalResult
from qc.words import day_words, listed


@dataclass(frozen=True, slots=True)
class SignalOfPiece:
    """A signal in whose stretch a piece lies.

    `state` is what the store keeps of it, `standing` how it stands in words: one that nobody answered and
    that came back is over. `became` says of one that was mended that the piece was made under its cause, and
    what became of that: of the cause, and of the piece.
    """

    id: str
    series: str
    state: str
    standing: str
    title: str
    sentence: str
    found: SignalResult
    name: str
    became: str = ""

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
            **({"became": self.became} if self.became else {}),
        }


def signals_of_piece(
    workshop: Workshop,
    serial: str,
    tree: Genealogy,
    verdicts: Sequence[SeriesVerdict],
    hold: Sequence[HoldRow],
) -> tuple[SignalOfPiece, ...]:
    """Return the signals that a piece, or a part of it, lies in, those that wait first.

    They are those by which it is held (`qc.jobs.pieces.covered_by`), those in whose stretch it lies, and
    those under whose cause it was made; `hold` are the rows of the list of pieces to hold for it and its
    parts.
    """
    by_key = {str(verdict.key): verdict for verdict in verdicts}
    own = {serial, *tree.inside(serial)}
    found = []
    for signal in signals_of_day(workshop, verdicts):
        verdict = by_key.get(signal.series)
        if verdict is None or not signal.listed:
            continue
        points = [p for p in covered_by(workshop, signal, verdict) if p.serial in own]
        inside = [p.serial for p in points]
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
                    _became(workshop, signal, verdict, points, hold),
                )
            )
    return tuple(sorted(found, key=lambda one: not one.waits))


def _became(
    workshop: Workshop,
    signal: SignalOfDay,
    verdict: SeriesVerdict,
    points: Sequence[Point],
    hold: Sequence[HoldRow],
) -> str:
    """Say of a mended signal what was made under its cause, what was done to the cause, and to the piece."""
    closing = last_closing(signal.said, workshop.plan.workshop.time_zone)
    if closing is None or mend_of(signal) is None:
        return ""
    serials = [point.serial for point in points]
    made = f"{listed(serials)} {'was' if len(serials) == 1 else 'were'} made under it"
    on = day_words(closing.when.date(), workshop.today)
    did = f": {closing.action}" if closing.action else ""
    mended = f"{closing.who} closed it as mended on {on}{f' ({closing.cause})' if closing.cause else ''}{did}"
    ticked = pieces_done(told_here(signal.said, workshop.plan.workshop.time_zone))
    again = measured_since_mended(workshop, verdict, points, signal.said)
    names = {signal.id, *signal.before}
    let_go = {
        row.serial: row.released
        for row in hold
        if row.released and not row.by_answer and any(one in names for rests in row.rests_on for one in rests)
    }
    fates: dict[str, list[str]] = {}
    for serial in serials:
        if (tick := ticked.get(serial)) is not None:
            said = f"ticked off by {tick.who} on {day_words(tick.when.date(), workshop.today)}"
            fate = f"{said}: {tick.text}" if tick.text else said
        elif (day := again.get(serial)) is not None:
            fate = f"measured again on {day_words(day, workshop.today)}"
        elif (given := let_go.get(serial)) is not None:
            fate = f"released by {given.who} on {day_words(given.day, workshop.today)}: {given.why}"
        else:
            fate = "not dealt with since"
        fates.setdefault(fate.rstrip("."), []).append(serial)
    told = [f"{listed(own)}: {fate}" for fate, own in fates.items()]
    return f"{made}. {mended.rstrip('.')}. {'. '.join(told)}."
