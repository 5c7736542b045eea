"""Make the record of the third stranger's workshop: forty pieces over four months, one folder a hand-in day.

    python tests/strangers/third/make_record.py

Everything is invented: true figures are drawn at random, with lots and scatter of the size that planning
values of the trade suggest, and written in the plainest layout of the sheets' page.
"""

from __future__ import annotations

import random
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path

HERE = Path(__file__).parent
FIRST = date(2026, 5, 11)
LAST = date(2026, 8, 28)
Row = dict[str, str]

# The order in which models are laid down; serials of each model count on by themselves.
ORDER = "RARHRARRHA" * 4
MODELS = {"R": "rowan", "A": "alder", "H": "hazel"}
SERIALS = {"R": ("RO-", 411), "A": ("AD-", 127), "H": ("HZ-", 58)}
# Work days from the first card of a piece to each further card.
AFTER = {
    "pipe": 0,
    "bell": 4,
    "rotor": 8,
    "fit": 12,
    "glide": 15,
    "joint": 19,
    "blow": 23,
    "coat": 27,
    "look": 28,
    "out": 32,
}
TITLES = {
    "pipe": "Leadpipe card",
    "bell": "Bell card",
    "rotor": "Rotor card",
    "fit": "Slide fitting card",
    "glide": "Glide card",
    "joint": "Joint card",
    "blow": "Blowing card",
    "coat": "Coat card",
    "look": "Finish card",
    "out": "Dispatch list",
}
COLUMNS = {
    "pipe": ["Station", "Pipe bore [mm]", "Pipe length [mm]"],
    "bell": ["Spot", "Stem wall [mm]", "Flare width [mm]", "Tap tone [Hz]"],
    "rotor": ["End float [um]", "Throw [deg]"],
    "fit": ["Leg", "Station", "Surface", "Inner OD", "Outer bore"],
    "glide": ["Breakaway force [N]", "Running force [N]"],
    "joint": ["Area", "Leak [cm3/min]", "Solder joint"],
    "blow": ["Partial", "Position", "Valve", "Cents"],
    "coat": ["Area", "Spot", "Thickness [um]"],
    "look": ["Area", "Gloss [GU]", "Dust nibs"],
    "out": ["Shipped"],
}
BENCH = {
    "pipe": ["KO"],
    "bell": ["BT", "KO"],
    "rotor": ["VR"],
    "fit": ["VR"],
    "glide": ["VR"],
    "joint": ["BT"],
} | {
    "blow": ["NE", "SW"],
    "coat": ["KO"],
    "look": ["KO", "NE"],
    "out": ["SW"],
}
TARGETS: dict[str, dict[str, float]] = {
    "rowan": {"entry": 12.4, "throat": 11.6, "end": 13.0, "long": 238, "wall": 0.5, "width": 214, "tap": 436}
    | {"outer": 14.05, "inner": 13.9},
    "alder": {"entry": 12.9, "throat": 12.2, "end": 13.6, "long": 245, "wall": 0.56, "width": 241, "tap": 388}
    | {"outer": 14.72, "inner": 14.57},
    "hazel": {"entry": 11.7, "throat": 10.9, "end": 12.3, "long": 212, "wall": 0.42, "width": 165, "tap": 512}
    | {"outer": 12.75, "inner": 12.6},
}
PARTIALS = {2: 0, 3: 2, 4: 0, 5: -14, 6: 2, 8: 0}
BLOWN = [(2, 1, ""), (3, 1, ""), (4, 1, ""), (5, 1, ""), (6, 1, ""), (8, 1, ""), (3, 4, ""), (4, 4, "")]
BLOWN_F = [(3, 1, "F"), (4, 1, "F"), (6, 1, "F")]
LEGS = [(leg, station) for leg in ("upper", "lower") for station in ("mouth", "middle", "crook")]


@dataclass
class Piece:
    """One instrument: its place in the order of making, its serial, model and the days of its cards."""

    number: int
    serial: str
    model: str
    days: dict[str, date] = field(default_factory=dict)


def workday(start: date, count: int) -> date:
    """Return the day that lies so many work days after the start."""
    day = start
    while count or day.weekday() > 4:
        day += timedelta(days=1)
        count -= day.weekday() < 5 and count > 0
    return day


def pieces(extra: int = 6) -> list[Piece]:
    """Return the forty pieces on record and the next few that will be laid down."""
    seen = {letter: start for letter, (_, start) in SERIALS.items()}
    draw = random.Random(41)
    found = []
    for number, letter in enumerate((ORDER + ORDER)[: 40 + extra]):
        serial = f"{SERIALS[letter][0]}{seen[letter]:03d}"
        seen[letter] += 1
        piece = Piece(number, serial, MODELS[letter])
        start = workday(FIRST, 2 * number) if number < 40 else date(2026, 8, 31)
        for card, after in AFTER.items():
            if card != "rotor" or letter != "H":
                piece.days[card] = workday(start, after + draw.choice([0, 0, 0, 1]) * (card != "pipe"))
        found.append(piece)
    return found


