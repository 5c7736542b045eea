"""The test room: tuning cards as csv, about 24 notes an instrument, a handful of instruments a sheet.

A note sounds through a column: the model's length at that position, the valve's added length, and what this
instrument has too much or too little of each. The deviation is 1200 log2 of nominal over real column, plus
the natural deviation of the partial, the partial's own residual, room temperature, tester and chance.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from qc.plan import Model, Plan
from sample_measurements.make import scenario
from sample_measurements.make.flow import Flow, Piece, batch_name
from sample_measurements.make.groups import by_handful
from sample_measurements.make.noise import Noise
from sample_measurements.make.sheets import Habit, Sheet, Tab, figure

PARTIALS = (2, 3, 4, 5, 6, 8)
OPEN_NOTES = tuple((1, n) for n in PARTIALS) + tuple(
    (position, n)
    for position, partials in ((3, (3, 4, 5, 6)), (4, (3, 4, 5, 6)), (6, (3, 4, 5)))
    for n in partials
)
MORE_OPEN = ((2, 2), (2, 3), (2, 4), (2, 5), (2, 6))  # instruments without a valve
VALVE_NOTES = {"F": (2, 3, 4, 5, 6, 8), "F+D": (3, 4, 6)}
HEADER = ["Date", "Serial", "Model", "Batch", "Room C", "Partial", "Position", "Valve", "Cents"]
PIECES_A_SHEET = 5
COMMA_DESK = Habit(separator=";", encoding="latin-1", comma=True, dotted=True)
DESKS = {"MA": Habit(), "TW": COMMA_DESK, "RO": Habit(encoding="utf-8-sig")}
NOTES = {"MA": "", "TW": "Stimmzug auf Marke, Gerät warm geblasen, kräftige Höhe", "RO": ""}
ZERO_C = 273.15


@dataclass(frozen=True, slots=True)
class Voice:
    """What is off on one instrument: lengths [mm], partials [cent], position marks [mm of slide]."""

    main: float
    wraps: dict[str, float]
    partials: dict[int, float]
    marks: dict[int, float]


def tuning_cards(flow: Flow, plan: Plan, seed: int) -> list[Sheet]:
    """Return the tuning cards."""
    noise = Noise(seed, "tuning")
    sheets = []
    for pieces in by_handful(flow.at("tuning"), lambda piece: piece.days["tuning"], PIECES_A_SHEET):
        last = pieces[-1].days["tuning"]
        crew = [code for code in scenario.CREW["tuning"] if code != "RO" or last > scenario.RO_JOINED]
        tester = noise.pick(crew)
        head = [
            ("Card", "Tuning card"),
            ("Tester", tester),
            ("Gauge", "TU-2" if tester == "TW" else "TU-1"),
            ("A4 Hz", figure(plan.workshop.a4_hz, 0)),
            ("Method", "gauge-block"),
        ]
        if NOTES[tester]:
            head.append(("Note", NOTES[tester]))
        tab = Tab("", head, HEADER)
        for piece in pieces:
            _sitting(tab, piece, plan, tester, noise)
        sheets.append(Sheet(f"tuning/tuning_{last.isoformat()}_{tester}.csv", [tab], DESKS[tester]))
    return sheets


def natural_cents(partial: int) -> float:
    """Return how far a partial lies from the nearest tempered note [cent].

    Examples
    --------
    >>> round(natural_cents(5), 2), round(natural_cents(3), 2), natural_cents(8)
    (-13.69, 1.96, 0.0)
    """
    exact = 12.0 * math.log2(partial)
    return 100.0 * (exact - round(exact))


def length_cents(model: Model, voice: Voice, position: int, valve: str) -> float:
    """Return what the lengths alone do to a note: 1200 log2 of nominal over real column [cent]."""
    down = valve.split("+") if valve != "open" else []
    nominal = model.length_mm * 2.0 ** ((position - 1) / 12.0)
    nominal += sum(part.added_mm for part in model.valves if part.name in down)
    real = nominal + voice.main + 2.0 * voice.marks.get(position, 0.0)
    real += sum(voice.wraps[name] for name in down)
    return 1200.0 * math.log2(nominal / real)


def _sitting(tab: Tab, piece: Piece, plan: Plan, tester: str, noise: Noise) -> None:
    model = plan.model(piece.model)
    assert model is not None  # the models of the flow are those of the plan
    voice = _voice(piece, model, noise)
    air_c = round(21.0 + noise.normal(1.4), 1)
    reference = plan.workshop.reference_temperature_c
    # half of 1200: the speed of sound goes with the root of the absolute temperature
    common = 600.0 * math.log2((air_c + ZERO_C) / (reference + ZERO_C))
    common += scenario.TESTER_CENTS[tester] + noise.normal(scenario.SITTING_SD_CENTS)
    for valve, position, partial in _notes(model):
        cents = length_cents(model, voice, position, valve) + natural_cents(partial) + voice.partials[partial]
        cents += common + noise.normal(scenario.NOTE_SD_CENTS)
        day = piece.days["tuning"].isoformat()
        cells = (
            day,
            piece.serial,
            piece.model,
            piece.leadpipe_batch,
            figure(air_c, 1),
            str(partial),
            str(position),
        )
        tab.add(piece.serial, *cells, "" if valve == "open" else valve, figure(cents, 0))


def _voice(piece: Piece, model: Model, noise: Noise) -> Voice:
    wraps = {valve.name: noise.normal(scenario.WRAP_SD_MM) for valve in model.valves}
    if piece.mandrel == scenario.NEW_MANDREL:
        wraps["F"] += scenario.MANDREL_MM
    partials = {partial: noise.normal(scenario.PARTIAL_SD_CENTS) for partial in PARTIALS}
    if piece.leadpipe_batch == batch_name(scenario.LEADPIPE_NEWEST):
        partials[5] += scenario.LEADPIPE_CENTS
    marks = {position: noise.normal(scenario.MARK_SD_MM) for position in range(2, model.positions + 1)}
    return Voice(noise.normal(scenario.MAIN_SD_SHARE * model.length_mm), wraps, partials, marks)


def _notes(model: Model) -> list[tuple[str, int, int]]:
    notes = [("open", position, partial) for position, partial in OPEN_NOTES]
    if not model.valves:
        notes += [("open", position, partial) for position, partial in MORE_OPEN]
    names = [valve.name for valve in model.valves]
    states = [state for state in VALVE_NOTES if set(state.split("+")) <= set(names)]
    return notes + [(state, 1, partial) for state in states for partial in VALVE_NOTES[state]]
