"""Which earlier figures of the same pieces go with the final results, asked of the judged series."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from qc.errors import UsageError
from qc.jobs.judging import brought_up, verdicts_of_day
from qc.jobs.then import said_of_then
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.report.terminal import upstream_text
from qc.stats import Tabled
from qc.watch import (
    PLAY_TEST,
    SCREENED_BY,
    Earlier,
    ScreenedResult,
    SeriesVerdict,
    final_results,
    homes,
    part_uses,
    screen,
)
from qc.words import listed


@dataclass(frozen=True, slots=True)
class UpstreamReport(Tabled):
    """The final results with the earlier figures that go with them.

    Attributes
    ----------
    as_of : date
        The day it is asked for.
    results : tuple of ScreenedResult
        In route order.
    not_judged : str
        Since when something waits that could not be judged now, in words.
    """

    ROWS = "results"

    as_of: date
    results: tuple[ScreenedResult, ...]
    not_judged: str = ""

    def to_dict(self) -> JsonObject:
        """Return each result with what goes with it, and the method in words."""
        return {
            "as_of": self.as_of.isoformat(),
            "results": [one.to_dict() for one in self.results],
            "method": SCREENED_BY,
        }

    def to_text(self) -> str:
        """Say of each result what goes with it, how many figures were looked at, and how."""
        told = upstream_text(self.as_of, self.results)
        return f"{self.not_judged}\n{told}" if self.not_judged else told


def upstream(workshop: Workshop, *, result: str = "") -> UpstreamReport:
    """Return which earlier figures go with the final results, after judging what waits.

    Parameters
    ----------
    workshop : Workshop
        An open workshop, or one as it was known on a day.
    result : str
        Only this one, ``stage/characteristic``: any figure that is charted, or the verdict of the play-test.

    Raises
    ------
    UsageError
        No such figure.
    """
    asked = _asked(workshop, result) if result else ()
    waits = brought_up(workshop)
    told = waits.sentence(workshop.plan.workshop.time_zone) if waits else said_of_then(workshop)
    found = screened_of(workshop, verdicts_of_day(workshop), asked)
    return UpstreamReport(workshop.today, found, told)


def screened_of(
    workshop: Workshop, verdicts: Sequence[SeriesVerdict], asked: Sequence[Earlier] = ()
) -> tuple[ScreenedResult, ...]:
    """Screen the final results of a workshop, or those asked about, for who has its verdicts at hand.

    Parameters
    ----------
    workshop : Workshop
        Gives plan, parts and play-tests until its day.
    verdicts : sequence of SeriesVerdict
        Those of that day.
    asked : sequence of Earlier
        The results; `qc.watch.final_results` when empty.
    """
    events = workshop.store.events(["part", PLAY_TEST], until=workshop.today)
    kinds = {kind: own for (kind,), own in events.partition_by("kind", as_dict=True).items()}
    inside = homes(part_uses(kinds.get("part", events.clear())))
    return screen(workshop.plan, verdicts, inside, kinds.get(PLAY_TEST, events.clear()), asked)


def _asked(workshop: Workshop, result: str) -> tuple[Earlier, ...]:
    plan = workshop.plan
    charted = [
        Earlier.of(stage, one) for stage in plan.stages for one in stage.characteristics if one.charted
    ]
    known = {f"{one.stage}/{one.characteristic}": one for one in (*charted, *final_results(plan))}
    if result not in known:
        usual = listed([f"{one.stage}/{one.characteristic}" for one in final_results(plan)])
        raise UsageError(
            f"'{result}' is no charted figure of the plan. Write it as stage/characteristic; the final "
            f"results are {usual}."
        )
    return (known[result],)
