"""What was accepted and where it is found again: in a series, with its piece, or nowhere."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass

from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.plan import Plan
from qc.words import count_words, listed


@dataclass(frozen=True, slots=True)
class Accepted:
    """Readings accepted, and where they are found again: told alike by status, receipt and board.

    Attributes
    ----------
    in_series, recorded, nowhere : int
        On a chart; kept and shown with their piece, since the plan charts no such figure; on no chart,
        since no card says which model the piece is or the plan no longer knows the figure.
    """

    in_series: int = 0
    recorded: int = 0
    nowhere: int = 0

    @property
    def readings(self) -> int:
        """How many in all."""
        return self.in_series + self.recorded + self.nowhere

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        return {"accepted": self.readings, **asdict(self)}

    def sentence(self) -> str:
        """Say it in a line, empty where nothing was measured."""
        if not self.readings:
            return ""
        parts = [f"{self.in_series} stand in a series"]
        parts += [f"{self.recorded} only recorded"] if self.recorded else []
        said = f"{count_words(self.readings, 'reading')} accepted: {listed(parts)}"
        if not self.nowhere:
            return f"{said}."
        lost = f"{self.nowhere} on no chart, for want of their model or of their figure in the plan"
        return f"{said}; {lost}. Say the model of each: qc correct READING --set model=MODEL"

    def apart(self) -> str:
        """Say it where some stand in no series, empty where all do."""
        return self.sentence() if self.recorded or self.nowhere else ""


def accepted_readings(workshop: Workshop) -> Accepted:
    """Count the readings measured by the workshop's day by where its plan shows them."""
    return _counted(workshop.plan, workshop.store.counted_kinds(until=workshop.today))


def accepted_since(workshop: Workshop, cards: int) -> Accepted:
    """Count the readings on cards that came in after card number `cards`, whatever their day."""
    return _counted(workshop.plan, workshop.store.counted_kinds(after=cards))


def _counted(plan: Plan, kinds: Iterable[tuple[str, str, str | None, int]]) -> Accepted:
    counts = {"chart": 0, "record": 0, "nowhere": 0}
    for stage, characteristic, model, number in kinds:
        counts[plan.stands(stage, characteristic, model or "")] += number
    return Accepted(counts["chart"], counts["record"], counts["nowhere"])