def rows_of(piece: Piece, card: str, again: int = 0) -> list[Row]:
    """Return the true rows of one card of a piece, the same each time they are asked for."""
    draw = random.Random(f"{piece.serial} {card} {again or ''}".strip())
    lot = random.Random(f"lot {card} {piece.number // 7}").gauss(0, 1)
    aim = TARGETS[piece.model]
    columns = COLUMNS[card]
    cells: list[list[str]] = []
    if card == "pipe":
        whole = 0.008 * lot + draw.gauss(0, 0.008)
        cells = [
            [at, f"{aim[at] + whole + draw.gauss(0, 0.006):.2f}", ""] for at in ("entry", "throat", "end")
        ]
        cells.append(["", "", f"{aim['long'] + 0.05 * lot + draw.gauss(0, 0.12):.1f}"])
    elif card == "bell":
        whole = 0.006 * lot + draw.gauss(0, 0.005)
        cells = [
            [str(spot), f"{aim['wall'] + whole + draw.gauss(0, 0.006):.3f}", "", ""] for spot in range(1, 5)
        ]
        width, tap = draw.gauss(aim["width"], 0.2), aim["tap"] + 400 * whole + draw.gauss(0, 3)
        cells.append(["", "", f"{width:.1f}", f"{tap:.0f}"])
    elif card == "rotor":
        cells = [[f"{22 + 1.5 * lot + draw.gauss(0, 3):.0f}", f"{72 + 0.2 * lot + draw.gauss(0, 0.6):.1f}"]]
    elif card == "fit":
        inner, outer = draw.gauss(0.003 * lot, 0.004), draw.gauss(0.003 * lot, 0.005)
        for leg, station in LEGS:
            od = f"{aim['inner'] + inner + draw.gauss(0, 0.003):.3f}"
            cells.append([leg, station, "stocking", od, f"{aim['outer'] + outer + draw.gauss(0, 0.003):.3f}"])
    elif card == "glide":
        run = 1.2 + 0.05 * lot + draw.gauss(0, 0.12)
        cells = [[f"{1.4 + run + draw.gauss(0, 0.2):.1f}", f"{run:.1f}"]]
    elif card == "joint":
        cells = [[at, "", "ok" if draw.random() > 0.02 else "pit"] for at in ("neck", "brace", "crook")]
        cells.append(["", f"{draw.lognormvariate(0.6 + 0.1 * lot, 0.35):.1f}", ""])
    elif card == "blow":
        long, wrap = draw.gauss(2, 5), draw.gauss(3, 8)
        for partial, position, valve in BLOWN + BLOWN_F * (piece.model != "hazel"):
            off = -0.5 * long - 0.44 * wrap * bool(valve) + PARTIALS[partial] + draw.gauss(0, 3)
            cells.append([str(partial), str(position), valve, f"{off:.0f}".replace("-0", "0")])
    elif card == "coat":
        whole = 14.6 + 0.5 * lot + draw.gauss(0, 0.7)
        shift = {"flare": 0.8, "stem": 0.0, "bow": -0.6}
        for at, more in shift.items():
            cells += [[at, str(spot), f"{whole + more + draw.gauss(0, 0.6):.1f}"] for spot in (1, 2, 3)]
    elif card == "look":
        whole = 84 + 0.8 * lot + draw.gauss(0, 1.2)
        cells = [[at, f"{whole + draw.gauss(0, 1):.0f}", ""] for at in ("flare", "stem", "bow")]
        cells.append(["", "", str(sum(draw.random() < 0.1 for _ in range(28)))])
    elif card == "out":
        cells = [[piece.days[card].strftime("%d.%m.%Y")]]
    head = {"Serial": piece.serial, "Model": piece.model, "Person": draw.choice(BENCH[card])}
    head |= {"Date": piece.days[card].strftime("%d.%m.%Y")} if card != "out" else {}
    return [head | dict(zip(columns, cell, strict=True)) for cell in cells]


def card_text(card: str, rows: Iterable[Row]) -> str:
    """Return one sheet: the card's name, a blank line and a table."""
    rows = list(rows)
    names = list(rows[0])
    lines = [f"Card;{TITLES[card]}", "", ";".join(names)]
    return "\n".join([*lines, *(";".join(row[name] for name in names) for row in rows)]) + "\n"


def main() -> None:
    """Write the record, each card on the first Friday on or after its day."""
    sheets: dict[tuple[date, str], list[Row]] = defaultdict(list)
    for piece in pieces(0):
        for card, day in piece.days.items():
            if day <= LAST:
                handed_in = day + timedelta(days=(4 - day.weekday()) % 7)
                sheets[handed_in, card] += rows_of(piece, card)
    for (day, card), rows in sheets.items():
        folder = HERE / "mishaps" / "history" / day.isoformat()
        folder.mkdir(parents=True, exist_ok=True)
        (folder / f"{card}.csv").write_text(card_text(card, rows), "utf-8")


if __name__ == "__main__":
    main()
