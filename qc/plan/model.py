"""What a measuring plan says: models, stages, characteristics, limits, gauges, people, tools, cards.

The classes are frozen pydantic models, filled from ``plan.yaml`` by `qc.plan.load_plan`; every field here
is a field there. Unknown fields are refused, so a typing mistake cannot silently switch something off.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date
from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field


def _iso_day(value: object) -> object:
    # pydantic would also take a number of seconds since 1970 for a day
    if isinstance(value, str):
        try:
            return date.fromisoformat(value.strip())
        except ValueError:
            raise ValueError(f"{value!r} is not a day of the form 2026-05-14") from None
    return value


Day = Annotated[date, BeforeValidator(_iso_day)]
Id = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9_.\-]*$", max_length=40)]
Kind = Literal["measured", "count", "pass-fail"]
Shape = Literal["auto", "normal", "positive", "any"]
Source = Literal["slide", "tuning", "lacquer", "bench"]
Weekday = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
EventKind = Literal[
    "part",
    "shipped",
    "returned",
    "play-test",
    "rework",
    "gauge-check",
    "tool-fitted",
    "batch-opened",
    "no-card",
]
PairingCost = Literal["mean-squares", "mean-absolute", "leg-squares", "station-squares", "least-squares"]
Decides = Literal["every-place", "mean", "80-20"]
Derivation = Literal["clearance", "ovality", "main-length", "wrap-length", "partial", "note-scatter"]


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True, allow_inf_nan=False)


class Shop(_Part):
    """The shop itself. `a4_hz` and `reference_temperature_c` hold where a card says nothing else."""

    name: str
    serial_prefix: str = ""
    time_zone: str = "UTC"
    a4_hz: float = Field(440.0, gt=390, lt=480)
    reference_temperature_c: float = Field(20.0, ge=5, le=40)
    days_off: tuple[Weekday | Day, ...] = ("sat", "sun")
    false_signals_per_month: float = Field(1.0, gt=0, le=50)
    wanted_ppk: float = Field(1.0, gt=0, le=3)
    pairing_cost: PairingCost = "mean-squares"  # what `qc pair` makes least
    hourly_rate: float | None = Field(None, gt=0, le=10_000)  # what an hour of rework costs
    currency: str = Field("", max_length=12)  # of that rate, as it is to be printed
    today: Day | None = None  # only the sample workshop fixes its own day
    lead: str = ""  # code of the quality lead


class ModelValve(_Part):
    """A valve of a model: length added when pressed alone, or on top of `depends_on` [mm]."""

    name: Id
    added_mm: float = Field(gt=0, lt=3000)
    depends_on: str | None = None
    legs: int = Field(2, ge=1, le=4)


class Model(_Part):
    """An instrument type. `length_mm` is the effective column c/(2 f1) of the open instrument, slide in."""

    id: Id
    name: str
    family: Id
    pedal_midi: int = Field(ge=10, le=60)  # note number of the nominal fundamental, A4 = 69
    length_mm: float = Field(gt=1000, lt=8000)
    valves: tuple[ModelValve, ...] = ()
    partials: tuple[int, ...] = (2, 3, 4, 5, 6, 8)
    positions: int = Field(7, ge=1, le=9)
    area_factor: float = Field(1.0, gt=0, le=5)  # lacquered area relative to a tenor, for counts of defects
    symbol: Literal["circle", "square", "diamond", "triangle", "cross"] = "circle"


class DatedLimits(_Part):
    """Target and limits for some models from a day on; a later entry for the same model takes over."""

    models: tuple[Id, ...] = ()  # empty = every model
    at: dict[str, tuple[str, ...]] = Field(default_factory=dict)  # only there; empty = at every place
    since: Day | None = None
    target: float | None = None
    lower: float | None = None
    upper: float | None = None

    def fits(self, place: Mapping[str, object]) -> bool:
        """Say whether the entry speaks of a place; where a card leaves a part of it out, it does."""
        return all(place.get(part) is None or str(place[part]) in values for part, values in self.at.items())


def in_force(entries: Iterable[DatedLimits], model_id: str, day: date) -> DatedLimits:
    """Return the entry in force for a model on a day, all None where there is none.

    An entry that names the model wins over one for every model; among equals the latest `since` not after
    `day` wins. An entry without `since` has always held.
    """
    fits = [
        entry
        for entry in entries
        if (not entry.models or model_id in entry.models) and (entry.since is None or entry.since <= day)
    ]
    return max(fits, key=_precedence) if fits else DatedLimits()


def _precedence(entry: DatedLimits) -> tuple[bool, date]:
    return bool(entry.models), entry.since or date.min


class Derive(_Part):
    """How a charted figure comes from other readings of the same piece."""

    what: Derivation
    valve: str | None = None
    partial: int | None = None


_NOTES = ("note",)
_MEASURED_FOR: dict[str, tuple[str, ...]] = {
    "clearance": ("inner_od", "outer_bore", "clearance_read"),
    "ovality": ("outer_bore",),
}  # every other computed figure comes from the notes


class Characteristic(_Part):
    """One thing measured at a stage."""

    id: Id
    name: str
    unit: str  # um, mm, cent, g, N, cm3/min, h, count, fault
    kind: Kind = "measured"
    shape: Shape = "auto"
    places: dict[str, tuple[str, ...]] = Field(default_factory=dict)  # place column -> allowed values
    models: tuple[Id, ...] = ()  # empty = every model
    limits: tuple[DatedLimits, ...] = ()
    decides: Decides = "every-place"  # what of a piece has to keep the limits
    near_limit: Literal["told", "held"] = "told"  # inside by less than the gauge's own spread
    pool: Literal["family", "all", "model"] = "family"
    charted: bool = True  # False: recorded, and used by a derived figure, but no series of its own
    derive: Derive | None = None
    gauge_class: str | None = None
    resolution: float | None = Field(None, gt=0)
    wears_with: str | None = None  # class of tool whose count moves this figure: die, mandrel
    sensible: tuple[float, float] | None = None  # outside this a figure is a typing mistake
    sampling: str = "every piece"
    reading_seconds: float | None = Field(None, gt=0, le=3600)  # bench time of one reading [s]
    words: dict[Literal["above", "below", "noun"], str] = Field(default_factory=dict)
    next_step: str = ""  # one sentence on the board, first thing to do
    reaction: tuple[str, ...] = ()  # written steps after re-measure, gauge zero, serial and unit
    plain: str = ""  # one sentence that says what this figure is, for someone new

    @property
    def sources(self) -> tuple[str, ...]:
        """The characteristics of its stage whose readings a series of it is made of."""
        if self.derive is None:
            return (self.id,)
        return _MEASURED_FOR.get(self.derive.what, _NOTES)


class Stage(_Part):
    """A step of making, in order of the route."""

    id: Id
    name: str
    characteristics: tuple[Characteristic, ...] = ()
    cautions: tuple[str, ...] = ()


class Gauge(_Part):
    """A measuring device. `due` is the day its calibration runs out; readings after it are held."""

    id: Id
    name: str
    gauge_class: str
    resolution: float = Field(gt=0)
    unit: str
    spread: float | None = Field(None, gt=0)  # standard deviation of one reading, in `unit`
    calibrated: tuple[Day, ...] = ()
    due: Day | None = None
    daily_check: bool = False
    check_tolerance: float | None = None


class Person(_Part):
    """A code that stands on cards; the name never leaves the plan."""

    code: Id
    name: str = ""
    joined: Day | None = None
    left: Day | None = None


class Tool(_Part):
    """A die, mandrel, booth, nozzle: something that makes, not measures."""

    id: Id
    name: str
    tool_class: str
    fitted: Day | None = None
    removed: Day | None = None


_WRITTEN_BY = {"tuning": ("note",), "lacquer": ("thickness",)}  # what a source writes under one name only


class Card(_Part):
    """A kind of sheet that the benches hand in, and the adaptor that reads it."""

    id: Id
    title: str
    source: Source
    stage: Id | None = None
    characteristics: tuple[Id, ...] = ()
    event: EventKind | None = None
    expected: Literal["daily", "none"] = "none"


class Plan(_Part):
    """The whole measuring plan, as it stood on one day."""

    workshop: Shop
    models: tuple[Model, ...]
    stages: tuple[Stage, ...]
    gauges: tuple[Gauge, ...] = ()
    people: tuple[Person, ...] = ()
    tools: tuple[Tool, ...] = ()
    cards: tuple[Card, ...] = ()
    causes: tuple[str, ...] = ()  # cause codes for rework, returns and closed signals

    def model(self, model_id: str) -> Model | None:
        """Return the model with this id, or None."""
        return next((m for m in self.models if m.id == model_id), None)

    def stage(self, stage_id: str) -> Stage | None:
        """Return the stage with this id, or None."""
        return next((s for s in self.stages if s.id == stage_id), None)

    def characteristic(self, stage_id: str, characteristic_id: str) -> Characteristic | None:
        """Return one characteristic of a stage, or None."""
        stage = self.stage(stage_id)
        if stage is None:
            return None
        return next((c for c in stage.characteristics if c.id == characteristic_id), None)

    def figures_on(self, card: Card) -> tuple[Characteristic, ...]:
        """Return the characteristics that a card holds, in its order.

        A card that lists none holds what its source writes; a `bench` card that tells of no event then holds
        everything of its stage that is not computed.
        """
        if not card.characteristics and card.source == "bench" and card.event is None:
            stage = self.stage(card.stage or "")
            return tuple(c for c in stage.characteristics if c.derive is None) if stage else ()
        names = card.characteristics or _WRITTEN_BY.get(card.source, ())
        found = (self.characteristic(card.stage or "", name) for name in names)
        return tuple(c for c in found if c is not None)

    def gauge(self, gauge_id: str) -> Gauge | None:
        """Return the gauge with this id, or None."""
        return next((g for g in self.gauges if g.id == gauge_id), None)

    def tool(self, tool_id: str) -> Tool | None:
        """Return the tool with this id, or None."""
        return next((t for t in self.tools if t.id == tool_id), None)

    def person(self, code: str) -> Person | None:
        """Return the person with this code, or None."""
        return next((p for p in self.people if p.code == code), None)

    def models_of(self, characteristic: Characteristic) -> tuple[Model, ...]:
        """Return the models a characteristic is measured on, in plan order."""
        return tuple(m for m in self.models if not characteristic.models or m.id in characteristic.models)

    def asks_model(self, stage_id: str, characteristic_id: str) -> bool:
        """Say whether a reading without a model would be missing in a series it belongs to.

        ``pool: all`` charts a figure whatever the model; what is computed from notes needs it all the same,
        since the length of the instrument is the model's. A figure that is only recorded asks for none.
        """
        return not all(self._takes(one, "") for one in self._series_of(stage_id, characteristic_id))

    def stands(
        self, stage_id: str, characteristic_id: str, model_id: str
    ) -> Literal["chart", "record", "nowhere"]:
        """Say where a reading is found again: in a series, among what is only recorded, or nowhere.

        Only recorded is what the plan charts nowhere, or not on that model.
        """
        if self.characteristic(stage_id, characteristic_id) is None:
            return "nowhere"
        series = self._series_of(stage_id, characteristic_id)
        if any(self._takes(one, model_id) for one in series):
            return "chart"
        return "nowhere" if series and not model_id else "record"

    def _series_of(self, stage_id: str, characteristic_id: str) -> tuple[Characteristic, ...]:
        """Return the charted characteristics that readings of this one are part of."""
        stage = self.stage(stage_id)
        charted = (c for c in (stage.characteristics if stage else ()) if c.charted)
        return tuple(c for c in charted if characteristic_id in c.sources)

    def _takes(self, charted: Characteristic, model_id: str) -> bool:
        """Say whether a series takes readings of a model, empty where it is not known."""
        if not model_id:
            return charted.pool == "all" and charted.sources != _NOTES
        return self.family_of(charted, model_id) is not None

    def families_of(self, characteristic: Characteristic) -> tuple[str, ...]:
        """Return the family names under which a characteristic is charted, in plan order.

        ``pool: all`` gives the one name ``all``, ``pool: model`` the model ids.
        """
        if characteristic.pool == "all":
            return ("all",)
        own = self.models_of(characteristic)
        names = [m.id if characteristic.pool == "model" else m.family for m in own]
        return tuple(dict.fromkeys(names))

    def family_of(self, characteristic: Characteristic, model_id: str) -> str | None:
        """Return the family name under which a piece of this model is charted; None if it is not."""
        if characteristic.pool == "all":
            return "all"
        own = next((m for m in self.models_of(characteristic) if m.id == model_id), None)
        if own is None:
            return None
        return own.id if characteristic.pool == "model" else own.family

    def limits(self, characteristic: Characteristic, model_id: str, day: date) -> DatedLimits:
        """Return target and limits in force for a whole piece of a model on a day, see `in_force`.

        Entries for some places only take no part: what is charted is one figure for all places.
        """
        return in_force((entry for entry in characteristic.limits if not entry.at), model_id, day)

    def limits_at(
        self, characteristic: Characteristic, model_id: str, day: date, place: Mapping[str, object]
    ) -> DatedLimits:
        """Return target and limits in force at one place of a piece.

        Entries that name the place win over those for every place, the more parts of it they name the sooner.
        Where only other places have limits, this one has none.
        """
        own: dict[str, list[DatedLimits]] = {}
        for entry in characteristic.limits:
            if entry.fits(place):
                own.setdefault(repr(sorted(entry.at.items())), []).append(entry)
        found = [in_force(entries, model_id, day) for entries in own.values()]
        # an entry without figures only ends an earlier one for the same places
        given = [one for one in found if (one.target, one.lower, one.upper) != (None, None, None)]
        return max(given, key=lambda one: (len(one.at), *_precedence(one)), default=DatedLimits())

    def usual_limits(self, characteristic: Characteristic, model_id: str, day: date) -> DatedLimits:
        """Return the limits by which a typed figure is thought likely: of all places, else of any of them."""
        whole = self.limits(characteristic, model_id, day)
        given = (whole.target, whole.lower, whole.upper) != (None, None, None)
        return whole if given else in_force(characteristic.limits, model_id, day)

    def usual_limits_at(
        self, characteristic: Characteristic, model_id: str, day: date, place: Mapping[str, object]
    ) -> DatedLimits:
        """Return the limits by which a figure typed at one place is thought likely: its own, else the usual.

        `place` may hold more than places: a whole row does.
        """
        if any(entry.at for entry in characteristic.limits):
            own = self.limits_at(characteristic, model_id, day, place)
            if (own.target, own.lower, own.upper) != (None, None, None):
                return own
        return self.usual_limits(characteristic, model_id, day)

    def charted(self) -> tuple[tuple[Stage, Characteristic, str], ...]:
        """Return every series the plan asks for as (stage, characteristic, family), in route order."""
        return tuple(
            (stage, characteristic, family)
            for stage in self.stages
            for characteristic in stage.characteristics
            if characteristic.charted
            for family in self.families_of(characteristic)
        )
