"""How often a suspect is right, and how often an innocent one is named: series drawn with a known cause.

    python tests/simulation/suspect_rates.py [--draws 300] [--seed 1101] [--step 0]

Every series is judged whole, by the same detector and at a usual rate, and carries what goes on in any shop:
two to four people who take turns by the day or in blocks, a gauge changed about twice a year or two in use
side by side, batches of four to eight, a tool fitted about every month, and at an earlier stage people, a
batch and a tool as well. In one class a shift comes with none of them ("just raised": the same, asked on the
day it was raised); in the others it is that of a person, a gauge, a batch or a tool.

The set of the start informs where it holds eight pieces at most and the true start, give or take two; where
it was a person or a gauge, at least three pieces of others were made within the change, or the person was
new: else nothing tells their pieces from all pieces. With `--step` figures are read in steps of so many
standard deviations, so that many lie on one reading.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import date, timedelta

import numpy as np

from qc.plan import Characteristic, Model, Plan, Shop, Stage
from qc.watch import Factor, FactorLevels, Point, Points, Question, SignalResult, judge

SEED = 1101
RATE = 0.004
A_DAY = 2.0
"""Pieces a working day: about forty a month."""

INFORMATIVE = 8
OTHERS = 3
"""What makes the set of a start inform: see above."""

CLASSES = ("nothing", "just raised", "person", "gauge", "batch", "tool")

PLAN = Plan(
    workshop=Shop(name="Heron Row Brassworks"),
    models=(Model(id="tenor", name="Tenor", family="tenor", pedal_midi=34, length_mm=2944.9),),
    stages=(
        Stage(
            id="form", name="Forming", characteristics=(Characteristic(id="wall", name="Wall", unit="mm"),)
        ),
        Stage(id="fit", name="Fitting", characteristics=(Characteristic(id="gap", name="Gap", unit="um"),)),
    ),
)

Rng = np.random.Generator


@dataclass
class Drawn:
    """A series before it is judged: words on the cards, and what happens to which pieces."""

    person: list[str]
    gauge: list[str]
    batch: list[str]
    tool: list[str]
    elsewhere: dict[Factor, list[str]]
    values: np.ndarray
    days: list[date] = field(default_factory=list)
    start: int = 0
    kind: str = ""
    name: str = ""

    def until(self, pieces: int) -> Drawn:
        """Return the series as it was when so many pieces had been made."""
        words = {name: getattr(self, name)[:pieces] for name in ("person", "gauge", "batch", "tool", "days")}
        elsewhere = {factor: own[:pieces] for factor, own in self.elsewhere.items()}
        return replace(self, **words, elsewhere=elsewhere, values=self.values[:pieces])

    def judged(self) -> SignalResult | None:
        """Return the signal that tells of the change, None where nothing does."""
        points = tuple(
            Point(
                ordinal=n + 1,
                serial=f"HR-{n + 1:03d}",
                day=self.days[n],
                model="tenor",
                value=float(value),
                measured=float(value),
                person=self.person[n],
                gauge=self.gauge[n],
                tool=self.tool[n],
                batch=self.batch[n],
            )
            for n, value in enumerate(self.values)
        )
        levels = {
            f: {p.serial: w for p, w in zip(points, own, strict=True)} for f, own in self.elsewhere.items()
        }
        stage = PLAN.stages[1]
        question = Question(PLAN, stage, stage.characteristics[0], "tenor", RATE, self.days[-1])
        factors = FactorLevels(levels, dict.fromkeys(levels, 0))
        signals = judge(question, Points(points, centered=False), factors).signals
        near = [s for s in signals if s.kind != "single" and abs(s.start - 1 - self.start) <= 15]
        return min(near, key=lambda s: abs(s.start - 1 - self.start), default=None)


def in_turns(people: list[str], days: list[date], rng: Rng) -> list[str]:
    """Return who is at the bench, anew every day."""
    of_day = {day: str(rng.choice(people)) for day in days}
    return [of_day[day] for day in days]


def in_runs(word: Callable[[int], str], n: int, least: int, most: int, rng: Rng) -> list[str]:
    """Return words that hold for so many pieces each, the first run cut short."""
    found: list[str] = []
    run = 0
    while len(found) < n + most:
        found += [word(run)] * int(rng.integers(least, most + 1))
        run += 1
    cut = int(rng.integers(0, most))
    return found[cut : cut + n]


def at_bench(names: str, days: list[date], rng: Rng) -> list[str]:
    """Return the people of one card: two to four, by the day or in blocks of ten to thirty pieces."""
    people = [f"{names}{n}" for n in range(int(rng.integers(2, 5)))]
    if rng.random() < 0.5:
        return in_turns(people, days, rng)
    return in_runs(lambda run: people[(run * 7 + len(people)) % len(people)], len(days), 10, 30, rng)


def quiet(rng: Rng) -> Drawn:
    """Draw a series in which nothing happens but ordinary comings and goings."""
    start = int(rng.integers(50, 110))
    n = start + int(rng.integers(15, 60))
    days = [date(2026, 1, 5) + timedelta(days=int(i / A_DAY / 5) * 7 + int(i / A_DAY) % 5) for i in range(n)]
    if rng.random() < 0.5:
        gauges = in_runs("G{}".format, n, 60, 180, rng)
    else:
        gauges = in_turns(["G0", "G1"], days, rng)
    return Drawn(
        person=at_bench("P", days, rng),
        gauge=gauges,
        batch=in_runs("B{}".format, n, 4, 8, rng),
        tool=in_runs("T{}".format, n, 25, 55, rng),
        elsewhere={
            Factor("person", "form", "form", ("wall",)): at_bench("Q", days, rng),
            Factor("batch", "form", "form", ("wall",)): in_runs("S{}".format, n, 8, 20, rng),
            Factor("tool", "form", "form", ("wall",)): in_runs("D{}".format, n, 40, 80, rng),
        },
        values=rng.standard_normal(n),
        days=days,
        start=start,
    )


def shifted(kind: str, rng: Rng, step: float = 0.0) -> Drawn:
    """Draw a series with a shift of one cause; of none, for `kind` nothing; read in steps, if any."""
    while True:
        drawn = quiet(rng)
        n, start = len(drawn.values), drawn.start
        after = np.arange(n) >= start
        if kind == "nothing":
            low, high, mask = 1.0, 1.75, after
        else:
            words = np.array(getattr(drawn, kind))
            least = 5 if kind == "batch" else 8
            names = [w for w in dict.fromkeys(words[start:]) if (words[start:] == w).sum() >= least]
            if kind in {"batch", "tool"}:
                names = [w for w in names if w not in words[:start]]
            if not names or (kind in {"person", "gauge"} and len(set(words[start - 20 :])) < 2):
                continue
            drawn.name = str(rng.choice(names)) if kind in {"person", "gauge"} else names[0]
            mask = (words == drawn.name) & (after if kind in {"person", "gauge"} else True)
            low, high = {"batch": (1.5, 2.5)}.get(kind, (1.5, 2.0))
        if kind in {"nothing", "person", "gauge"} and rng.random() < 0.5:
            mask = mask & (np.arange(n) < start + int(rng.integers(25, 71)))
        if mask.sum() < 5:
            continue
        drawn.values = drawn.values + mask * rng.uniform(low, high) * rng.choice([-1, 1])
        if step:
            drawn.values = np.round(drawn.values / step) * step
        drawn.kind, drawn.start = kind, int(np.flatnonzero(mask)[0])
        return drawn


def informs(drawn: Drawn, signal: SignalResult) -> bool:
    """Say whether the set of the start, and who was there, can tell a cause from all others."""
    clear = signal.start_high - signal.start_low < INFORMATIVE
    clear &= signal.start_low - 3 <= drawn.start <= signal.start_high + 1
    if drawn.kind not in {"person", "gauge"}:
        return bool(clear)
    words = getattr(drawn, drawn.kind)
    end = len(words) if signal.ended is None else signal.ended - 1
    others = sum(word != drawn.name for word in words[drawn.start : end])
    return bool(clear) and (others >= OTHERS or drawn.name not in words[drawn.start - 20 : drawn.start])


def tried(kind: str, draws: int, seed: int, step: float = 0.0) -> dict[str, int]:
    """Count the draws of one class: told, with a suspect, with the right one; the same where it informs."""
    rng = np.random.default_rng([seed, CLASSES.index(kind)])
    names = (
        "drawn",
        "told",
        "named",
        "right",
        "begins right",
        "informs",
        "named there",
        "right there",
        "denied",
    )
    count = dict.fromkeys(names, 0)
    for _ in range(draws):
        drawn = shifted("nothing" if kind == "just raised" else kind, rng, step)
        signal = drawn.judged()
        if kind == "just raised" and signal is not None:
            drawn = drawn.until(signal.raised)
            signal = drawn.judged()
        count["drawn"] += 1
        if signal is None:
            continue
        first = signal.suspects[0] if signal.suspects else None
        right = first is not None and (first.kind, first.name) == (kind, drawn.name)
        clear = informs(drawn, signal)
        count["told"] += 1
        count["named"] += first is not None
        count["right"] += right
        count["begins right"] += right and signal.start - 1 == drawn.start
        count["informs"] += clear
        count["named there"] += clear and first is not None
        count["right there"] += clear and right
        words = getattr(drawn, kind, [])
        count["denied"] += kind in signal.unchanged and len(set(words[drawn.start - 20 : signal.raised])) > 1
    return count


def main() -> None:
    """Print one line for each class."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--draws", type=int, default=300)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--step", type=float, default=0.0)
    asked = parser.parse_args()
    for kind in CLASSES:
        print(kind, tried(kind, asked.draws, asked.seed, asked.step), flush=True)


if __name__ == "__main__":
    main()
