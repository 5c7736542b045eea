"""Bell, joints and assembly: wall maps, leak tests, and which part went into which instrument."""

from __future__ import annotations

import math

from sample_measurements.make import scenario
from sample_measurements.make.flow import Flow, Piece
from sample_measurements.make.groups import by_month
from sample_measurements.make.noise import Noise
from sample_measurements.make.sheets import Habit, Sheet, Tab, figure

DIRECTIONS = ("0", "90", "180", "270")
BELL_BENCH = Habit()
JOINTS_BENCH = Habit(separator=";", encoding="latin-1", comma=True, dotted=True)
JOINTS_NOTES = ("", "", "", "", "", "nachgelötet, Fuge geschlossen", "Fläche überprüft")


def bell_maps(flow: Flow, seed: int) -> list[Sheet]:
    """Return a wall map of every second bell, a sheet a month."""
    noise = Noise(seed, "bell")
    measured = [piece for piece in flow.at("bell") if piece.index % 2 == 0]
    sheets = []
    for month, pieces in by_month(measured, lambda piece: piece.days["bell"]):
        head = [("Card", "Bell wall map"), ("Gauge", "BM-1")]
        tab = Tab("", head, ["Date", "Serial", "Model", "Person", "Station", "Direction", "Bell wall [mm]"])
        for piece in pieces:
            _wall(tab, piece, noise)
        sheets.append(Sheet(f"bell/bell-map_{month}.csv", [tab], BELL_BENCH))
    return sheets


def _wall(tab: Tab, piece: Piece, noise: Noise) -> None:
    person = noise.pick(scenario.CREW["bell"])
    mean = scenario.WALL_MM[piece.model] + noise.normal(scenario.WALL_PIECE_SD_MM)
    for station, form in enumerate(scenario.WALL_STATION_MM, start=1):
        for direction in DIRECTIONS:
            round_it = 0.004 * math.cos(math.radians(float(direction)))
            value = mean + form + round_it + noise.normal(scenario.WALL_READING_SD_MM)
            day = piece.days["bell"].isoformat()
            cells = (day, piece.serial, piece.model, person, str(station), direction)
            tab.add(piece.serial, *cells, figure(value, 2, short=person == "EL"))


def joints_cards(flow: Flow, seed: int) -> list[Sheet]:
    """Return the joints cards, a sheet a month: leak of the body, and whether the lamp found a fault."""
    noise = Noise(seed, "joints")
    header = ["Date", "Serial", "Model", "Person", "Joint leak [cm3/min]", "Joint faults", "Note"]
    sheets = []
    for month, pieces in by_month(flow.at("joints"), lambda piece: piece.days["joints"]):
        tab = Tab("", [("Card", "Joints card"), ("Gauge", "LR-1")], header)
        for piece in pieces:
            leak = scenario.LEAK_MEDIAN * noise.ratio(scenario.LEAK_SPREAD)
            fault = noise.chance(scenario.JOINT_FAULT_SHARE)
            tab.add(
                piece.serial,
                piece.days["joints"].isoformat(),
                piece.serial,
                piece.model,
                noise.pick(scenario.CREW["joints"]),
                figure(leak, 1),
                "1" if fault else "0",
                noise.pick(JOINTS_NOTES) if not fault else "Spalt am Stützbogen",
            )
        sheets.append(Sheet(f"joints/joints_{month}.csv", [tab], JOINTS_BENCH))
    return sheets


def assembly_cards(flow: Flow, seed: int) -> list[Sheet]:
    """Return the assembly cards, a sheet a month: a line for each part of each instrument."""
    noise = Noise(seed, "assembly")
    sheets = []
    for month, pieces in by_month(flow.at("slide"), lambda piece: piece.days["slide"]):
        tab = Tab(
            "", [("Card", "Assembly card")], ["Date", "Serial", "Model", "Part", "Role", "Batch", "Person"]
        )
        for piece in pieces:
            person = noise.pick(scenario.CREW["joints"])
            for part, role, batch in _parts(piece):
                day = piece.days["slide"].isoformat()
                tab.add(piece.serial, day, piece.serial, piece.model, part, role, batch, person)
        sheets.append(Sheet(f"assembly/assembly_{month}.csv", [tab]))
    return sheets


def _parts(piece: Piece) -> list[tuple[str, str, str]]:
    number = piece.serial[3:]
    parts = [
        (f"B-{number}", "bell", f"SH-{piece.index // 40 + 1:02d}"),
        (piece.tubes[0].serial, "outer-upper", ""),
        (piece.tubes[1].serial, "outer-lower", ""),
        (f"{piece.leadpipe_batch}-{number}", "leadpipe", piece.leadpipe_batch),
    ]
    parts += [(f"V-{number}{valve}", "valve", "") for valve in scenario.VALVES.get(piece.model, ())]
    return parts
