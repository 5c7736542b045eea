"""Which pieces passed a stage at the first go, and what spoke against those that did not.

A piece comes to a stage with its first card there: a reading, a verdict of the play-test or a rework. It has
passed at the first go if nothing of it at that stage was reworked, nothing was outside its limits and no
verdict failed.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from math import inf

import polars as pl

from qc.plain import JsonObject
from qc.plan import PLACE, Characteristic, Plan, Stage
from qc.stats import Proportion, RolledYield, proportion, rolled_yield
from qc.watch.pieces.figures import PieceFigure, limited, piece_figures
from qc.watch.pieces.saying import outside_words
from qc.watch.series import sources_of
from qc.words import inside

PLAY_TEST = "play-test"
"""Kind of the events that carry a verdict, and id of the stage they stand at where the plan has none."""

FAILING = ("rework", PLAY_TEST)
"""Kinds of events that can say that a piece did not pass a stage."""

FEW = 10
"""Chosen: of fewer pieces even a stage that passed them all may let one in three fail (by the exact
interval, 95 %), so they tell a good stage from a poor one no better than a guess."""

_UP_TO = "\0"
"""Stands between a serial and a day: no serial holds it, since no cell of a sheet does."""


@dataclass(frozen=True, slots=True)
class NotPassed:
    """A piece that did not pass a stage at the first go: since which day, and why, in words."""

    serial: str
    day: date
    why: str


@dataclass(frozen=True, slots=True)
class StageYield:
    """First-pass yield of a stage in a stretch of days.

    Attributes
    ----------
    stage, name : str
        Id and name of the stage.
    of : int
        Pieces that came to the stage in these days, or first failed there in them.
    failed : tuple of NotPassed
        Those that did not pass at the first go, in order of the days.
    """

    stage: str
    name: str
    of: int
    failed: tuple[NotPassed, ...] = ()

    @property
    def passed(self) -> int:
        """Pieces that passed at the first go."""
        return self.of - len(self.failed)

    @property
    def found(self) -> Proportion:
        """The share that passed with its exact interval, 95 % (Clopper and Pearson)."""
        return proportion(self.passed, self.of)

    @property
    def few(self) -> bool:
        """Whether the pieces are too few to tell a good stage from a poor one."""
        return self.of < FEW

    def to_dict(self) -> JsonObject:
        """Return one row of the contract of ``qc rework --json``, and the pieces that did not pass."""
        found = self.found
        return {
            "stage": self.stage,
            "passed": self.passed,
            "of": self.of,
            "share": found.share,
            "interval": list(found.interval),
            "failed": [
                {"serial": one.serial, "day": one.day.isoformat(), "why": one.why} for one in self.failed
            ],
        }


def rolled(yields: Sequence[StageYield]) -> RolledYield | None:
    """Return the product of the stages' shares with its interval; None where no stage had a piece."""
    counts = [(one.passed, one.of) for one in yields]
    return rolled_yield(counts) if counts else None


def play_test_stage(plan: Plan) -> tuple[str, str]:
    """Return id and name of the stage at which verdicts of the play-test stand that name none.

    The stage of the card, else the stage whose id or name is that of the test, else one of its own.
    """
    cards = [card.stage for card in plan.cards if card.event == PLAY_TEST and card.stage]
    for stage in plan.stages:
        if stage.id in cards or PLAY_TEST in (stage.id.casefold(), stage.name.casefold()):
            return stage.id, stage.name
    return PLAY_TEST, "Play-test"


def stage_yield(
    plan: Plan,
    stage: tuple[str, str],
    readings: Mapping[tuple[str, ...], pl.DataFrame],
    came: Mapping[str, date],
    events: pl.DataFrame,
    days: tuple[date, date],
) -> StageYield | None:
    """Return the first-pass yield of a stage in a stretch of days.

    Parameters
    ----------
    plan : Plan
        The measuring plan.
    stage : (str, str)
        Id and name; the play-test of a plan that has no such stage is one too, see `play_test_stage`.
    readings : mapping of tuple of str to polars.DataFrame
        By the characteristics they are of (`qc.watch.sources_of`), what was read of the pieces that may have
        failed in these days, with all that was read of them before.
    came : mapping of str to date
        Of each piece that was measured at the stage in these days, the day on which it first was.
    events : polars.DataFrame
        What happened until the last of the days; kinds other than `FAILING` take no part.
    days : (date, date)
        The first and the last day, both included.

    Returns
    -------
    StageYield or None
        None where no piece came to the stage.
        A piece counts once: in the days in which it came, or else in those in which it first failed. What is
        measured again after a failure is no first go and does not count. Each day is judged by what was known
        at its end: a piece read outside its limits and mended on a later day has failed. Readings of one
        place and day are averaged.
    """
    first, last = days
    own = _at(events, stage[0], play_test_stage(plan)[0])
    failed = [*_by_events(own), *_by_readings(plan, stage[0], readings)]
    earliest: dict[str, date] = dict(came)
    for serial, day in own.select("serial", "day").iter_rows():
        earliest[serial] = min(day, earliest.get(serial, day))
    against: dict[str, NotPassed] = {}
    for one in sorted(failed, key=lambda one: one.day):
        if one.day <= last:
            against.setdefault(one.serial, one)
    here = {serial for serial, day in earliest.items() if first <= day <= last}
    now = {serial: one for serial, one in against.items() if one.day >= first}
    if not here and not now:
        return None
    found = sorted(now.values(), key=lambda one: (one.day, one.serial))
    return StageYield(stage[0], stage[1], len(here | now.keys()), tuple(found))


