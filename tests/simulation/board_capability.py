"""How often the board's interval of Ppk holds the truth, and how often `proven` is reached or false.

Workshops of twenty sister series that scatter alike; what is learned is learned from them and from the series
itself, as the board does. The truth of a figure that is not normal is a third of the normal score of its
share outside. Run by hand, for instance

    python tests/simulation/board_capability.py --workshops 15 --seed 1
    python tests/simulation/board_capability.py --workshops 15 --seed 2 --lone --kinds normal t5
    python tests/simulation/board_capability.py --workshops 4 --seed 3 --unlike 15 --sides both

The tables stand in docs/reference/capability.md.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass

import numpy as np
from scipy import signal, stats

from qc.stats.capable import Limits, learned_capability
from qc.stats.noise import Noise, Settled, learn_noise

SISTERS = 20
SIZES = (30, 60, 120)
TRUTHS = (1.0, 1.33, 1.67, 2.0)
WANTED = 1.0
LOT = 6


@dataclass(frozen=True)
class Kind:
    """A class of readings: how a normal score becomes a reading, and how pieces hang together."""

    name: str
    reading: object  # distribution of scipy whose quantile gives the reading
    lots: float = 0.0
    recorded: bool = False
    echo: float = 0.0

    def draw(self, rng, pieces):
        """Draw readings of one series in order of making, and the lots on its cards."""
        scores = rng.standard_normal(pieces)
        lot = np.arange(pieces) // LOT
        if self.lots:
            shared = rng.standard_normal(lot[-1] + 1)[lot]
            scores = np.sqrt(self.lots) * shared + np.sqrt(1 - self.lots) * scores
        if self.echo:
            begun = rng.standard_normal()
            moved = np.sqrt(1 - self.echo**2) * scores
            scores, _ = signal.lfilter([1.0], [1.0, -self.echo], moved, zi=[self.echo * begun])
        return self.at(scores), [str(one) for one in lot] if self.recorded else None

    def at(self, score):
        """Reading at a normal score, without loss of digits far out on either side."""
        score = np.asarray(score, dtype=float)
        low = self.reading.ppf(stats.norm.cdf(score))
        return np.where(score > 0, self.reading.isf(stats.norm.sf(score)), low)


KINDS = {
    kind.name: kind
    for kind in (
        Kind("normal", stats.norm()),
        Kind("lognormal 0.3", stats.lognorm(0.3)),
        Kind("lognormal 0.5", stats.lognorm(0.5)),
        Kind("gamma 4", stats.gamma(4.0)),
        Kind("t5", stats.t(5)),
        Kind("lots 0.2, recorded", stats.norm(), lots=0.2, recorded=True),
        Kind("lots 0.2, not recorded", stats.norm(), lots=0.2),
        Kind("neighbours 0.15", stats.norm(), echo=0.15),
        Kind("neighbours 0.3", stats.norm(), echo=0.3),
    )
}


def learned_of(pool, *, lone):
    """What each series of a workshop is taken for, by its sisters or by itself alone."""
    if not lone:
        return learn_noise(pool)
    return {name: learn_noise({name: own})[name] for name, own in pool.items()}


def score(kind, pieces, rng, *, workshops, lone=False, sides="upper", shape="auto", noise=None):
    """Share of series with the truth below and above the interval, and `proven`; a row a truth."""
    found = np.zeros((len(TRUTHS), 3))
    for _ in range(workshops):
        drawn = {str(i): kind.draw(rng, pieces) for i in range(SISTERS)}
        pool = {name: [Settled(x, range(pieces), lots)] for name, (x, lots) in drawn.items()}
        learned = learned_of(pool, lone=lone) if noise is None else dict.fromkeys(drawn, noise)
        for name, (x, lots) in drawn.items():
            for row, truth in enumerate(TRUTHS):
                limits = limits_of(kind, truth, sides)
                low, high = learned_capability(
                    x, limits, learned[name], lots=lots, shape=shape, wanted=WANTED
                ).ppk_interval
                found[row] += [truth < low, truth > high, low >= WANTED]
    return found / (workshops * SISTERS)


UNLIKE = {
    "normal": 0.3,
    "lognormal 0.3": 0.15,
    "t5": 0.2,
    "lots 0.2, recorded": 0.1,
    "lots 0.2, not recorded": 0.1,
    "neighbours 0.15": 0.15,
}
"""How often each kind is drawn where sisters are unlike; batches stand on all cards, most of them idle."""


def score_unlike(pieces, rng, *, workshops, sisters, sides):
    """For each kind the same as `score`, and how many series it had, in workshops of unlike sisters."""
    found = {name: np.zeros((len(TRUTHS), 3)) for name in UNLIKE}
    count = dict.fromkeys(UNLIKE, 0)
    for _ in range(workshops):
        names = rng.choice(list(UNLIKE), sisters, p=list(UNLIKE.values()))
        drawn = [KINDS[name].draw(rng, pieces) for name in names]
        idle = [str(lot) for lot in np.arange(pieces) // LOT]
        lots = [own or idle for _, own in drawn]
        pool = {str(i): [Settled(x, range(pieces), lots[i])] for i, (x, _) in enumerate(drawn)}
        for i, noise in enumerate(learn_noise(pool).values()):
            count[names[i]] += 1
            for row, truth in enumerate(TRUTHS):
                limits = limits_of(KINDS[names[i]], truth, sides)
                low, high = learned_capability(
                    drawn[i][0], limits, noise, lots=lots[i], wanted=WANTED
                ).ppk_interval
                found[names[i]][row] += [truth < low, truth > high, low >= WANTED]
    return found, count


def limits_of(kind, truth, sides):
    """Limits at which Ppk is `truth`: the other limit, if any, further out by a third."""
    if sides == "upper":
        return Limits(None, float(kind.at(3 * truth)))
    if sides == "lower":
        return Limits(float(kind.at(-3 * truth)), None)
    return Limits(float(kind.at(-4 * truth)), float(kind.at(3 * truth)))


def main():
    """Print a table: coverage in percent (truth below, above the interval), then `proven`."""
    ask = argparse.ArgumentParser()
    ask.add_argument("--workshops", type=int, default=15)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--lone", action="store_true")
    ask.add_argument("--sides", choices=("upper", "lower", "both"), default="upper")
    ask.add_argument("--shape", choices=("auto", "normal", "positive", "any"), default="auto")
    ask.add_argument("--kinds", nargs="*", default=list(KINDS))
    ask.add_argument("--sizes", nargs="*", type=int, default=SIZES)
    ask.add_argument("--unlike", type=int, help="so many sisters of a workshop, of unlike kinds")
    asked = ask.parse_args()
    if asked.unlike:
        print_unlike(asked)
        return
    heads = " | ".join(f"covers {truth:g}, proven" for truth in TRUTHS)
    print(f"| readings | pieces | {heads} |")
    for name in asked.kinds:
        for pieces in asked.sizes:
            rng = np.random.default_rng([asked.seed, list(KINDS).index(name), pieces])
            rows = score(
                KINDS[name],
                pieces,
                rng,
                workshops=asked.workshops,
                lone=asked.lone,
                sides=asked.sides,
                shape=asked.shape,
                noise=None if asked.shape == "auto" else Noise(),
            )
            told = [
                f"{100 * (1 - below - above):.1f} ({100 * below:.1f}, {100 * above:.1f}), {100 * proven:.0f}"
                for below, above, proven in rows
            ]
            print(f"| {name} | {pieces} | {' | '.join(told)} |", flush=True)


def print_unlike(asked):
    """Print a line for each kind, and for all."""
    for pieces in asked.sizes:
        rng = np.random.default_rng([asked.seed, asked.unlike, pieces])
        found, count = score_unlike(
            pieces, rng, workshops=asked.workshops, sisters=asked.unlike, sides=asked.sides
        )
        found["all"], count["all"] = sum(found.values()), sum(count.values())
        for name, sums in found.items():
            told = [
                f"{100 * (1 - below - above):.1f} ({100 * below:.1f}, {100 * above:.1f}), {100 * proven:.0f}"
                for below, above, proven in sums / max(count[name], 1)
            ]
            print(f"| {name} | {pieces} | {' | '.join(told)} | {count[name]} |", flush=True)


if __name__ == "__main__":
    main()
