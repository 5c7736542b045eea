"""Who is made when: instruments and drawn tubes on their way through the shop, first in first out.

The flow is the same for every seed, since the plan names the days on which tools were changed; what the seed
draws anew is every measured figure and who measured it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from sample_measurements.make import scenario
from sample_measurements.make.noise import Noise

FLOW_SEED = 5  # chosen: its changes of tools fall on the days that `plan.yaml` names
PACE = (
    (0.0, 1.0),
    (0.9, 1.0),
    (0.93, 1.5),
    (1.0, 1.5),
)  # share of the span -> pace; autumn orders


@dataclass(frozen=True, slots=True)
class Tube:
    """A drawn outer slide tube."""

    serial: str
    model: str
    day: date
    die: str
    draws: int
    spare: bool


@dataclass(frozen=True, slots=True)
class Piece:
    """An instrument, and the day each stage worked on it; days may lie after the last one."""

    serial: str
    model: str
    index: int
    days: dict[str, date]
    tubes: tuple[Tube, Tube]
    mandrel: str
    leadpipe_batch: str
    nozzle: str

    def reached(self, stage: str) -> bool:
        """Return whether the stage has been done by the last day."""
        return self.days[stage] <= scenario.LAST_DAY


@dataclass(frozen=True, slots=True)
class Flow:
    """Everything that moves through the shop.

    Attributes
    ----------
    days : list of date
        Working days from four weeks before the first instrument to well after the last sheet.
    mandrel_day, nozzle_day, gauge_day : date
        When the new bending mandrel and the new nozzle were fitted; first day without a gauge check.
    """

    pieces: list[Piece]
    tubes: list[Tube]
    days: list[date]
    mandrel_day: date
    nozzle_day: date
    gauge_day: date

    def at(self, stage: str) -> list[Piece]:
        """Return the pieces that have been through a stage, in order of making."""
        return [piece for piece in self.pieces if piece.reached(stage)]


def plan_flow(days: list[date]) -> Flow:
    """Lay out all instruments and tubes over the given working days."""
    noise = Noise(FLOW_SEED, "flow")
    models = _models(noise)
    stage_days = _stage_days(days, noise)
    tubes, pairs = _tubes(models, stage_days, days, noise)
    f_days = [stages for model, stages in zip(models, stage_days, strict=True) if model in scenario.VALVES]
    mandrel_day = _day_of_last(f_days, scenario.MANDREL_PIECES, "tuning", "valves")
    nozzle_day = _day_of_last(stage_days, scenario.NOZZLE_PIECES, "lacquer", "lacquer")
    batches = _leadpipe_batches(stage_days)
    pieces = [
        Piece(
            serial=f"QH-{scenario.FIRST_SERIAL + index}",
            model=model,
            index=index,
            days=stages,
            tubes=pair,
            mandrel=_mandrel(model, stages["valves"] >= mandrel_day),
            leadpipe_batch=batch,
            nozzle=scenario.NEW_NOZZLE if stages["lacquer"] >= nozzle_day else scenario.OLD_NOZZLE,
        )
        for index, (model, stages, pair, batch) in enumerate(
            zip(models, stage_days, pairs, batches, strict=True)
        )
    ]
    worked = [day for day in days if day <= scenario.LAST_DAY]
    return Flow(pieces, tubes, days, mandrel_day, nozzle_day, worked[-scenario.UNZEROED_DAYS])


def batch_name(number: int) -> str:
    """Return the name of a leadpipe batch."""
    return f"LP-{number:02d}"


def _models(noise: Noise) -> list[str]:
    """Spread the models evenly: each is due in proportion to its share, with a little disorder."""
    due = [
        ((step + noise.uniform(0.2, 0.8)) / count, model)
        for model, count in scenario.MODEL_COUNTS.items()
        for step in range(count)
    ]
    return [model for _, model in sorted(due)]


def _stage_days(days: list[date], noise: Noise) -> list[dict[str, date]]:
    worked = [index for index, day in enumerate(days) if scenario.FIRST_DAY <= day <= scenario.LAST_DAY]
    starts = _starts(worked[0], worked[-1] - 1, noise)
    latest = {stage: 0 for stage in ("bell", *scenario.LEAD_DAYS)}
    result = []
    for start in starts:
        stages = {"bell": start}
        for stage, lead in scenario.LEAD_DAYS.items():
            latest[stage] = stages[stage] = max(latest[stage], start + lead + noise.whole(0, 1))
        result.append({stage: days[index] for stage, index in stages.items()})
    return result


def _starts(first: int, last: int, noise: Noise) -> list[int]:
    """Return the day index on which each instrument's bell is measured, at the pace of `PACE`."""
    weights = [_pace((index - first) / (last - first)) for index in range(first, last + 1)]
    total = sum(weights)
    starts: list[int] = []
    done = 0.0
    for offset, weight in enumerate(weights):
        done += weight
        while len(starts) < round(scenario.INSTRUMENTS * done / total):
            starts.append(first + offset)
    shifted = [max(first, min(last, start + noise.whole(-1, 1))) for start in starts]
    return sorted(shifted)