def _at(events: pl.DataFrame, stage: str, tested_at: str) -> pl.DataFrame:
    """Return the events that can speak against pieces at a stage; rework of no stage speaks at none."""
    where = pl.col("stage").fill_null("")
    test = (pl.col("kind") == PLAY_TEST) & (where == "")
    own = events.filter(
        pl.col("kind").is_in(FAILING),
        pl.col("serial").fill_null("") != "",
        (where == stage) | (test & pl.lit(stage == tested_at)),
    )
    return own.sort("day", maintain_order=True)


def _by_events(events: pl.DataFrame) -> Iterator[NotPassed]:
    columns = ("serial", "day", "kind", "code")
    for serial, day, kind, code in events.select(columns).iter_rows():
        if kind == "rework":
            why = f"reworked: {code.replace('-', ' ')}" if code else "reworked, no cause given"
            yield NotPassed(serial, day, why)
        elif code and code != "pass":
            yield NotPassed(serial, day, f"verdict: {code}")


def _by_readings(
    plan: Plan, stage_id: str, readings: Mapping[tuple[str, ...], pl.DataFrame]
) -> Iterator[NotPassed]:
    stage = plan.stage(stage_id)
    for characteristic in stage.characteristics if stage else ():
        rows = readings.get(sources_of(characteristic))
        if stage is None or rows is None or rows.is_empty():
            continue
        if characteristic.kind == "pass-fail":
            bad = rows.filter(pl.col("characteristic") == characteristic.id, pl.col("value") > 0)
            for serial, day in bad.select("serial", "day").unique().sort("serial", "day").iter_rows():
                yield NotPassed(serial, day, f"{inside(characteristic.name)}: not passed")
        if limited(characteristic):
            yield from _outside(plan, stage, characteristic, rows)


def _outside(
    plan: Plan, stage: Stage, characteristic: Characteristic, rows: pl.DataFrame
) -> Iterator[NotPassed]:
    """Judge each piece as it stood at the end of every day on which something of it was read."""
    if _all_inside(characteristic, rows):
        return
    for one in piece_figures(_as_of_each_day(rows, characteristic), plan, stage, characteristic):
        serial, _, up_to = one.serial.partition(_UP_TO)
        if one.inside is False:
            yield NotPassed(serial, date.fromisoformat(up_to), _why(characteristic, one))


def _all_inside(characteristic: Characteristic, rows: pl.DataFrame) -> bool:
    """Say at a glance whether no piece can be outside: every reading keeps the tightest limits there are.

    Neither a mean nor the worst place of such readings lies outside. False says nothing.
    """
    if characteristic.kind != "measured" or characteristic.derive or characteristic.decides == "80-20":
        return False
    lowers = [entry.lower for entry in characteristic.limits if entry.lower is not None]
    uppers = [entry.upper for entry in characteristic.limits if entry.upper is not None]
    own = rows.filter(pl.col("value").is_finite())["value"]
    least, greatest = own.min(), own.max()
    if least is None or greatest is None:
        return True
    return float(least) >= max(lowers, default=-inf) and float(greatest) <= min(uppers, default=inf)  # type: ignore[arg-type]


def _why(characteristic: Characteristic, figure: PieceFigure) -> str:
    return f"{inside(characteristic.name)} {outside_words(figure)}"


def _as_of_each_day(rows: pl.DataFrame, characteristic: Characteristic) -> pl.DataFrame:
    """Return the readings known at the end of each day, under a serial that bears that day."""
    ends = rows.select("serial", pl.col("day").alias("up_to")).unique(maintain_order=True)
    grown = rows.join(ends, on="serial", maintain_order="left").filter(pl.col("day") <= pl.col("up_to"))
    if characteristic.decides != "every-place" or characteristic.derive is not None:
        # a card that is not full yet has no mean, and no length: it is judged once it is
        places = pl.struct("characteristic", *PLACE).n_unique()
        whole = places.over("serial", "up_to") == places.over("serial")
        grown = grown.filter(whole)
    return grown.with_columns(
        serial=pl.concat_str("serial", pl.lit(_UP_TO), pl.col("up_to").dt.to_string("%Y-%m-%d"))
    ).drop("up_to")
