"""The course of a figure that wears: each fitting of its tool has a line, about which it is judged.

Without a tool's count there is no line to go by. Such a series is judged about its level; its changes last
until the tool is fitted anew.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from qc.plan import Characteristic, DatedLimits, Plan
from qc.stats import Floats, KeptState, Noise
from qc.watch.changes.findings import FoundChange, FoundChanges
from qc.watch.changes.kept_states import KeptStates
from qc.watch.changes.level_course import Frozen, LevelCourse, Pieces, values_of
from qc.watch.changes.line_changes import until_refitted, worn_changes
from qc.watch.changes.tool_lines import (
    fittings,
    forecast_wear,
    in_use,
    left_line_at,
    line_ends,
    line_limits,
    own_fitting,
)
from qc.watch.gauges import FoundOff
from qc.watch.mends import Mend
from qc.watch.results import Forecast, Point, SignalResult, Suspect
from qc.watch.series_decisions import Span
from qc.words import named

AHEAD_OF_ALL = 9.0
"""Weight of the tool itself, which its own line accuses: more than the rarest coincidence weighs."""


def course_of(
    characteristic: Characteristic,
    points: Sequence[Point],
    baseline: Span | None = None,
    *,
    step: float | None = None,
    noise: Sequence[Noise] = (),
    lots: Sequence[str | None] = (),
    mends: Sequence[Mend] = (),
    over: Sequence[SignalResult] = (),
    off: Sequence[FoundOff] = (),
) -> LevelCourse:
    """Return the course that a series runs: level, or worn where the plan names what it wears with.

    Parameters
    ----------
    characteristic : Characteristic
        What is charted.
    points : sequence of Point
        The series, in order of making.
    baseline : Span, optional
        The settled state that a lead froze; of a worn course the part on the last of its fittings counts.
    step, noise, lots, mends, over, off
        As for `LevelCourse`.
    """
    span = None if baseline is None else baseline.ordinals(points)
    if not characteristic.wears_with:
        told = (tuple(mends), tuple(over), tuple(off))
        return LevelCourse(characteristic, tuple(points), span, step, noise, lots, *told)
    counted = _counted(points)
    own = own_fitting(points, span) if counted and span is not None else span
    return WornCourse(characteristic, tuple(points), own, step=step, mends=tuple(mends), off=tuple(off))


@dataclass(frozen=True, slots=True)
class WornCourse(LevelCourse):
    """A series that wears with a tool; the attributes are those of a level one."""

    @property
    def frozen(self) -> tuple[int, int] | None:
        """A frozen state holds for its own fitting: the present one has a line of its own."""
        earlier = self.baseline and _counted(self.points) and not in_use(self.points, self.baseline[1])
        return None if earlier else self.baseline

    def limits(self, present: Sequence[Point], rate: float) -> tuple[float | None, float | None]:
        """Limits of the next piece about the line, at the count the tool has come to."""
        if not _counted(self.points):
            return LevelCourse.limits(self, present, rate)
        return line_limits(self.points, self._settled(present), rate)

    def note(self) -> str:
        """Say which pieces a frozen state is compared with."""
        if not _counted(self.points):
            return ""
        if self.frozen is None:
            return "They were made on an earlier fitting of the tool; the present one has its own line."
        return "Later pieces of this fitting are judged about the line through them."

    def forecast(self, signals: Sequence[SignalResult], limits: DatedLimits, plan: Plan) -> Forecast | None:
        """Say when the tool has to be changed, by the pieces made since it left its line for good."""
        return forecast_wear(self.characteristic, self.points, limits, plan, left_line_at(signals))

    def own_suspect(self, signal: SignalResult, plan: Plan, today: date | None = None) -> Suspect | None:
        """Return the tool itself, which its own line accuses: not one without a count, or just fitted.

        A gauge that was found off comes first.
        """
        gauge = LevelCourse.own_suspect(self, signal, plan, today)
        if gauge is not None:
            return gauge
        point = self.points[signal.start - 1]
        if signal.kind == "single" or not point.tool or point.tool_count is None:
            return None
        if signal.start in self._joints():
            return None
        tool = plan.tool(point.tool)
        name = named(tool.name, tool.id) if tool else point.tool
        sentence = f"{name} past draw {point.tool_count}, off the line it wore along before"
        return Suspect("tool", point.tool, "", point.serial, point.day, sentence, AHEAD_OF_ALL)

    def _joints(self) -> Sequence[int]:
        return [places[0] + 1 for places in fittings(self.points)[1:]]

    def _ends(self, own: Sequence[Point]) -> tuple[float | None, float | None]:
        return (line_ends(own) if fittings(self.points) else None) or (None, None)

    def _raised(self, points: Pieces, rates: Floats, frozen: Frozen, kept: KeptStates) -> FoundChanges:
        if not self._about_line(points):
            return LevelCourse._raised(self, points, rates, frozen, kept)
        found = worn_changes(points, values_of(points), rates, frozen)
        return FoundChanges(found, ("Judged about the wear line of each tool, not about one level.",))

    def _beside(
        self, points: Pieces, rates: Floats, before: KeptState | None, settled: int
    ) -> tuple[Sequence[FoundChange], KeptState | None]:
        if not self._about_line(points):
            return LevelCourse._beside(self, points, rates, before, settled)
        return worn_changes(points, values_of(points), rates, (1, settled) if settled else None), None

    def _told(self, found: Sequence[FoundChange], points: Pieces) -> tuple[FoundChange, ...]:
        if self._about_line(points):
            return tuple(found)
        if not _counted(points):  # judged about its level, so placed and measured as a level is
            return LevelCourse._told(self, found, points)
        return until_refitted(found, points)

    def _about_line(self, points: Pieces) -> bool:
        """Say whether there is a line to go by; a count of faults has none."""
        return self.characteristic.kind == "measured" and _counted(points)


def _counted(points: Pieces) -> bool:
    """Say whether any of these pieces tells how far its tool had come."""
    return any(p.tool_count is not None for p in points)
