"""The rack: inner tubes that wait for a slide and spare outers of the last weeks, measured to be paired."""

from __future__ import annotations

from datetime import timedelta

from sample_measurements.make import scenario
from sample_measurements.make.flow import Flow
from sample_measurements.make.noise import Noise
from sample_measurements.make.sheets import Habit, Sheet, Tab, figure
from sample_measurements.make.slide import DIRECTIONS, STATIONS

HEAD = [("Card", "Slide card"), ("Micrometer", "MIC-2"), ("Bore gauge", "BG-2"), ("Room C", "20.9")]
HEADER = [
    "Date",
    "Tube",
    "Model",
    "Person",
    "Leg",
    "Station",
    "Direction",
    "Surface",
    "Inner OD [mm]",
    "Outer bore [mm]",
]
LEG = "upper"
"""The rack holds tubes for upper legs: the lower ones go into slides as they are drawn (invented)."""

BENCH = Habit(separator=";", dotted=True)


def rack_cards(flow: Flow, bores: dict[str, float], seed: int) -> list[Sheet]:
    """Return the card of the loose tubes, each with one side only and under its own serial."""
    noise = Noise(seed, "rack")
    day = max(day for day in flow.days if day <= scenario.LAST_DAY - timedelta(days=scenario.RACK_DAYS_AGO))
    tab = Tab("", list(HEAD), HEADER)
    person = noise.pick(scenario.CREW["slide"])

    def add(serial: str, model: str, mean: float, *, inner: bool) -> None:
        for station in STATIONS:
            for direction in DIRECTIONS:
                form = 0.0 if inner else scenario.BORE_STATION_MM[station]
                read = figure(mean + form + noise.normal(scenario.SLIDE_READING_SD_MM), 3)
                cells = (read, "") if inner else ("", read)
                surface = "stocking" if inner else ""
                tab.add(
                    serial, day.isoformat(), serial, model, person, LEG, station, direction, surface, *cells
                )

    number = scenario.FIRST_LOOSE_INNER
    for model, count in scenario.LOOSE_INNERS.items():
        stocking = scenario.TUBE_SIZES[model][1] - scenario.STOCKING_GAP_MM
        for _ in range(count):
            add(f"I-{number:04d}", model, stocking + noise.normal(scenario.STOCKING_PIECE_SD_MM), inner=True)
            number += 1
    for tube in flow.tubes:
        if (
            tube.spare
            and tube.model in scenario.LOOSE_INNERS
            and tube.day >= day - timedelta(days=scenario.RACK_SPARES_DAYS)
        ):
            add(tube.serial, tube.model, bores[tube.serial], inner=False)
    return [Sheet(f"slide/rack-card_{day}.csv", [tab], BENCH)]
