"""The invented workshop Querlohn: its models, cards, figures, people, and the plan they make.

Querlohn makes four models of trombone and repairs what comes in. Outer tubes are drawn there in lots, bells
are bought in batches. The staff write German cards; places, people, figures and names are invented.
"""

from __future__ import annotations

from dataclasses import dataclass, field

MODELS: dict[str, dict[str, object]] = {
    "lerche": {"name": "Lerche", "family": "tenore", "pedal_midi": 34, "length_mm": 2945, "symbol": "circle"},
    "dohle": {
        "name": "Dohle mit Quartventil",
        "family": "tenore",
        "pedal_midi": 34,
        "length_mm": 2945,
        "symbol": "square",
    },
    "dommel": {
        "name": "Dommel",
        "family": "baesse",
        "pedal_midi": 34,
        "length_mm": 2952,
        "symbol": "diamond",
    },
    "zaunkoenig": {
        "name": "Zaunkönig",
        "family": "alte",
        "pedal_midi": 39,
        "length_mm": 2206,
        "symbol": "triangle",
    },
}
VALVES = {"dohle": [("Q", 986)], "dommel": [("Q", 988)]}
PER_MONTH = {"lerche": (17, 25), "dohle": (8, 13), "dommel": (4, 7), "zaunkoenig": (3, 4)}
REPAIRS_PER_MONTH = (5, 10)
PEOPLE = ("AHB", "BRU", "CZ", "DOR", "EWI", "FKL", "GUE", "HAS", "JOP", "KVL", "MTZ")


@dataclass(frozen=True)
class Figure:
    """One thing measured: unit, gauge with its possible steps, target, spread and what noise it may have."""

    id: str
    name: str
    unit: str
    gauge: str
    steps: tuple[float, ...]
    sd: tuple[float, float]  # of a skewed figure: on the log scale; of counts and pass/fail: the mean
    target: float | dict[str, float] = 0.0
    noise: str = "measured"  # measured, skewed, counts, passfail
    sides: str = "both"  # which limits there may be: both, upper, lower, none
    places: dict[str, tuple[str, ...]] = field(default_factory=dict)


@dataclass(frozen=True)
class Card:
    """A card of a stage. `pool` says which pieces share a chart, and so a bench: all, family or model."""

    id: str
    title: str
    stage: str
    pool: str
    day: int  # working days after the job was begun
    figures: tuple[Figure, ...]
    batch: str = ""  # how batch words begin, where the card records them
    tool: str = ""  # class of the tool, where the card records it
    models: tuple[str, ...] = tuple(MODELS)
    pieces: str = "new"  # new or repairs
    source: str = "bench"


STAGES = {
    "rohr": "Außenrohre ziehen",
    "becher": "Schallstücke",
    "zug": "Zug",
    "ventil": "Ventil",
    "loeten": "Löten",
    "stimmung": "Stimmen",
    "polieren": "Polieren",
    "lack": "Lackieren",
    "reparatur": "Reparatur",
}
LEGS = ("oben", "unten")
UP = ("skewed", "upper")
OD = {"lerche": 14.6, "dohle": 15.1, "dommel": 15.6, "zaunkoenig": 13.6}
BORE = {"lerche": 14.05, "dohle": 14.55, "dommel": 15.05, "zaunkoenig": 13.05}
LENGTH = {"lerche": 690.0, "dohle": 690.0, "dommel": 702.0, "zaunkoenig": 561.0}
MASS = {"lerche": 310.0, "dohle": 345.0, "dommel": 420.0, "zaunkoenig": 240.0}
RIM = {"lerche": 204.0, "dohle": 214.0, "dommel": 241.0, "zaunkoenig": 166.0}

