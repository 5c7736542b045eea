"""What the invented one-room shop makes, measures and writes down, and the plan that says so."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

NAME = "tolvast"
PREFIX = "TV"
MODELS = ("altina", "tenora")
OWNER, PARTNER, APPRENTICE = "KV", "TE", "MO"


@dataclass(frozen=True)
class Stage:
    """A stage, how many working days after the blank it comes, and whose lots go into it."""

    id: str
    name: str
    after: int
    batch: str | None = None
    gathered: bool = False
    models: tuple[str, ...] = MODELS


@dataclass(frozen=True)
class Card:
    """A kind of sheet: who reads it, how many days after the stage, what stands on it."""

    id: str
    title: str
    stage: str
    after: int = 0
    source: str = "bench"
    tool: str | None = None
    batch: bool = False


@dataclass(frozen=True)
class Figure:
    """One thing measured; `sd` is piece to piece, `width` half the limits of a two-sided figure."""

    id: str
    name: str
    card: str
    unit: str
    sd: float
    step: float
    target: dict[str, float] | float | None = None
    width: float | None = None
    upper: float | None = None
    split: bool = False
    positive: bool = False
    kind: str = "measured"
    gauge: str | None = None
    places: dict[str, list[str]] = field(default_factory=dict)

    def target_of(self, model: str | None) -> float:
        """Mean that the bench aims at, for a model; any model where they share it."""
        if isinstance(self.target, dict):
            return self.target[model or MODELS[0]]
        return 0.0 if self.target is None else self.target

    @property
    def as_deviation(self) -> bool:
        """Whether models of different targets share one chart."""
        return isinstance(self.target, dict) and not self.split


STAGES = (
    Stage("blank", "Bell blank", 0, batch="S"),
    Stage("bell", "Bell spinning", 3),
    Stage("tube", "Tube drawing", 6, batch="R"),
    Stage("joint", "Joints", 9, batch="W"),
    Stage("slide", "Hand slide", 13),
    Stage("rotor", "Rotor", 16, models=("tenora",)),
    Stage("pitch", "Pitch", 19),
    Stage("polish", "Buffing", 22),
    Stage("lacquer", "Lacquer", 25, batch="T", gathered=True),
    Stage("final", "Weighing out", 30),
)

CARDS = (
    Card("cutting", "Cutting card", "blank", batch=True),
    Card("sheet", "Sheet card", "blank", after=1),
    Card("spinning", "Spinning card", "bell", tool="mandrel"),
    Card("rim", "Rim card", "bell", after=1),
    Card("lamp", "Lamp card", "bell", after=1),
    Card("drawing", "Drawing card", "tube", tool="die", batch=True),
    Card("soldering", "Soldering card", "joint", tool="torch", batch=True),
    Card("leak", "Leak card", "joint", after=1),
    Card("slide-fit", "Slide fit card", "slide", source="slide"),
    Card("running", "Running card", "slide", after=1),
    Card("rotor-fit", "Rotor card", "rotor"),
    Card("rotor-leak", "Rotor leak card", "rotor", after=1),
    Card("pull", "Pull card", "pitch"),
    Card("notes", "Note card", "pitch"),
    Card("buffing", "Buffing card", "polish", tool="wheel"),
    Card("eye", "Eye card", "polish", after=1),
    Card("spraying", "Spraying card", "lacquer", tool="nozzle", batch=True),
    Card("film", "Film card", "lacquer", after=2, source="lacquer"),
    Card("look", "Look card", "lacquer", after=2),
    Card("weighing", "Weighing card", "final"),
)


def _two(altina: float, tenora: float) -> dict[str, float]:
    """Targets of the two models."""
    return {"altina": altina, "tenora": tenora}


def _at(**places: str) -> dict[str, list[str]]:
    """Places with their words."""
    return {name: words.split() for name, words in places.items()}


FIGURES = (
    Figure("blank_mass", "Blank mass", "cutting", "g", 2.2, 0.1, _two(204, 263), 8.0, split=True),
    Figure(
        "sheet_wall",
        "Sheet wall",
        "sheet",
        "mm",
        0.008,
        0.01,
        0.50,
        0.03,
        gauge="ball micrometer",
        places=_at(station="edge middle neck"),
    ),
    Figure("rim_diameter", "Rim diameter", "spinning", "mm", 0.4, 0.5, _two(176.0, 213.0), 1.6, gauge="rule"),
    Figure(
        "rim_wall",
        "Rim wall",
        "rim",
        "mm",
        0.013,
        0.01,
        _two(0.43, 0.46),
        0.05,
        split=True,
        gauge="calliper",
        places=_at(direction="0 90 180 270"),
    ),
    Figure("seam", "Seam", "lamp", "fault", 0, 1, 0.05, kind="pass-fail"),
    Figure("hammer_marks", "Hammer marks", "lamp", "count", 0, 1, 1.6, kind="count", upper=6),
    Figure(
        "tube_od",
        "Tube OD",
        "drawing",
        "mm",
        0.005,
        0.001,
        _two(12.62, 13.88),
        0.018,
        split=True,
        gauge="micrometer",
    ),
    Figure("tube_wall", "Tube wall", "drawing", "mm", 0.004, 0.005, 0.250, 0.016, gauge="wall gauge"),
    Figure(
        "tube_length", "Tube length", "drawing", "mm", 0.9, 0.5, _two(612.0, 744.0), 3.0, gauge="long rule"
    ),
    Figure(
        "joint_gap",
        "Joint gap",
        "soldering",
        "um",
        9,
        1,
        70,
        32,
        gauge="feeler",
        places=_at(leg="upper lower"),
    ),
    Figure("leak", "Leak", "leak", "cm3/min", 0.7, 0.1, 1.7, upper=5.0, positive=True, gauge="decay rig"),
    Figure("joint_clean", "Joint clean", "leak", "fault", 0, 1, 0.07, kind="pass-fail"),
    Figure(
        "clearance",
        "Slide clearance",
        "slide-fit",
        "um",
        10,
        1,
        150,
        38,
        places=_at(leg="upper lower", station="mouth middle crook", direction="0 90"),
    ),
    Figure(
        "force",
        "Running force",
        "running",
        "N",
        0.35,
        0.1,
        1.1,
        upper=2.6,
        positive=True,
        gauge="spring balance",
    ),
    Figure("breakaway", "Breakaway pull", "running", "N", 0.5, 0.1, 2.1, upper=4.2, positive=True),
    Figure(
        "legs_apart", "Legs apart", "running", "mm", 0.04, 0.05, _two(78.0, 84.0), 0.15, gauge="leg gauge"
    ),
    Figure("end_play", "End play", "rotor-fit", "um", 4, 5, 22, 16, gauge="indicator"),
    Figure("rotor_gap", "Rotor gap", "rotor-fit", "um", 3.2, 1, 31, 11, gauge="bore gauge"),
    Figure(
        "rotor_leak",
        "Rotor leak",
        "rotor-leak",
        "cm3/min",
        0.6,
        0.1,
        1.4,
        upper=4.5,
        positive=True,
        gauge="small rig",
    ),
    Figure("pull", "Tuning slide pull", "pull", "mm", 1.3, 0.5, _two(9.0, 12.0), 5.0, gauge="slide rule"),
    Figure(
        "tempered_note",
        "Note off",
        "notes",
        "cent",
        3.2,
        1,
        0.0,
        10.0,
        gauge="tuner",
        places=_at(partial="2 3 4 6"),
    ),
    Figure(
        "mass_loss",
        "Mass loss",
        "buffing",
        "g",
        3.0,
        0.1,
        _two(8.5, 11.5),
        upper=24.0,
        split=True,
        positive=True,
        gauge="balance",
    ),
    Figure("haze", "Haze spots", "eye", "count", 0, 1, 2.3, kind="count"),
    Figure("wet_film", "Wet film", "spraying", "um", 4, 5, 45, 16, gauge="comb"),
    Figure(
        "thickness",
        "Film thickness",
        "film",
        "um",
        1.6,
        0.1,
        15,
        5.5,
        gauge="coating gauge",
        places=_at(area="flare bows slide", spot="1 2"),
    ),
    Figure("runs", "Runs and nibs", "look", "count", 0, 1, 1.1, kind="count", upper=5),
    Figure("bare_spot", "Bare spot", "look", "fault", 0, 1, 0.06, kind="pass-fail"),
    Figure("total_mass", "Total mass", "weighing", "g", 9, 1, _two(1015, 1640), 34, split=True),
    Figure("stay_gap", "Stay gap", "weighing", "mm", 0.05, 0.05, 0.60, 0.2, gauge="gap gauge"),
)

STAGE_OF = {stage.id: stage for stage in STAGES}
CARD_OF = {card.id: card for card in CARDS}


def figures_of(card: Card) -> list[Figure]:
    """Figures that stand on a card."""
    return [figure for figure in FIGURES if figure.card == card.id]


def models_of(figure: Figure) -> tuple[str, ...]:
    """Models on which a figure is measured."""
    return STAGE_OF[CARD_OF[figure.card].stage].models


def gauge_id(gauge_class: str, number: int) -> str:
    """Id of the numbered gauge of a class: its initials, or its first letters."""
    words = gauge_class.split()
    short = "".join(word[0] for word in words) if len(words) > 1 else gauge_class[:3]
    return f"{short}{len(gauge_class)}-{number}".upper()


def tool_id(tool_class: str, number: int) -> str:
    """Id of the numbered tool of a class."""
    return f"{tool_class[:2]}-{number}".upper()


def limits_of(figure: Figure) -> list[dict[str, Any]]:
    """Limits of a figure as the plan writes them, an entry for each model where targets differ."""
    if figure.kind != "measured":
        return [] if figure.upper is None else [{"upper": figure.upper}]
    if figure.positive:
        return [{"upper": figure.upper}]
    width = figure.width or 0.0
    if not isinstance(figure.target, dict):
        middle = figure.target_of(None)
        return [{"target": middle, "lower": round(middle - width, 4), "upper": round(middle + width, 4)}]
    return [
        {
            "target": middle,
            "lower": round(middle - width, 4),
            "upper": round(middle + width, 4),
            "models": [model],
        }
        for model, middle in figure.target.items()
    ]


def _characteristics(figure: Figure) -> list[dict[str, Any]]:
    """Entry of a figure in the plan; the slide's clearance is read once and charted once."""
    entry: dict[str, Any] = {"id": figure.id, "name": figure.name, "unit": figure.unit, "kind": figure.kind}
    if limits_of(figure):
        entry["limits"] = limits_of(figure)
    entry["pool"] = "model" if figure.split else "all"
    if models_of(figure) != MODELS:
        entry["models"] = list(models_of(figure))
    if figure.id == "clearance":
        read = {"id": "clearance_read", "name": "Clearance as read", "unit": "um", "charted": False}
        entry["derive"] = {"what": "clearance"}
        return [{**read, "places": figure.places, "resolution": figure.step}, entry]
    if figure.places:
        entry["places"] = figure.places
    if figure.gauge:
        entry["gauge_class"] = figure.gauge
    entry["resolution"] = figure.step
    return [entry]


