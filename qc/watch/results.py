"""What the watch says of a series: plain frozen results that the store keeps and board and report show.

Every result turns into plain values by `to_dict()` and back by `from_dict()`, so that the store can keep it
as JSON and the board can show exactly what was judged, without judging again.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal

from qc.plain import JsonObject

Behaviour = Literal["learning", "steady", "drifting"]
Capable = Literal["proven", "unproven", "no"]
SignalKind = Literal["single", "shift", "trend", "spread", "count"]

LEARNING = 4
"""The detector speaks from the fourth piece on; a series of fewer is learning."""


@dataclass(frozen=True, slots=True, order=True)
class SeriesKey:
    """Names one series: a characteristic of a stage, pooled over a family."""

    stage: str
    characteristic: str
    family: str

    def __str__(self) -> str:
        return f"{self.stage}/{self.characteristic}/{self.family}"

    @classmethod
    def parse(cls, text: str) -> SeriesKey:
        """Turn ``stage/characteristic/family`` back into a key."""
        stage, characteristic, family = text.split("/", 2)
        return cls(stage, characteristic, family)


@dataclass(frozen=True, slots=True)
class Point:
    """One piece of a series, reduced to one figure.

    `value` is what is charted: the deviation from target where models are pooled (`centered` says so), else
    the figure itself. `spread` is the within-piece standard deviation of nested readings, `readings` their
    number.
    """

    ordinal: int  # 1-based, order of making
    serial: str
    day: date
    model: str
    value: float
    measured: float  # the figure before the target was taken off
    readings: int = 1
    spread: float | None = None
    size: float | None = None  # area of opportunity of a count, units tested of a pass-fail figure
    person: str = ""
    gauge: str = ""
    tool: str = ""
    tool_count: int | None = None
    batch: str = ""
    air_c: float | None = None
    note: str = ""
    lot: str = ""  # the lot it is judged as one of, empty where it stands alone
    left_out: bool = False  # a lead said it is not representative: shown, not judged


@dataclass(frozen=True, slots=True)
class Suspect:
    """A thing that changed when a signal began. Said with care: it coincides, it is not proven."""

    kind: str  # person | gauge | tool | batch | gauge-check | air | upstream | model mix
    name: str  # what it is now, for example M-7
    before: str  # what it was, empty where it is new
    serial: str  # first piece with it
    day: date | None
    sentence: str  # "bending mandrel M-7, fitted 8 Oct"
    weight: float = 0.0  # higher = rarer coincidence and larger effect


@dataclass(frozen=True, slots=True)
class SignalResult:
    """One finding in a series."""

    kind: SignalKind
    side: Literal["above", "below", "both"]
    raised: int  # ordinal of the point at which it was raised
    raised_serial: str
    raised_day: date
    start: int  # ordinal of the first point of the changed stretch
    start_serial: str
    start_day: date
    start_low: int  # the 90 % set of the start, ordinals
    start_high: int
    size: float | None
    size_low: float | None
    size_high: float | None
    size_sigma: float | None
    unit: str
    rate: float  # false-alarm rate per point it was judged at
    pieces: int  # pieces since the start, the start included
    ended: int | None = None  # ordinal of the first point back at the old level, None while it lasts
    suspects: tuple[Suspect, ...] = ()
    unchanged: tuple[str, ...] = ()  # what was checked and did not change
    sentence: str = ""  # what happened, in words
    because: str = ""  # what it coincides with, and what did not change
    next_step: str = ""  # what to do
    mended: int | None = None  # ordinal of the first piece after its cause was mended; one ahead: none yet
    held: bool | None = None  # whether the pieces since bear the mend out; None: not yet known
    reopens: str = ""  # serial at which the signal was raised first that this finding opens again
    closing: int | None = None  # number of the closing that it gives the lie to
    over_since: str = ""  # serial of the first piece that is back, where it is over by itself
    kept: tuple[str, ...] | None = None  # first and last serial it holds; None: told before it was kept
    began_serial: str = ""  # of one that opens again: first piece of the change as it was told at first
    began_day: date | None = None

    @property
    def root(self) -> str:
        """The piece that a signal goes by: the one at which it was raised first."""
        return self.reopens or self.raised_serial

    @property
    def since_serial(self) -> str:
        """The first piece made under its cause: a mend that did not hold is no beginning."""
        return self.began_serial or self.start_serial

    @property
    def since_day(self) -> date:
        """Day of that piece."""
        return self.began_day or self.start_day

    def to_dict(self) -> JsonObject:
        """Return plain values: dates as ISO text, tuples as lists."""
        plain: JsonObject = _plain(self)
        return plain

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> SignalResult:
        """Rebuild a signal from what `to_dict` gave."""
        return _signal({name: data[name] for name in cls.__slots__ if name in data})


@dataclass(frozen=True, slots=True)
class StretchResult:
    """A run of points taken as one state."""

    first: int
    last: int
    mean: float
    sd: float | None
    n: int
    changed: bool  # True where it is a stretch that a signal opened
    line_from: float | None = None  # a wearing figure follows a line: its height at the first point
    line_to: float | None = None  # and at the last


@dataclass(frozen=True, slots=True)
class Forecast:
    """Where a wearing figure is going: in draws and, where the pace is known, in days."""

    tool: str
    fitted_day: date | None
    slope_per_100: float | None
    count_now: int
    limit: float | None
    change_by_count: int | None
    change_by_day: date | None  # at its own pace up to `last_day`; once past its count, the day it reached it
    sentence: str
    last_day: date | None = None  # of its newest piece

    @property
    def draws_left(self) -> int | None:
        """Draws until it has to be changed, none below 0; None where no change is planned."""
        return None if self.change_by_count is None else max(0, self.change_by_count - self.count_now)


@dataclass(frozen=True, slots=True)
class Scatter:
    """How the pieces of a series scatter, as far as it is known: what its newest piece is judged by."""

    shape: str  # in use: auto (learned), normal, positive or any
    noise: dict[str, float]  # the estimates, as `qc.stats.Noise` tells them
    since_day: date | None  # the series has been said to have this shape since then; None: nothing learned
    lots_by: str  # the word that tells its lots: batch or tool, empty where none does
    tells_single: bool  # one piece six spreads from the rest is told; False where tails are too long
    step: float | None  # that the gauge leaves in the figures
    counts_as: int | None  # independent pieces that its present ones are worth, where they hang together
    sentence: str  # shape, since when, and what hangs together, in words


@dataclass(frozen=True, slots=True)
class LimitsThen:
    """Limits that held for earlier pieces and were others than now, on the scale of the points."""

    first: int  # ordinals of the pieces
    last: int
    target: float | None
    lower: float | None
    upper: float | None


@dataclass(frozen=True, slots=True)
class SeriesVerdict:
    """Everything said of one series on one day."""

    key: SeriesKey
    stage_name: str
    name: str
    unit: str
    kind: str
    pieces: int
    behaviour: Behaviour
    capable: Capable | Literal[""]  # empty where the plan has no limits or the figure is withheld
    ppk: float | None
    ppk_low: float | None
    ppk_high: float | None
    ppk_reason: str  # why the figure is withheld, empty where it is given
    outside_share: float | None  # expected share outside the limits, 0..1
    outside_low: float | None
    outside_high: float | None
    target: float | None  # on the scale of the points (0 where they are deviations)
    lower: float | None
    upper: float | None
    natural_lower: float | None  # limits of the settled state for the next piece
    natural_upper: float | None
    present: tuple[int, ...]  # ordinals of the present state: the answer about the limits rests on them
    sd_between: float | None
    sd_within: float | None
    centered: bool
    points: tuple[Point, ...]
    stretches: tuple[StretchResult, ...]
    signals: tuple[SignalResult, ...]
    forecast: Forecast | None = None
    notes: tuple[str, ...] = ()  # coarse gauge, lag-1 correlation, pooling said in sentences
    worst: float = 0.0  # sort key: larger = look at it first
    before: int = 0  # pieces made before the first one shown; they are no longer read
    baseline_first: int | None = None  # ordinals of the settled state that a lead froze
    baseline_last: int | None = None
    pieces_to_settle: int | None = None  # so many more like the present ones would settle an unproven answer
    scatter: Scatter | None = None  # None of counts and of what wears
    told_by: int | None = None  # ordinal at which the signal was raised that it drifts by, or settled after
    settled_since: date | None = None  # first day of a new level it settled at, while nobody has said why
    not_kept_by: int | None = None  # ordinal of the signal whose level stays, as was said, and breaks a limit
    earlier_limits: tuple[LimitsThen, ...] = ()  # of pieces made before the plan changed them

    def is_outside(self, point: Point) -> bool:
        """Say whether the charted figure of a piece lies beyond a limit that held when it was measured."""
        return is_beyond(point, self.lower, self.upper, self.earlier_limits)

    @property
    def rests_on(self) -> int:
        """Pieces that the answer about the limits rests on."""
        return len(self.present)

    @property
    def present_points(self) -> tuple[Point, ...]:
        """The pieces that the answer about the limits rests on."""
        return tuple(self.points[ordinal - 1] for ordinal in self.present)

    @property
    def telling(self) -> SignalResult | None:
        """The signal that explains why the series drifts; None for one that does not."""
        return (self.unanswered or self.current) if self.behaviour == "drifting" else None

    @property
    def unanswered(self) -> SignalResult | None:
        """The change by which the series drifts, or after which it settled while nobody has said why."""
        own = [s for s in self.signals if s.raised == self.told_by and s.kind != "single"]
        return own[-1] if own else None

    @property
    def not_kept(self) -> SignalResult | None:
        """The change after which the new level stays, as somebody said, and the limits are not kept."""
        own = [s for s in self.signals if s.raised == self.not_kept_by]
        return own[-1] if own else None

    @property
    def not_kept_since(self) -> Point | None:
        """The first piece of the level that stays and breaks the limits, made while these limits held."""
        found = self.not_kept
        if found is None:
            return None
        begun = next((p.ordinal for p in self.points if p.serial == found.since_serial), found.start)
        held = max((then.last + 1 for then in self.earlier_limits), default=1)
        return self.points[max(begun, held) - 1]

    @property
    def current(self) -> SignalResult | None:
        """The newest change that still lasts, or None; a single piece apart from the rest is no change."""
        lasting = [s for s in self.signals if s.ended is None and s.kind != "single"]
        return lasting[-1] if lasting else None

    @property
    def follows_line(self) -> bool:
        """Whether the series is judged about the line of its tool: it has no one level."""
        return any(stretch.line_from is not None for stretch in self.stretches)

    @property
    def span(self) -> float:
        """Width of the scale that a person reads the series on: limits, else the range of the points."""
        edges = [edge for edge in (self.lower, self.upper) if edge is not None]
        values = [p.value for p in self.points] + edges
        return (
            max(values) - min(values) if len(edges) < 2 and values else edges[-1] - edges[0] if edges else 0.0
        )

    @property
    def title(self) -> str:
        """Stage, name and family, the way a page or a row names the series."""
        family = "" if self.key.family == "all" else f", {self.key.family}"
        return f"{self.stage_name}: {self.name}{family}"

    def to_dict(self) -> JsonObject:
        """Return plain values: dates as ISO text, tuples as lists, the key as text."""
        return {**_plain(self), "key": str(self.key)}

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> SeriesVerdict:
        """Rebuild a verdict from what `to_dict` gave."""
        since = data.get("settled_since")
        return cls(
            **{
                **data,
                "settled_since": date.fromisoformat(since) if since else None,
                "key": SeriesKey.parse(data["key"]),
                "present": tuple(data["present"]),
                "points": tuple(map(_point, data["points"])),
                "stretches": tuple(StretchResult(**s) for s in data["stretches"]),
                "signals": tuple(_signal(s) for s in data["signals"]),
                "forecast": Forecast(**_dated(data["forecast"])) if data["forecast"] else None,
                "scatter": Scatter(**_dated(data["scatter"])) if data.get("scatter") else None,
                "notes": tuple(data["notes"]),
                "earlier_limits": tuple(LimitsThen(**one) for one in data.get("earlier_limits", ())),
            }
        )


def is_beyond(
    point: Point, lower: float | None, upper: float | None, earlier: Sequence[LimitsThen] = ()
) -> bool:
    """Say whether a point lies beyond the limits of its day: those of now, or others that held then."""
    for then in earlier:
        if then.first <= point.ordinal <= then.last:
            lower, upper = then.lower, then.upper
    return (lower is not None and point.value < lower) or (upper is not None and point.value > upper)


def present_points(
    points: Sequence[Point], signals: Sequence[SignalResult], frozen: tuple[int, int] | None
) -> tuple[Point, ...]:
    """Return the points of the present state: since the last lasting change, without ended excursions.

    A frozen state is the present one until a later change ends it; what was left out takes no part.
    """
    lasting = [s for s in signals if s.kind != "single"]
    first, settled = frozen or (1, 0)
    begin = max((s.start for s in lasting if s.ended is None and s.start > settled), default=first)
    away = {n for s in lasting if s.ended is not None for n in range(s.start, s.ended)}
    return tuple(p for p in points if p.ordinal >= begin and p.ordinal not in away and not p.left_out)


def _point(data: JsonObject) -> Point:
    # thousands are read for every page: its one day is known by name, and nothing is looked for
    return Point(**{**data, "day": date.fromisoformat(data["day"])})


def _signal(data: JsonObject) -> SignalResult:
    suspects = tuple(Suspect(**_dated(s)) for s in data["suspects"])
    kept = None if data.get("kept") is None else tuple(data["kept"])
    tuples = {"suspects": suspects, "unchanged": tuple(data["unchanged"]), "kept": kept}
    return SignalResult(**{**_dated(data), **tuples})


def _plain(value: Any) -> Any:
    """Return plain values; `dataclasses.asdict` would copy every one and take four times as long."""
    if value is None or isinstance(value, str | int | float):
        return value
    if isinstance(value, dict):
        return {name: _plain(item) for name, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, date):
        return value.isoformat()
    return {name: _plain(getattr(value, name)) for name in value.__slots__}


def _dated(data: JsonObject) -> JsonObject:
    days = {name: item for name, item in data.items() if name == "day" or name.endswith("_day")}
    return {**data, **{name: date.fromisoformat(item) for name, item in days.items() if item}}
