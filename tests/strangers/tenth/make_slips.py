"""Write the record, the slips and the odd but true cards of the tenth stranger.

    python tests/strangers/tenth/make_slips.py

A workshop is lived through from a seed: pieces begin one or two a day and pass a stage every few days,
with lots that differ, pieces that differ and readings with long tails. Cards until the cut are the
record; the card that a piece has next is drawn anew for each case and one slip is put on it. Which
slips somebody who knows the record could see is said by size: a figure six standard deviations of its
series from where it belongs can be seen, a smaller slip cannot.
"""

from __future__ import annotations

import shutil
from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import yaml

HERE = Path(__file__).parent
FIRST, CUT = date(2026, 6, 1), date(2026, 9, 25)
MODELS = ("amsel", "drossel", "drossel", "sperber", "sperber", "uhu")
ORDER = ("taper", "bell", "fit", "run", "rotor", "tune", "shine", "coat", "last", "out")
TITLE = {
    "taper": "Mouthpipe card",
    "bell": "Becherkarte",
    "fit": "Fit card",
    "run": "Slide run card",
    "rotor": "Ventilkarte",
    "tune": "Tuning card",
    "shine": "Shine card",
    "coat": "Lacquer card",
    "last": "Last card",
    "out": "Out list",
}
GERMAN = ("bell", "rotor", "coat")
HANDS = {"taper": "BO", "bell": "WS", "fit": "LU", "run": "LU", "rotor": "HK", "tune": "TI", "shine": "BO"}
VALVES = {"amsel": (), "drossel": (), "sperber": ("F",), "uhu": ("F", "D")}
PLACES = {"Leg", "Station", "Ventil", "Partial", "Position", "Valve", "Area", "Spot", "Water key"}
BY_MODEL = {
    "Venturi": dict(amsel=10.20, drossel=10.50, sperber=10.50, uhu=11.40),
    "Fill volume": dict(amsel=21.0, drossel=28.5, sperber=28.5, uhu=36.0),
    "Pipe mass": dict(amsel=38.0, drossel=52.0, sperber=52.0, uhu=66.0),
    "Klopfton": dict(amsel=412, drossel=344, sperber=344, uhu=288),
    "Kranzmass": dict(amsel=170.0, drossel=214.0, sperber=214.0, uhu=241.0),
    "Whole mass": dict(amsel=1010, drossel=1320, sperber=1760, uhu=2180),
}
SPREAD = {  # of the lot, the piece and the reading; digits behind the point
    "Venturi": (0.005, 0.010, 0.003, 2),
    "Fill volume": (0.05, 0.10, 0.04, 1),
    "Pipe mass": (0.4, 0.6, 0.1, 1),
    "Wand Kranz": (0.006, 0.010, 0.006, 2),
    "Wand Flanke": (0.006, 0.010, 0.006, 2),
    "Wand Hals": (0.006, 0.010, 0.006, 2),
    "Klopfton": (1.5, 3.0, 1.0, 0),
    "Kranzmass": (0.05, 0.15, 0.05, 1),
    "Inner OD": (0.002, 0.004, 0.003, 3),
    "Outer bore": (0.002, 0.005, 0.003, 3),
    "Slide drag": (0.05, 0.10, 0.03, 2),
    "Skew mouth": (4, 12, 6, -1),
    "Skew bow": (4, 12, 6, -1),
    "Drehmoment": (0.5, 1.5, 0.5, 1),
    "Axialspiel": (1.5, 4.0, 1.5, 0),
    "Leck": (0.2, 0.6, 0.3, 1),
    "Cents": (1.0, 2.0, 3.0, 0),
    "Gloss flare": (5, 10, 6, 0),
    "Gloss bow": (5, 10, 6, 0),
    "Gloss slide": (5, 10, 6, 0),
    "Ra flare": (0.004, 0.010, 0.006, 2),
    "Ra bow": (0.004, 0.010, 0.006, 2),
    "Ra slide": (0.004, 0.010, 0.006, 2),
    "Thickness": (0.6, 0.9, 0.8, 1),
    "Whole mass": (3, 7, 2, 0),
    "Key spring": (4, 8, 4, 0),
}
CENTRE = {
    "Wand Kranz": 0.52,
    "Wand Flanke": 0.42,
    "Wand Hals": 0.44,
    "Inner OD": 13.95,
    "Outer bore": 14.10,
    "Slide drag": 0.9,
    "Skew mouth": 70,
    "Skew bow": 70,
    "Drehmoment": 31.0,
    "Axialspiel": 36,
    "Leck": 4.0,
    "Gloss flare": 530,
    "Gloss bow": 512,
    "Gloss slide": 500,
    "Ra flare": 0.13,
    "Ra bow": 0.15,
    "Ra slide": 0.14,
    "Key spring": 240,
}
NATURAL = {2: 0, 3: 3, 4: 0, 5: -13, 6: 3, 8: 2}
COATED = {"bell": 18.5, "body": 17.5, "slide": 16.0}