def _card_entry(card: Card) -> dict[str, Any]:
    """Entry of a card in the plan."""
    entry: dict[str, Any] = {"id": card.id, "title": card.title, "source": card.source, "stage": card.stage}
    if card.source == "bench":
        entry["characteristics"] = [figure.id for figure in figures_of(card)]
    return entry


def plan(days_off: Sequence[str | date], joined: date) -> dict[str, Any]:
    """Give the measuring plan as plain data."""
    stages = []
    for stage in STAGES:
        here = [figure for figure in FIGURES if CARD_OF[figure.card].stage == stage.id]
        entries = [entry for figure in here for entry in _characteristics(figure)]
        stages.append({"id": stage.id, "name": stage.name, "characteristics": entries})
    gauges = [
        {
            "id": gauge_id(figure.gauge, n),
            "name": f"{figure.gauge} {n}",
            "gauge_class": figure.gauge,
            "resolution": figure.step,
            "unit": figure.unit,
        }
        for figure in FIGURES
        if figure.gauge
        for n in (1, 2, 3)
    ]
    tools = [
        {"id": tool_id(card.tool, n), "name": f"{card.tool} {n}", "tool_class": card.tool}
        for card in CARDS
        if card.tool
        for n in (1, 2, 3, 4)
    ]
    return {
        "workshop": {
            "name": NAME.capitalize(),
            "serial_prefix": PREFIX,
            "days_off": list(days_off),
            "lead": OWNER,
        },
        "models": [
            {"id": "altina", "name": "Altina", "family": "high", "pedal_midi": 39, "length_mm": 2206},
            {
                "id": "tenora",
                "name": "Tenora",
                "family": "low",
                "pedal_midi": 34,
                "length_mm": 2945,
                "valves": [{"name": "F", "added_mm": 986, "legs": 2}],
                "symbol": "square",
            },
        ],
        "stages": stages,
        "gauges": gauges,
        "people": [
            {"code": OWNER, "name": "Owner"},
            {"code": PARTNER, "name": "Partner"},
            {"code": APPRENTICE, "name": "Apprentice", "joined": joined},
        ],
        "tools": tools,
        "cards": [_card_entry(card) for card in CARDS],
        "causes": ["hand", "gauge", "stock", "tool", "unknown"],
    }