# A table: a line a figure.
# fmt: off
CARDS = (
    Card("ziehbuch", "Ziehbuch", "rohr", "all", 0, (
        Figure("rohr_aussen", "Rohr außen", "mm", "Bügelmessschraube", (0.001, 0.005), (0.0034, 0.0048), OD),
        Figure("rohr_laenge", "Rohrlänge", "mm", "Stahlmaß", (0.5,), (0.36, 0.5), LENGTH),
        Figure("wanddifferenz", "Wanddifferenz", "um", "Wandtaster", (1, 5), (0.25, 0.4), 18, *UP),
    ), batch="Z", tool="ziehring"),
    Card("rohrblatt", "Messblatt Außenrohr", "rohr", "model", 1, (
        Figure("rohr_innen", "Rohr innen", "mm", "Innentaster", (0.001, 0.002), (0.0035, 0.006), BORE,
               places={"leg": LEGS, "station": ("Mitte", "Bogen")}),
    )),
    Card("wareneingang", "Wareneingang Schallstück", "becher", "model", 2, (
        Figure("masse", "Masse", "g", "Tischwaage", (1, 5), (3.6, 5.0), MASS),
    ), batch="LF"),
    Card("randkarte", "Randkarte", "becher", "family", 3, (
        Figure("rand", "Randdurchmesser", "mm", "Messschieber", (0.1,), (0.2, 0.34), RIM,
               places={"direction": ("0", "90")}),
    ), batch="LF"),
    Card("wandkarte", "Wandkarte Schallstück", "becher", "all", 4, (
        Figure("wand", "Wandstärke", "mm", "Wandmessgerät", (0.005, 0.01), (0.008, 0.013), 0.5,
               places={"station": ("Rand", "Kehle", "Stiel"), "direction": ("0", "90")}),
    )),
    Card("naht", "Nahtprüfung", "becher", "all", 4, (
        Figure("nahtfehler", "Nahtfehler", "fault", "", (1,), (0.03, 0.07), 0, "passfail", "none"),
    )),
    Card("zugkarte", "Zugkarte", "zug", "model", 6, (
        Figure("luft", "Zugluft", "um", "Luftlehre", (1, 10), (7.5, 10), 150,
               places={"leg": LEGS, "station": ("Mund", "Mitte", "Bogen")}),
    ), tool="dorn"),
    Card("laufkarte", "Laufkarte", "zug", "all", 7, (
        Figure("laufkraft", "Laufkraft", "N", "Federwaage", (0.1,), (0.22, 0.36), 1.6, *UP),
        Figure("parallel", "Parallelität", "um", "Fühlerlehre", (10,), (7, 9.5), 70, sides="upper"),
        Figure("durchbiegung", "Durchbiegung", "um", "Messuhr", (1, 5), (0.25, 0.4), 32, *UP),
    )),
    Card("ventilkarte", "Ventilkarte", "ventil", "model", 8, (
        Figure("spiel", "Rotorspiel", "um", "Bohrungstaster", (1,), (3, 5), 34),
        Figure("endspiel", "Endspiel", "um", "Feinmessuhr", (1, 5), (3.4, 4.8), 24),
    ), tool="reibahle", models=("dohle", "dommel")),
    Card("dicht_ventil", "Dichtprobe Ventil", "ventil", "all", 9, (
        Figure("ventil_leck", "Leck Ventil", "cm3/min", "Leckprüfer", (0.1,), (0.3, 0.45), 2.2, *UP),
    ), models=("dohle", "dommel")),
    Card("loetkarte", "Lötkarte", "loeten", "all", 10, (
        Figure("loetzeit", "Lötzeit", "h", "", (0.25,), (0.2, 0.3), 3.4, "skewed", "none"),
        Figure("nachloetung", "Nachlötungen", "count", "", (1,), (1.4, 3.0), 0, "counts", "none"),
    ), batch="LOT"),
    Card("dicht_korpus", "Dichtprobe Korpus", "loeten", "all", 11, (
        Figure("korpus_leck", "Leck Korpus", "cm3/min", "Dichtprüfstand", (0.1,), (0.3, 0.45), 4.1, *UP),
    )),
    Card("stimmkarte", "Stimmblatt", "stimmung", "family", 12, (
        Figure("grundton", "Abweichung B", "cent", "Stimmgerät", (1,), (4, 6), 0),
    )),
    Card("quartkarte", "Stimmblatt Ventil", "stimmung", "all", 12, (
        Figure("quartton", "Abweichung F", "cent", "Tonmesser", (1,), (4, 6), 0,
               places={"partial": ("2", "3", "4")}),
    ), models=("dohle", "dommel")),
    Card("hochkarte", "Stimmblatt Naturton", "stimmung", "all", 13, (
        Figure("naturton5", "Fünfter Naturton", "cent", "Frequenzmesser", (1,), (4, 6.5), -14),
    )),
    Card("polierkarte", "Polierkarte", "polieren", "all", 15, (
        Figure("abtrag", "Abtrag", "g", "Feinwaage", (0.1, 1), (0.8, 1.1), 9),
        Figure("wandverlust", "Wandverlust", "um", "", (1,), (0.25, 0.4), 6, *UP),
    ), batch="PASTE", tool="schwabbel"),
    Card("spritzbuch", "Spritzbuch", "lack", "all", 17, (
        Figure("nassfilm", "Nassfilm", "um", "Nassfilmkamm", (1, 4), (2.8, 4), 48),
    ), batch="LA", tool="pistole"),
    Card("lackkarte", "Lackkarte", "lack", "all", 19, (
        Figure("thickness", "Lackdicke", "um", "Schichtmessgerät", (0.1, 1), (1.5, 2.1), 15,
               sides="lower", places={"area": ("Becher", "Stiel", "Bogen"), "spot": ("1", "2")}),
    ), source="lacquer"),
    Card("sichtkarte", "Sichtprüfung", "lack", "all", 20, (
        Figure("maengel", "Lackmängel", "count", "", (1,), (1.6, 4.0), 0, "counts", "none"),
    )),
    Card("reparaturzettel", "Reparaturzettel", "reparatur", "all", 2, (
        Figure("restdelle", "Restdelle", "um", "Tiefentaster", (5,), (0.3, 0.4), 62, *UP),
        Figure("rep_luft", "Zugluft nach Reparatur", "um", "Werkbanklehre", (1, 10), (8, 12), 160),
        Figure("rep_zeit", "Reparaturzeit", "h", "", (0.25,), (0.3, 0.45), 2.6, "skewed", "none"),
    ), pieces="repairs"),
)
# fmt: on
FIRST_YEAR = 2024
TOOLS = ("1", "2", "3", "4", "5")
GAUGES = ("1", "2", "3")


