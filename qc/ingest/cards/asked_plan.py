"""The plan of one card, for a question asked without a workshop, and a sheet told in its words."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace

from qc.ingest.cells import UNITS, known_field, plain
from qc.ingest.reading import Grid
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


TRIAL = re.compile(r"\b(?:trial|run|reading|rep|repeat|versuch|messung|durchgang)\b\.?\s*#?", re.IGNORECASE)
_PAIRED = frozenset({"person", "tool", "gauge", "batch", "model", "valve"})
"""Words before the number of a trial, and labels whose value may stand in the same cell."""


def renamed(grid: Grid, words: Mapping[str, str]) -> Grid:
    """Write headings that mean something in this question only in our words; tell labels from values."""
    rows = []
    for cells in grid.rows:
        told = []
        for text in cells:
            meant = words.get(figure_name(text)) if text[:1].isalpha() else None
            if meant is not None:
                unit = re.search(r"[\[(].*?[\])]", text)
                told.append(f"{meant} {unit[0]}" if unit else meant)
            else:
                told.append(_labelled(text))
        if known_field(next((text for text in cells if text.strip()), "").partition(":")[0]) == "card":
            told = [""] * len(told)  # whichever card it is, it is read for this question
        rows.append(tuple(told))
    return replace(grid, rows=tuple(rows))


def _labelled(text: str) -> str:
    """Write ``Tester AL`` as ``Tester: AL``: no plan need know who AL is."""
    first, _, rest = text.strip().partition(" ")
    if not rest or ":" in text or known_field(text) or known_field(first) not in _PAIRED:
        return TRIAL.sub("", text) if TRIAL.match(text.strip()) and text.strip()[-1:].isdigit() else text
    return f"{first}: {rest.strip()}" if len(rest.split()) == 1 and plain(rest) not in UNITS else text


def upright(grid: Grid) -> Grid:
    """Turn notes that are written across, a note a column: there every figure could also be a heading.

    Each cell keeps the place it was typed in.
    """
    block = [row for row, cells in enumerate(grid.rows) if len(cells) > 2 and known_field(cells[0])]
    fields = {known_field(grid.rows[row][0]) for row in block}
    if not {"partial"} < fields or not fields & {"cents", "hz"} or block[-1] - block[0] != len(block) - 1:
        return grid
    width = max(len(grid.rows[row]) for row in block)
    turned = tuple(tuple(grid.text(row, column) for row in block) for column in range(width))
    at = tuple(
        tuple((grid.lines[row], column, grid.text(row, 0).strip()) for row in block)
        for column in range(width)
    )
    above, below = range(block[0]), range(block[-1] + 1, len(grid.rows))
    if any(any(grid.rows[row]) for row in below):
        return grid
    said = tuple(tuple((grid.lines[row], n, "") for n in range(len(grid.rows[row]))) for row in above)
    lines = (*(grid.lines[row] for row in above), *(grid.lines[block[0]] for _ in turned))
    rows = (*(grid.rows[row] for row in above), *turned)
    return replace(grid, rows=rows, lines=lines, widths=(), boxes=(), origins=(*said, *at))


def with_card(grid: Grid, title: str, *, headed: bool) -> Grid:
    """Say above the sheet which card it is, so that what is wrong with it is told in full."""
    first = grid.lines[0] if grid.lines else 1
    # where the headings stand in the first column, a label there would be one of them
    said = ("Card", title) if headed else (title,)
    return replace(
        grid,
        rows=(said, *grid.rows),
        lines=(first, *grid.lines),
        widths=(len(said), *grid.widths) if grid.widths else (),
        boxes=tuple((top + 1, left, bottom + 1, right) for top, left, bottom, right in grid.boxes),
        origins=((), *grid.origins) if grid.origins else (),
    )
