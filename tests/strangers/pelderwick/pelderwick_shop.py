"""What the invented workshop Pelderwick makes, on which cards it writes, and what it measures there.

All figures are invented planning values of the kind a small shop starts from; nobody and no place is real.
"""

from dataclasses import dataclass, field

NAME = "pelderwick"
PREFIX = "PW"
# Eight people, by the codes on their cards. The last one joins in the middle of the time.
PEOPLE = ("BRA", "CEL", "DOV", "FEN", "GIL", "HUX", "JOR", "KIT")
NEWCOMER = "KIT"


@dataclass(frozen=True)
class Model:
    """A model: its family, nominal fundamental (note number), air column [mm], and pieces a month."""

    id: str
    name: str
    family: str
    midi: int
    length_mm: int
    volume: tuple[float, float]
    valves: tuple[tuple[str, int, str], ...] = ()


MODELS = (
    Model("alto-e", "Alto, narrow", "altos", 39, 2206, (5.0, 8.0)),
    Model("alto-w", "Alto, wide", "altos", 39, 2206, (3.0, 4.0)),
    Model("tenor-n", "Tenor, narrow", "tenors", 34, 2945, (15.0, 22.0)),
    Model("tenor-v", "Tenor with valve", "tenors", 34, 2945, (11.0, 16.0), (("F", 986, ""),)),
    Model("bass-v", "Bass, one valve", "basses", 34, 2945, (5.0, 8.0), (("F", 986, ""),)),
    Model("bass-d", "Bass, two valves", "basses", 34, 2945, (3.0, 4.0), (("F", 986, ""), ("D", 744, "F"))),
)
WITH_VALVES = ("tenor-v", "bass-v", "bass-d")

# stage: its name, and the working days from the start of a piece to its measuring there
STAGES = {
    "tubes": ("Tube drawing", 0),
    "bells": ("Bell spinning", 2),
    "slides": ("Hand slide", 4),
    "joints": ("Brazed joints", 6),
    "valves": ("Valve section", 7),
    "pitch": ("Pitch", 9),
    "polish": ("Polishing", 11),
    "lacquer": ("Lacquer", 13),
}
CAUTIONS = {
    "tubes": "Guards as the local rules say; stand clear of the line of draw.",
    "joints": "Fume extraction and eye protection as the local rules and the data sheet say.",
    "lacquer": "Extraction, masks and no ignition sources as the local rules and the data sheet say.",
}


@dataclass(frozen=True)
class Card:
    """A kind of card: who fills it in, with which gauges, tools and batches.

    `gauges` gives for each class of gauge the ids in use; `tools` the class, the tools in use, and the one
    that takes the place of the last of them half way (empty: none does). `batch` begins the names of the
    batches; `together` says what shares one: pieces of a family, or all.
    """

    id: str
    title: str
    stage: str
    people: tuple[str, ...]
    gauges: dict[str, tuple[str, ...]] = field(default_factory=dict)
    tools: tuple[str, tuple[str, ...], str] | None = None
    batch: str = ""
    together: str = "all"
    source: str = "bench"
    lag: int = 0
    models: tuple[str, ...] = ()


CARDS = (
    Card("draw-list", "Draw list", "tubes", ("BRA", "DOV"), {"micrometer": ("MI-3", "MI-4")},
         ("die", ("DI-21", "DI-22"), "DI-23"), "AN", "family"),
    Card("blank-list", "Blank list", "tubes", ("CEL", "BRA", "KIT"),
         {"wall dial": ("WD-1",), "rule": ("RU-2",)}, lag=1),
    Card("spin-card", "Spinning card", "bells", ("FEN", "GIL"), {"ball calliper": ("BC-1", "BC-2")},
         ("mandrel", ("MA-1", "MA-2", "MA-3", "MA-4", "MA-5"), ""), "SH", "family"),
    Card("rim-card", "Rim and weight card", "bells", ("GIL", "HUX", "CEL"),
         {"long calliper": ("LC-1",), "bench scale": ("SC-1", "SC-2")}, lag=1),
    Card("seam-card", "Seam card", "bells", ("FEN", "HUX"), batch="FL", lag=1),
    Card("fit-card", "Slide fit card", "slides", ("DOV", "JOR"), {"fit gauge": ("FG-1", "FG-2")},
         source="slide"),
    Card("pull-card", "Slide pull card", "slides", ("JOR", "BRA", "KIT"), {"spring balance": ("SB-1",)},
         batch="GR", lag=1),
    Card("frame-card", "Slide frame card", "slides", ("DOV", "CEL"), {"frame rod": ("FR-1",)}),
    Card("braze-card", "Brazing card", "joints", ("FEN", "HUX", "GIL"), batch="BZ"),
    Card("leak-card", "Leak card", "joints", ("JOR", "CEL"), {"decay rig": ("DR-1", "DR-2")}, lag=1),
    Card("rotor-card", "Rotor card", "valves", ("HUX", "DOV"), {"dial": ("DL-5",)},
         ("reamer", ("RE-1",), "RE-2"), "RO", "all", models=WITH_VALVES),
    Card("pitch-card", "Pitch card", "pitch", ("JOR", "GIL", "BRA"),
         {"tuner": ("TN-1", "TN-2"), "rule": ("RU-7",)}),
    Card("buff-card", "Buffing card", "polish", ("KIT", "FEN", "CEL"), {"bench scale": ("SC-3",)},
         ("wheel", ("WH-8",), "WH-9")),
    Card("booth-card", "Booth card", "lacquer", ("HUX", "KIT", "GIL"), tools=("nozzle", ("NZ-1",), "NZ-2"),
         batch="SR"),
    Card("film-card", "Film card", "lacquer", ("CEL", "DOV"), {"film gauge": ("FI-1", "FI-2")},
         source="lacquer", lag=1),
)  # fmt: skip