def gauge_ids(gauge: str, lane: str) -> list[str]:
    """Name the gauges of a class at a bench, as engraved on them; each bench has its own."""
    short = gauge.upper().translate(str.maketrans("ÜÄÖ ", "UAO-"))
    return [f"{short[:10]}-{_bench(lane)}{number}" for number in GAUGES]


def tool_ids(tool: str, lane: str) -> list[str]:
    """Name the tools of a class at a bench."""
    return [f"{tool[:4].upper()}-{_bench(lane)}{number}" for number in TOOLS]


def _bench(lane: str) -> str:
    """Shorten the name of a bench; the one for every model needs none."""
    return "" if lane == "all" else lane[:3].upper()


def lane_of(card: Card, model: str) -> str:
    """Say whose chart, and so whose bench, a piece of this model belongs to on this card."""
    if card.pool == "all":
        return "all"
    return str(MODELS[model]["family"]) if card.pool == "family" else model


def target_of(figure: Figure, model: str) -> float:
    """Give the target of a figure on a model."""
    return figure.target[model] if isinstance(figure.target, dict) else float(figure.target)


def heading_of(figure: Figure) -> str:
    """Write the heading of a figure, with its unit where it has one to speak of."""
    return figure.name if figure.unit in ("count", "fault") else f"{figure.name} [{figure.unit}]"


def make_plan(
    habits: dict[str, object], steps: dict[str, float], limits: dict[str, list[dict[str, object]]]
) -> dict[str, object]:
    """Put the measuring plan together: steps by gauge class or figure, limits by characteristic."""
    stages = []
    for stage, name in STAGES.items():
        figures = []
        for card in (card for card in CARDS if card.stage == stage):
            for figure in card.figures:
                figures.append(_characteristic(card, figure, steps, limits[figure.id]))
        stages.append({"id": stage, "name": name, "characteristics": figures})
    gauges: list[dict[str, object]] = []
    tools: list[dict[str, object]] = []
    for card in CARDS:
        for lane in sorted({lane_of(card, model) for model in card.models}):
            for figure in (figure for figure in card.figures if figure.gauge):
                head = {"gauge_class": figure.gauge, "resolution": steps[figure.gauge], "unit": figure.unit}
                gauges += [{"id": one, "name": one, **head} for one in gauge_ids(figure.gauge, lane)]
            for one in tool_ids(card.tool, lane) if card.tool else []:
                tools.append({"id": one, "name": one.capitalize(), "tool_class": card.tool})
    cards: list[dict[str, object]] = []
    for card in CARDS:
        figures_of = [figure.id for figure in card.figures]
        cards.append(
            {
                "id": card.id,
                "title": card.title,
                "source": card.source,
                "stage": card.stage,
                "characteristics": figures_of,
            }
        )
    models: list[dict[str, object]] = []
    for one, words in MODELS.items():
        valves = [{"name": name, "added_mm": added, "legs": 2} for name, added in VALVES.get(one, [])]
        models.append({"id": one, **words, **({"valves": valves} if valves else {})})
    return {
        "workshop": {
            "name": "Zugwerkstatt Querlohn",
            "serial_prefix": "Q",
            "time_zone": "Etc/GMT-1",
            **habits,
        },
        "models": models,
        "stages": stages,
        "gauges": gauges,
        "people": [{"code": code} for code in PEOPLE],
        "tools": tools,
        "cards": cards,
        "causes": ["Werkzeug stumpf", "Messgerät verstellt", "Material", "Handhabung", "unbekannt"],
    }


def _characteristic(
    card: Card, figure: Figure, steps: dict[str, float], limits: list[dict[str, object]]
) -> dict[str, object]:
    """Write one characteristic of the plan; its places in small letters, as the cards are read."""
    kind = {"counts": "count", "passfail": "pass-fail"}.get(figure.noise, "measured")
    words: dict[str, object] = {
        "id": figure.id,
        "name": figure.name,
        "unit": figure.unit,
        "kind": kind,
        "pool": card.pool,
    }
    if figure.places:
        words["places"] = {
            place: [value.lower() for value in values] for place, values in figure.places.items()
        }
    if set(card.models) != set(MODELS):
        words["models"] = list(card.models)
    if limits:
        words["limits"] = limits
    if figure.gauge:
        words["gauge_class"] = figure.gauge
    if kind == "measured":
        words["resolution"] = steps[figure.gauge or figure.id]
    return words
