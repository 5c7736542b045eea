"""The figures of one piece at each of their places, beside their limits and beside its like."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from statistics import fmean, stdev

import polars as pl

from qc.jobs.whole_piece.gauges import Gauges
from qc.jobs.whole_piece.places import PlaceFigure, place_of, worst_of
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.plan import Characteristic, Plan, Stage
from qc.states import INSIDE, NEAR, NO_LIMITS, OUTSIDE, ROW_WAITS
from qc.watch import (
    PieceFigure,
    Point,
    SeriesKey,
    SeriesVerdict,
    cells_of,
    outside_words,
    piece_figures,
    sources_of,
)
from qc.words import IN_UNIT

FORMS = ("leg", "station", "area", "direction")
"""Parts of a place over which a piece has a form, as against one figure a note."""

LIKE = 60
"""Pieces before it that a piece is compared with; chosen: what a workshop makes in a few months."""

ENOUGH = 8
"""So many of its own model are its like; with fewer, the whole series is. Chosen."""

LENGTH_STEP_MM = 0.1
"""How finely a length is written that was worked out from notes; chosen."""

DIFFERENCES = {"clearance", "ovality"}
"""Computed figures that are a difference of two readings, and no finer than these."""

USUAL = 24
"""Pieces before it from which the usual form is taken; chosen: its means are good to a fifth of a spread."""


@dataclass(frozen=True, slots=True)
class Among:
    """Where a figure lies among the pieces of its series made before it.

    `of` pieces were compared, `below` of them lie lower and `above` higher, the rest at the same figure.
    Their `mean` and `sd` are of the figure as measured; `model` is theirs, empty where they are of several.
    """

    of: int
    below: int
    above: int
    mean: float
    sd: float
    model: str = ""

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        return {name: getattr(self, name) for name in self.__slots__}


@dataclass(frozen=True, slots=True)
class Form:
    """The form of a piece along one part of its places: how far each level lies from the piece's own mean.

    `levels` holds name, deviation of this piece, and the usual deviation of its like, None where there are
    too few of them. [unit of the figure]
    """

    along: str
    levels: tuple[tuple[str, float, float | None], ...]

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        rows = [{"level": name, "off": off, "usual": usual} for name, off, usual in self.levels]
        return {"along": self.along, "levels": rows}


@dataclass(frozen=True, slots=True)
class FigureOfPiece:
    """One figure of a piece.

    Attributes
    ----------
    stage, stage_name, characteristic, name, unit, kind : str
        Which figure, by ids and in words.
    value : float
        The mean over its places; of a count, all of it. [unit]
    worst : PlaceFigure
        Where it lies furthest out, or least inside.
    lower, upper : float or None
        The limits of what decides in the plan. [unit]
    inside : bool or None
        Whether the piece keeps them, None without limits or where a held row of it waits.
    near : bool
        Inside by less than the gauge can tell.
    said : str
        The figure where it is worst, beside its limit, in words.
    behaviour : str
        Of its series; empty where it belongs to none.
    gauge, tool, batch, person : str
        As on the cards; several are joined by `` + ``.
    gauge_checked : bool or None
        Whether the gauges it rests on were known to be good; None where none of them is ever checked.
    gauge_doubt : str
        Why a gauge is in doubt, in words.
    day : date
        The newest day on which it was measured.
    places : tuple of PlaceFigure
        All its places.
    series : SeriesKey or None
        Its series.
    among : Among or None
        Its like.
    forms : tuple of Form
        Its form along legs, stations, areas, directions.
    between, within : float or None
        Spread of the series from piece to piece, and within a piece. [unit]
    step : float or None
        What its gauge shows, of a computed figure what that leaves of it; None where neither is known. [unit]
    rows : tuple of int
        Held rows that count for it and wait.
    """

    stage: str
    stage_name: str
    characteristic: str
    name: str
    unit: str
    kind: str
    value: float
    worst: PlaceFigure
    lower: float | None
    upper: float | None
    inside: bool | None
    near: bool
    said: str
    behaviour: str
    gauge: str
    tool: str
    batch: str
    person: str
    gauge_checked: bool | None
    gauge_doubt: str
    day: date
    places: tuple[PlaceFigure, ...]
    series: SeriesKey | None = None
    among: Among | None = None
    forms: tuple[Form, ...] = ()
    between: float | None = None
    within: float | None = None
    step: float | None = None
    rows: tuple[int, ...] = ()

    @property
    def title(self) -> str:
        """Stage and figure in words."""
        return f"{self.stage_name}: {self.name}"

    @property
    def state(self) -> str:
        """How it stands to its limits, by its name in `qc.states`."""
        if self.inside is None:
            return ROW_WAITS if self.rows else NO_LIMITS
        if not self.inside:
            return OUTSIDE
        return NEAR if self.near else INSIDE

    def to_dict(self) -> JsonObject:
        """Return the contract of a figure of ``qc piece --json``, and beside it what the page shows."""
        own = ("stage", "characteristic", "name", "unit", "value")
        cards = ("tool", "batch", "person")
        return {
            **{name: getattr(self, name) for name in own},
            "worst": {"place": self.worst.place, "value": self.worst.value},
            "lower": self.lower,
            "upper": self.upper,
            "inside": self.inside,
            "behaviour": self.behaviour,
            "gauge": self.gauge,
            "gauge_checked": self.gauge_checked,
            "gauge_doubt": self.gauge_doubt,
            "said": self.said,
            "near": self.near,
            "day": self.day.isoformat(),
            **{name: getattr(self, name) for name in cards},
            "places": [one.to_dict() for one in self.places],
            "among": self.among.to_dict() if self.among else None,
            "forms": [one.to_dict() for one in self.forms],
            "between": self.between,
            "within": self.within,
            "held_rows": list(self.rows),
        }


def figures_of_piece(
    workshop: Workshop, serial: str, model: str, verdicts: Sequence[SeriesVerdict]
) -> tuple[FigureOfPiece, ...]:
    """Return the figures of a piece in route order.

    Parameters
    ----------
    workshop : Workshop
        An open workshop; what was measured after its day is passed over.
    serial, model : str
        The piece, and its model where it has one.
    verdicts : sequence of SeriesVerdict
        Those of the workshop's day.
    """
    by_key = {verdict.key: verdict for verdict in verdicts}
    gauges = Gauges(workshop)
    found = []
    for stage in workshop.plan.stages:
        sources = sorted({name for one in stage.characteristics for name in sources_of(one)})
        if not sources:
            continue
        rows = workshop.store.figures(stage.id, sources, until=workshop.today, serials=[serial])
        for characteristic in stage.characteristics if rows.height else ():
            own = rows.filter(pl.col("characteristic").is_in(sources_of(characteristic)))
            cells = cells_of(own, workshop.plan, stage, characteristic) if own.height else own
            if cells.is_empty():
                continue
            family = workshop.plan.family_of(characteristic, model or cells["model"][0] or "")
            key = SeriesKey(stage.id, characteristic.id, family) if family else None
            verdict = by_key.get(key) if key else None
            found.append(_figure(workshop, stage, characteristic, own, cells, verdict, gauges, serial))
    return tuple(found)


def _figure(
    workshop: Workshop,
    stage: Stage,
    characteristic: Characteristic,
    rows: pl.DataFrame,
    cells: pl.DataFrame,
    verdict: SeriesVerdict | None,
    gauges: Gauges,
    serial: str,
) -> FigureOfPiece:
    """Gather what is known of one figure of a piece: places, answer, its like, circumstances."""
    plan = workshop.plan
    judged = next(iter(piece_figures(rows, plan, stage, characteristic, wanted={serial})), None)
    places = tuple(place_of(row, characteristic) for row in cells.iter_rows(named=True))
    worst = worst_of(places, characteristic)
    values = [one.value for one in places]
    checked, doubt = gauges.checked(rows)
    point = _point(verdict, serial)
    joined = {
        name: " + ".join(cells[name].unique(maintain_order=True).drop_nulls().replace("", None).drop_nulls())
        for name in ("gauge", "tool", "batch", "person")
    }
    return FigureOfPiece(
        stage=stage.id,
        stage_name=stage.name,
        characteristic=characteristic.id,
        name=characteristic.name,
        unit=characteristic.unit,
        kind=characteristic.kind,
        value=fmean(values),
        worst=worst,
        lower=judged.lower if judged else worst.lower,
        upper=judged.upper if judged else worst.upper,
        inside=judged.inside if judged else None,
        near=judged.near if judged else False,
        said=outside_words(judged or _plain(worst, characteristic, stage, cells, serial)),
        behaviour=verdict.behaviour if verdict else "",
        gauge_checked=checked,
        gauge_doubt=doubt,
        day=max(cells["day"]),
        places=places,
        series=verdict.key if verdict else None,
        among=_among(verdict, point) if verdict and point else None,
        forms=tuple(_forms(workshop, stage, characteristic, cells, verdict, point)),
        between=verdict.sd_between if verdict else None,
        within=verdict.sd_within if verdict else None,
        step=_shown_step(plan, stage, characteristic, cells, rows),
        rows=(),
        **joined,
    )


def _shown_step(
    plan: Plan, stage: Stage, characteristic: Characteristic, cells: pl.DataFrame, rows: pl.DataFrame
) -> float | None:
    """Return the step to write a figure by: what its gauge shows, of a computed one what that leaves of it.

    A figure fitted to many readings is good to a tenth of what their gauge shows; a difference of two is not.
    A length worked out from notes is written to a tenth of a millimetre, finer than anybody cuts (chosen).
    """
    derive = characteristic.derive
    if derive is None or characteristic.kind != "measured":
        return cells["step"].min()  # type: ignore[return-value]
    if characteristic.resolution is not None:
        return characteristic.resolution
    sources = [one for one in stage.characteristics if one.id in sources_of(characteristic)]
    gauges = [
        gauge for name in rows["gauge"].unique().drop_nulls() if (gauge := plan.gauge(name)) is not None
    ]
    steps = [(one.resolution, one.unit) for one in gauges]
    steps += [(one.resolution, one.unit) for one in sources if one.resolution is not None]
    scales = [(step, _scale(unit, characteristic.unit)) for step, unit in steps]
    known: list[float] = [step * scale for step, scale in scales if scale is not None]
    if not known:
        return LENGTH_STEP_MM if characteristic.unit == "mm" else None
    return min(known) if derive.what in DIFFERENCES else min(known) / 10


def _scale(unit: str, wanted: str) -> float | None:
    return 1.0 if unit == wanted else IN_UNIT.get((unit, wanted))


def _plain(
    worst: PlaceFigure, characteristic: Characteristic, stage: Stage, cells: pl.DataFrame, serial: str
) -> PieceFigure:
    """Stand in for a figure that nothing in the plan judges."""
    return PieceFigure(
        serial,
        "",
        stage.id,
        characteristic.id,
        characteristic.unit,
        worst.place,
        worst.value,
        None,
        None,
        None,
        None,
        False,
        "",
        max(cells["day"]),
    )


def _point(verdict: SeriesVerdict | None, serial: str) -> Point | None:
    own = [point for point in verdict.points if point.serial == serial] if verdict else []
    return own[-1] if own else None


def _before(verdict: SeriesVerdict, point: Point) -> list[Point]:
    """Return the pieces made before one: of its own model where there are enough, else of the series."""
    earlier = [p for p in verdict.points if p.ordinal < point.ordinal and not p.left_out]
    earlier = [p for p in earlier if p.serial != point.serial]
    same = [p for p in earlier if p.model == point.model]
    return (same if len(same) >= ENOUGH else earlier)[-LIKE:]


def _among(verdict: SeriesVerdict, point: Point) -> Among | None:
    like = _before(verdict, point)
    if len(like) < 2:
        return None
    below, above = sum(p.value < point.value for p in like), sum(p.value > point.value for p in like)
    # deviations from target compare pieces of several models; the mean is told on the scale of this one
    offset = point.measured - point.value
    values = [p.value + offset for p in like]
    of_model = point.model if all(p.model == point.model for p in like) else ""
    return Among(len(like), below, above, fmean(values), stdev(values), of_model)


def _forms(
    workshop: Workshop,
    stage: Stage,
    characteristic: Characteristic,
    cells: pl.DataFrame,
    verdict: SeriesVerdict | None,
    point: Point | None,
) -> Iterator[Form]:
    """Yield the form of a piece along each part of its places, beside what is usual of those before it."""
    along = [name for name in FORMS if name in cells.columns and cells[name].drop_nulls().n_unique() > 1]
    if not along:
        return
    like = [p.serial for p in _before(verdict, point)[-USUAL:]] if verdict and point else []
    usual = pl.DataFrame()
    if len(set(like)) >= ENOUGH:
        rows = workshop.store.figures(
            stage.id, sources_of(characteristic), until=workshop.today, serials=sorted(set(like))
        )
        usual = cells_of(rows, workshop.plan, stage, characteristic) if rows.height else usual
    for name in along:
        own = {level: off for _, level, off in _offs(cells, name).iter_rows()}
        theirs: dict[str, float] = {}
        if usual.height:
            means = _offs(usual, name).group_by(name).agg(pl.col("off").mean())
            theirs = dict(means.iter_rows())
        yield Form(name, tuple((level, off, theirs.get(level)) for level, off in own.items()))


def _offs(cells: pl.DataFrame, name: str) -> pl.DataFrame:
    """Return how far each level of a part of the place lies from the mean of its piece."""
    own = cells.filter(pl.col(name).is_not_null())
    levels = own.group_by("serial", name, maintain_order=True).agg(pl.col("value").mean())
    off = pl.col("value") - pl.col("value").mean().over("serial")
    return levels.select("serial", name, off=off)