@dataclass(frozen=True)
class Figure:
    """What is measured: unit, target of each model (or one for all), sd, and what a seed may choose from."""

    id: str
    name: str
    unit: str
    card: str
    targets: tuple[float, ...]
    sd: float
    steps: tuple[float, ...]
    pools: tuple[str, ...]
    gauge: str = ""
    noises: tuple[str, ...] = ("normal", "lots", "t5", "correlated", "mixed")
    limits: str = "both"
    places: dict[str, tuple[str, ...]] = field(default_factory=dict)
    kind: str = "measured"
    heading: str = ""


SKEWED = ("skewed",)
FIGURES = (
    Figure("inner-leg", "Inner leg diameter", "mm", "draw-list", (12.32, 12.58, 13.24, 13.86, 14.19, 14.25),
           0.004, (0.001, 0.002, 0.005), ("family", "model"), "micrometer"),
    Figure("outer-leg", "Outer leg diameter", "mm", "draw-list", (13.05, 13.3, 14.02, 14.64, 14.98, 15.04),
           0.005, (0.001, 0.002, 0.005), ("family",), "micrometer"),
    Figure("run-out", "Wall run-out", "um", "blank-list", (14.0,), 5.5, (1, 2, 5), ("all", "family"),
           "wall dial", SKEWED, "upper"),
    Figure("blank", "Blank length", "mm", "blank-list", (561, 564, 688, 690, 704, 712), 0.45, (0.5,),
           ("family",), "rule"),
    Figure("throat", "Wall at the throat", "mm", "spin-card", (0.46, 0.47, 0.49, 0.5, 0.53, 0.54), 0.009,
           (0.01,), ("family",), "ball calliper", places={"spot": ("1", "2", "3", "4")}),
    Figure("rim", "Rim diameter", "mm", "rim-card", (165, 172, 204, 216, 241, 248), 0.38, (0.1, 0.2, 0.5),
           ("model",), "long calliper"),
    Figure("weight", "Bell weight", "g", "rim-card", (262, 281, 348, 371, 442, 457), 4.2, (1, 2, 5),
           ("family", "model"), "bench scale"),
    Figure("seam", "Bell seam", "fault", "seam-card", (0.05,), 0, (1,), ("all",), noises=("passfail",),
           limits="", kind="pass-fail"),
    Figure("marks", "Hammer marks", "count", "seam-card", (2.6,), 0, (1,), ("all", "family"),
           noises=("counts",), limits="", kind="count"),
    Figure("clearance", "Slide clearance", "um", "fit-card", (138, 142, 148, 150, 158, 160), 9, (1, 2, 5),
           ("family",), "fit gauge", places={"leg": ("upper", "lower"), "station": ("mouth", "crook")},
           heading="Clearance [um on diameter]"),
    Figure("pull", "Running pull", "N", "pull-card", (1.3,), 0.38, (0.1, 0.2, 0.5), ("family", "all"),
           "spring balance", SKEWED, "upper"),
    Figure("legs", "Leg distance", "mm", "frame-card", (71.5, 74, 78.2, 80, 85.6, 86), 0.07,
           (0.02, 0.05, 0.1), ("model", "family"), "frame rod",
           places={"station": ("crook", "middle", "brace")}),
    Figure("braze", "Brazed joint", "fault", "braze-card", (0.07,), 0, (1,), ("all",), noises=("passfail",),
           limits="", kind="pass-fail"),
    Figure("pits", "Pits in the joints", "count", "braze-card", (1.7,), 0, (1,), ("family", "all"),
           noises=("counts",), limits="", kind="count"),
    Figure("leak", "Joint leak", "cm3/min", "leak-card", (1.7,), 0.75, (0.1, 0.2), ("family",), "decay rig",
           SKEWED, "upper"),
    Figure("end-play", "Rotor end play", "um", "rotor-card", (19.0,), 4, (1, 5), ("all", "model"), "dial"),
    Figure("rotor-fit", "Rotor clearance", "um", "rotor-card", (27.0,), 3, (1, 2), ("all",), "dial"),
    Figure("draw-out", "Tuning slide draw", "mm", "pitch-card", (9, 10, 12, 12, 14, 15), 2.1, (0.5, 1, 2),
           ("family",), "rule"),
    Figure("fifth", "Fifth partial", "cent", "pitch-card", (-14.0,), 3.6, (1, 5), ("all", "family"),
           "tuner"),
    Figure("buffed", "Brass buffed off", "g", "buff-card", (6, 6.5, 9, 9.5, 12, 12.5), 1.9, (0.1, 0.5, 2),
           ("family", "model"), "bench scale"),
    Figure("nibs", "Nibs in the film", "count", "booth-card", (3.4,), 0, (1,), ("all", "family"),
           noises=("counts",), limits="", kind="count"),
    Figure("thickness", "Film thickness", "um", "film-card", (15.5,), 1.7, (0.1, 0.5, 1), ("all", "family"),
           "film gauge", limits="lower", places={"area": ("flare", "stem", "slide"), "spot": ("1", "2")},
           heading="Thickness"),
)  # fmt: skip


def card_of(figure: Figure) -> Card:
    """Give the card on which a figure stands."""
    return next(card for card in CARDS if card.id == figure.card)


def model_of(name: str) -> Model:
    """Give the model of that id."""
    return next(model for model in MODELS if model.id == name)


def target_of(figure: Figure, model: str) -> float:
    """Give the target of a figure on a model, in its unit."""
    place = [each.id for each in MODELS].index(model)
    return float(figure.targets[place if len(figure.targets) > 1 else 0])