@dataclass
class Piece:
    """A piece with the day of each card it has, and the lot it belongs to."""

    number: int
    model: str
    days: dict[str, date] = field(default_factory=dict)

    @property
    def serial(self) -> str:
        return f"F26-{self.number:04d}"

    def next_after(self, cut: date) -> str | None:
        """Return the first card after the cut."""
        return next((s for s in ORDER if s in self.days and self.days[s] > cut), None)


Row = dict[str, Any]


def worked(day: date, days: int) -> date:
    """Return the working day so many later."""
    while days or day.weekday() > 4:
        day += timedelta(1)
        days -= day.weekday() < 5 and days > 0
    return day


def pieces_of(rng: np.random.Generator) -> list[Piece]:
    """Begin one or two pieces a day until after the cut."""
    found, number, day = [], 101, FIRST
    while day < CUT + timedelta(14):
        for _ in range(int(rng.integers(1, 3))):
            piece = Piece(number, str(rng.choice(MODELS)))
            at = day
            for stage in ORDER:
                if stage == "rotor" and not VALVES[piece.model]:
                    continue
                piece.days[stage] = at
                at = worked(at, int(rng.integers(2, 4)))
            found.append(piece)
            number += 1
        day = worked(day, 1)
    return found


def centre(name: str, piece: Piece, row: Row) -> float:
    """Return where a figure belongs."""
    if name in BY_MODEL:
        return float(BY_MODEL[name][piece.model])
    if name == "Cents":
        return NATURAL[row["Partial"]] - (5 if row["Valve"] else 0)
    return COATED[row["Area"]] if name == "Thickness" else float(CENTRE[name])


def spread(name: str) -> float:
    """Return the standard deviation of a series over lots, pieces and readings."""
    return float(np.hypot(np.hypot(*SPREAD[name][:2]), SPREAD[name][2]))


def frames(stage: str, model: str) -> list[Row]:
    """Return the places of a card, a row each."""
    if stage == "fit":
        return [{"Leg": g, "Station": s} for g in ("upper", "lower") for s in ("mouth", "mid", "bow")]
    if stage == "rotor":
        return [{"Ventil": v} for v in VALVES[model]]
    if stage == "tune":
        notes = [(p, 1, "") for p in NATURAL] + [(p, 1, v) for v in VALVES[model][:1] for p in (2, 3, 4)]
        return [{"Partial": p, "Position": q, "Valve": v} for p, q, v in notes]
    if stage == "coat":
        return [{"Area": a, "Spot": s} for a in COATED for s in (1, 2, 3)]
    return [{}]


FIGURES = {
    "taper": ["Venturi", "Fill volume", "Pipe mass"],
    "bell": ["Wand Kranz", "Wand Flanke", "Wand Hals", "Klopfton", "Kranzmass"],
    "fit": ["Inner OD", "Outer bore"],
    "run": ["Slide drag", "Skew mouth", "Skew bow"],
    "rotor": ["Drehmoment", "Axialspiel", "Leck"],
    "tune": ["Cents"],
    "shine": ["Gloss flare", "Gloss bow", "Gloss slide", "Ra flare", "Ra bow", "Ra slide", "Scratches"],
    "coat": ["Thickness"],
    "last": ["Whole mass", "Water key", "Key spring"],
    "out": [],
}


def shown(value: float, digits: int, stage: str) -> str:
    """Write a figure as its bench does."""
    if digits < 0:
        return str(round(value / 10) * 10)
    text = f"{value:.{digits}f}"
    return text.replace(".", ",") if stage in GERMAN else text


