"""The draw bench: a drawing log a fortnight, one line a tube."""

from __future__ import annotations

import math

from sample_measurements.make import scenario
from sample_measurements.make.flow import Flow, Tube
from sample_measurements.make.groups import by_fortnight
from sample_measurements.make.noise import Noise
from sample_measurements.make.sheets import Habit, Sheet, Tab, figure

HEADER = [
    "Date",
    "Tube",
    "Model",
    "Die",
    "Draws",
    "Batch",
    "Tube OD [mm]",
    "Tube bore [mm]",
    "Tube length [mm]",
    "Person",
]
HEAD = [("Card", "Drawing log"), ("Micrometer", "MIC-1"), ("Bore gauge", "BG-2"), ("Rule", "RU-1")]
BENCH = Habit(separator=";", encoding="utf-8-sig", dotted=True)


def tube_bores(flow: Flow, seed: int) -> dict[str, float]:
    """Return the true bore of every tube, also of those still to come [mm]."""
    noise = Noise(seed, "bore")
    own = {tube.serial: tube for piece in flow.pieces for tube in piece.tubes}
    own.update({tube.serial: tube for tube in flow.tubes})
    return {
        serial: scenario.TUBE_SIZES[own[serial].model][1] + noise.normal(scenario.BORE_SD_MM)
        for serial in sorted(own)
    }


def drawing_logs(flow: Flow, bores: dict[str, float], seed: int) -> list[Sheet]:
    """Return the drawing logs."""
    noise = Noise(seed, "draw")
    sheets = []
    for day, tubes in by_fortnight(flow.tubes, lambda tube: tube.day):
        tab = Tab("", list(HEAD), HEADER)
        for tube in tubes:
            tab.add(tube.serial, *_line(tube, bores[tube.serial], noise))
        sheets.append(Sheet(f"draw/drawing-log_{day}.csv", [tab], BENCH))
    return sheets


def outside_mm(tube: Tube) -> float:
    """Return the mean outside diameter the die gives at this draw, wear included [mm]."""
    _, _, offset, growth = next(die for die in scenario.DIES[tube.model] if die[0] == tube.die)
    return scenario.TUBE_SIZES[tube.model][0] + offset + growth * tube.draws + off_its_line_mm(tube)


def off_its_line_mm(tube: Tube) -> float:
    """Return how far the die is above the line it wore along while its chrome lasted [mm]."""
    if tube.die != scenario.WEARING_DIE:
        return 0.0
    return scenario.BARE_STEEL_MM * max(0, tube.draws - scenario.WORN_THROUGH_DRAW)


def _line(tube: Tube, bore: float, noise: Noise) -> list[str]:
    outside = outside_mm(tube) + noise.normal(scenario.OD_SD_MM)
    blank_od, blank_bore = scenario.TUBE_SIZES[tube.model][2:]
    # Volume is kept in the draw; hand readings and the cut-off end blur it a little.
    length = scenario.BLANK_MM * (blank_od**2 - blank_bore**2) / (outside**2 - bore**2)
    length *= math.exp(noise.normal(scenario.LENGTH_SPREAD))
    person = noise.pick(scenario.CREW["draw"])
    return [
        tube.day.isoformat(),
        tube.serial,
        tube.model,
        tube.die,
        str(tube.draws),
        f"AN-{tube.day.year % 100:02d}{tube.day.month:02d}",
        figure(outside, 3),
        figure(bore + noise.normal(0.0005), 3, short=person == "EL"),
        figure(length, 0),
        person,
    ]