def _pace(share: float) -> float:
    for (left, low), (right, high) in zip(PACE, PACE[1:], strict=False):
        if share <= right:
            return low + (high - low) * (share - left) / (right - left)
    return PACE[-1][1]


def _tubes(
    models: list[str], stage_days: list[dict[str, date]], days: list[date], noise: Noise
) -> tuple[list[Tube], list[tuple[Tube, Tube]]]:
    """Draw two tubes for each instrument, and now and then a spare one, in order of drawing."""
    position = {day: index for index, day in enumerate(days)}
    wanted: list[tuple[int, int, str, bool]] = []
    latest = 0
    for index, (model, stages) in enumerate(zip(models, stage_days, strict=True)):
        at = position[stages["slide"]] - scenario.TUBE_LEAD_DAYS - noise.whole(0, 2)
        latest = max(latest, at)
        extra = 1 if noise.chance(0.14) else 0
        wanted += [(latest, index, scenario.TUBE_MODEL[model], step == 2) for step in range(2 + extra)]
    counts = {die[0]: die[1] for dies in scenario.DIES.values() for die in dies}
    tubes: list[Tube] = []
    owned: dict[int, list[Tube]] = {}
    for number, (at, owner, model, spare) in enumerate(sorted(wanted), start=1):
        day = days[at]
        dies = scenario.DIES[model]
        die = dies[-1 if day >= scenario.DIE_CHANGE else 0][0]
        counts[die] += 1 + (1 if noise.chance(0.5) else 0)  # a trial draw that is not kept
        tube = Tube(f"T-{number:04d}", model, day, die, counts[die], spare)
        if day <= scenario.LAST_DAY:
            tubes.append(tube)
        if not spare:
            owned.setdefault(owner, []).append(tube)
    return tubes, [(owned[index][0], owned[index][1]) for index in range(len(models))]


def _mandrel(model: str, new: bool) -> str:
    if model not in scenario.VALVES:
        return ""
    return scenario.NEW_MANDREL if new else scenario.OLD_MANDREL


def _day_of_last(stage_days: list[dict[str, date]], count: int, counted: str, changed: str) -> date:
    """Return the day of stage `changed` of the piece from which on `count` pieces are through `counted`.

    Where several pieces share that day the earlier ones come along: the change holds from a morning on.
    """
    done = [stages for stages in stage_days if stages[counted] <= scenario.LAST_DAY]
    return done[-count][changed]


def _leadpipe_batches(stage_days: list[dict[str, date]]) -> list[str]:
    """Return leadpipe batches such that the newest begins with the last so many tuned instruments."""
    tuned = sum(stages["tuning"] <= scenario.LAST_DAY for stages in stage_days)
    start = tuned - scenario.LEADPIPE_PIECES
    offset = -start % scenario.LEADPIPE_BATCH_SIZE
    first = [(index + offset) // scenario.LEADPIPE_BATCH_SIZE for index in range(len(stage_days))]
    newest = first[start]
    return [batch_name(min(number, newest) - newest + scenario.LEADPIPE_NEWEST) for number in first]