def card(stage: str, piece: Piece, day: date, rng: np.random.Generator, lots: dict[Any, float]) -> list[Row]:
    """Draw the true card of a piece."""
    own: dict[str, float] = {}
    rows = []
    for frame in frames(stage, piece.model):
        row: Row = {"Date": day, "Serial": piece.serial, "Model": piece.model}
        row["Person"] = HANDS.get(stage, "HK")
        row |= frame
        for name in FIGURES[stage]:
            if name == "Scratches":
                row[name] = str(rng.poisson(1.3))
            elif name == "Water key":
                row[name] = "fault" if rng.random() < 0.04 else "ok"
            else:
                lot, between, within, digits = SPREAD[name]
                shift = lots.setdefault((name, piece.number // 14), rng.normal(0, lot))
                mine = own.setdefault(name, rng.standard_t(6) * between / 1.22)
                value = centre(name, piece, row) + shift + mine + rng.standard_t(6) * within / 1.22
                row[name] = shown(max(value, 0.05) if name != "Cents" else value, digits, stage)
        rows.append(row)
    return rows


def sheet(stage: str, rows: list[Row]) -> str:
    """Write a sheet: its title, a blank line, the headings in line 3, the rows from line 4."""
    if stage == "out":
        lines = ["Serial;Shipped", *(f"{r['Serial']};{dated(r['Date'])}" for r in rows)]
        return "\n".join(["Out list", "", *lines]) + "\n"
    names = [n for n in rows[0]]
    lines = [";".join(names)]
    lines += [";".join(dated(r[n]) if n == "Date" else str(r[n]) for n in names) for r in rows]
    return "\n".join([TITLE[stage], "", *lines]) + "\n"


def dated(day: Any) -> str:
    """Write a day as the benches do; what is text already stays."""
    return f"{day:%d.%m.%Y}" if isinstance(day, date) else str(day)


class Maker:
    """The workshop at the cut: its pieces, which cards come next, and what was drawn so far."""

    def __init__(self) -> None:
        self.rng = np.random.default_rng(20261201)
        self.lots: dict[Any, float] = {}
        self.pieces = pieces_of(self.rng)
        self.drawn: dict[tuple[str, str], list[Row]] = {}
        self.slips: list[dict[str, Any]] = []
        self.odd: list[dict[str, Any]] = []
        self.waiting: dict[str, list[Piece]] = defaultdict(list)
        for piece in self.pieces:
            stage = piece.next_after(CUT)
            if stage and (stage != "taper"):
                self.waiting[stage].append(piece)
            elif stage and len(self.waiting["taper"]) < 8:
                self.waiting["taper"].append(piece)

    def history(self) -> int:
        """Write the cards until the cut, a folder a day."""
        by: dict[tuple[date, str], list[Row]] = defaultdict(list)
        for piece in self.pieces:
            for stage, day in piece.days.items():
                if day <= CUT:
                    self.drawn[piece.serial, stage] = card(stage, piece, day, self.rng, self.lots)
                    by[day, stage] += self.drawn[piece.serial, stage]
        for (day, stage), rows in by.items():
            put(f"history/{day}/{stage}.csv", sheet(stage, rows))
        return sum(map(len, by.values()))

    def some(self, stage: str, count: int = 3, want: str = "") -> tuple[list[Piece], list[Row], date]:
        """Draw the next cards of a few pieces that wait, those of one model where wanted."""
        fit = [p for p in self.waiting[stage] if not want or p.model in want.split()]
        first = fit[int(self.rng.integers(len(fit)))]
        others = [p for p in self.waiting[stage] if p is not first]
        self.rng.shuffle(others)  # type: ignore[arg-type]
        chosen = sorted([first, *others[: count - 1]], key=lambda p: p.number)
        day = max(p.days[stage] for p in chosen)
        rows = [r for p in chosen for r in card(stage, p, day, self.rng, self.lots)]
        return [first, *(p for p in chosen if p is not first)], rows, day

    def plant(
        self,
        kind: str,
        stage: str,
        rows: list[Row],
        day: date,
        planted: list[tuple[list[Row], str, Any, Any]],
        seen: bool = True,
    ) -> None:
        """Write a case; what is planted stands in `rows` already, with what was meant and the right mend."""
        file = f"slips/{len(self.slips) + 1:03d}-{stage}.csv"
        put(file, sheet(stage, rows))
        at = {id(r): n for n, r in enumerate(rows, 4)}
        told = [
            {
                "lines": [at[id(r)] for r in hit],
                "column": column,
                "typed": dated(hit[0][column]),
                "meant": meant,
                "mend": mend,
            }
            for hit, column, meant, mend in planted
        ]
        as_of = max(day, CUT + timedelta(3))
        self.slips.append(dict(file=file, as_of=as_of, kind=kind, detectable=seen, planted=told))

    def true(self, why: str, stage: str, rows: list[Row], day: date) -> None:
        """Write an odd but true sheet."""
        file = f"odd/{len(self.odd) + 1:02d}-{stage}.csv"
        put(file, sheet(stage, rows))
        self.odd.append(dict(file=file, as_of=max(day, CUT + timedelta(3)), rows=len(rows), why=why))


def put(file: str, text: str) -> None:
    """Write a file of the mishaps."""
    path = HERE / "mishaps" / file
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, "utf-8")


def main() -> None:
    """Write record, cases and their truth."""
    from slip_kinds import odd_cards, slips

    shutil.rmtree(HERE / "mishaps", ignore_errors=True)
    maker = Maker()
    count = maker.history()
    slips(maker)
    odd_cards(maker)
    head = (HERE / "mishaps-head.txt").read_text("utf-8")
    body = yaml.safe_dump(dict(slips=maker.slips, odd=maker.odd), allow_unicode=True, sort_keys=False)
    (HERE / "mishaps.yaml").write_text(f"{head}\n{body}", "utf-8")
    clean = count + sum(one["rows"] for one in maker.odd)
    print(len(maker.slips), "slips,", len(maker.odd), "odd,", count, "rows on record,", clean, "clean")
    print({s: len(p) for s, p in maker.waiting.items()}, len(maker.pieces))


if __name__ == "__main__":
    main()
