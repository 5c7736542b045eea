"""The plan of one card, for a question that is asked of a card without a workshop, or in its words."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field

from qc.ingest.cells import UNITS, plain
from qc.plan import Card, Characteristic, Plan, Shop, Stage

STAGE = "asked"
TITLES = {"tuning": "Tuning card", "slide": "Slide card", "lacquer": "Lacquer card", "bench": "Table"}
LEGS = ("left", "right", "l", "r", "links", "rechts", "upper", "lower", "oben", "unten")
STATIONS = (
    *("mouth", "middle", "mid", "crook", "crook end", "end", "top", "bottom"),
    *("mündung", "mitte", "anfang", "ende"),
)
DIRECTIONS = ("0", "30", "45", "60", "90", "120", "135", "180", "270")
AREAS = (
    *("bell", "bow", "stem", "rim", "flare", "neck", "slide", "outer slide", "hand slide", "tuning slide"),
    *("gooseneck", "crook", "schallstück", "becher", "bogen", "zug", "stimmzug", "rand"),
)
SPOTS = tuple(str(n) for n in range(1, 25))
"""Places as benches name them where no plan does: common practice, no source."""


@dataclass(frozen=True, slots=True)
class CardQuestion:
    """What a question takes from a card.

    Attributes
    ----------
    source : str
        Whose headings hold: ``tuning``, ``slide``, ``lacquer`` or ``bench``.
    figures : mapping of str to str
        Name of a figure, as its column is called in the answer -> the unit it is wanted in, empty for any.
    labels : tuple of str
        Further columns that the question names.
    words : mapping of str to str
        Headings, in plain form, that mean something here only -> the heading meant.
    open_place : str
        Place that a heading unknown to all stands for, empty where there is none.
    beside : tuple of str
        Figures that a card of this source may hold too, which are not asked for.
    """

    source: str
    figures: Mapping[str, str]
    labels: tuple[str, ...] = ()
    words: Mapping[str, str] = field(default_factory=dict)
    open_place: str = ""
    beside: tuple[str, ...] = ()


def plan_of_question(
    question: CardQuestion,
    plan: Plan | None,
    opened: Collection[str] = (),
    beside: Collection[str] = (),
    counted: str = "spot",
) -> Plan:
    """Return a plan of the one card that is asked for, in the words of the workshop's plan."""
    names = list(question.figures)
    if question.source == "bench":
        figures = {f"figure-{n}": figure_name(name) for n, name in enumerate(names)}
    elif question.source == "slide":
        figures = {name: name.replace("_", " ") for name in (*names, *beside)}
    else:
        figures = {"note" if question.source == "tuning" else "thickness": names[0]}
    places = _places(question, plan, opened, counted)
    units = dict(zip(figures, [*question.figures.values(), *("mm" for _ in beside)], strict=False))
    characteristics = tuple(
        Characteristic(id=one, name=name, unit=units.get(one, ""), places=places)
        for one, name in figures.items()
    )
    card = Card(
        id="asked", title=TITLES[question.source], source=question.source,
        stage=STAGE, characteristics=tuple(figures),
    )  # fmt: skip
    stage = Stage(id=STAGE, name=STAGE, characteristics=characteristics)
    if plan is None:
        return Plan(workshop=Shop(name="none"), models=(), stages=(stage,), cards=(card,))
    return plan.model_copy(update={"stages": (*plan.stages, stage), "cards": (card,)})


def figure_name(text: str) -> str:
    """Return the name of a figure without the unit behind it: ``od_mm`` and ``OD [mm]`` are ``od``."""
    name = plain(re.sub(r"[\[(].*?[\])]", "", text)) or plain(text)
    first, _, last = name.rpartition(" ")
    return first if first and last in UNITS else name


def allowed_headings(question: CardQuestion) -> str:
    """Return the headings a question reads, as a refusal names them."""
    own = {
        "tuning": "Partial, Position, Valve, Cents or Hz, Tester, Date, Sitting, Room C, Method",
        "slide": "Serial (or Tube), Leg, Station, Direction, Surface, "
        + " or ".join(name.replace("_", " ").capitalize() for name in question.figures),
        "lacquer": "Serial, Area, Spot, Thickness (or R1, R2, R3), Base",
    }
    if question.source in own:
        return own[question.source]
    named = ", ".join([*question.figures, *question.labels])
    return f"{named}, Serial, Leg, Station, Direction, Spot"


def _places(
    question: CardQuestion, plan: Plan | None, opened: Collection[str], counted: str
) -> dict[str, tuple[str, ...]]:
    """Return the places headings may stand for: the plan's, and those that benches name anyhow."""
    usual: dict[str, tuple[str, ...]] = {
        "slide": {"leg": LEGS, "station": (*STATIONS, *SPOTS), "direction": DIRECTIONS},
        "lacquer": {"area": AREAS, "spot": SPOTS},
        "bench": {"leg": LEGS, "station": STATIONS, "direction": DIRECTIONS, "spot": SPOTS},
    }.get(question.source, {})
    found = {name: list(values) for name, values in usual.items()}
    if question.source == "bench" and question.open_place:
        found = {question.open_place: [], "spot": list(SPOTS)}
    elif question.source == "bench" and counted != "spot":
        found[counted] = [*found.get(counted, ()), *found.pop("spot")]  # a bare number is one of these here
    for stage in plan.stages if plan else ():
        for characteristic in stage.characteristics:
            for name, values in characteristic.places.items():
                if name in found and question.source != "bench":
                    found[name] += [value for value in values if not _elsewhere(value, name, found)]
    if question.open_place:
        found.setdefault(question.open_place, []).extend(opened)
    return {name: tuple(dict.fromkeys(values)) for name, values in found.items() if values}


def _elsewhere(value: str, name: str, found: Mapping[str, Sequence[str]]) -> bool:
    """Tell whether a word is a place of another name already: a word for two places says neither."""
    return any(plain(value) in map(plain, values) for other, values in found.items() if other != name)
