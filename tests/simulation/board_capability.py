"""How often the board's interval of Ppk holds the truth, and how often `proven` is false, by simulation.

Workshops of twenty sister series that scatter alike; what is learned is learned from them and from the series
itself, as the board does. The truth of a figure that is not normal is a third of the normal score of its
share outside. Run by hand: ``python tests/simulation/board_capability.py [WORKSHOPS] [SEED]``; the table goes
into docs/reference/capability.md.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass

import numpy as np
from scipy import signal, stats

from qc.stats.capable import Limits, learned_capability
from qc.stats.noise import Settled, learn_noise

SISTERS = 20
SIZES = (30, 60, 120)
TRUTHS = (0.8, 1.0, 1.33, 1.67, 2.0)
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
        """Readings of one series in order of making, and the lots on its cards."""
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


KINDS = (
    Kind("normal", stats.norm()),
    Kind("lognormal 0.3", stats.lognorm(0.3)),
    Kind("lognormal 0.5", stats.lognorm(0.5)),
    Kind("gamma 4", stats.gamma(4.0)),
    Kind("t5", stats.t(5)),
    Kind("lots 0.2 recorded", stats.norm(), lots=0.2, recorded=True),
    Kind("lots 0.2", stats.norm(), lots=0.2),
    Kind("AR 0.15", stats.norm(), echo=0.15),
    Kind("AR 0.3", stats.norm(), echo=0.3),
)


def score(kind, pieces, workshops, rng, lone=False, sides="upper", shape="auto"):
    """Count misses below and above and `proven` for each truth; a row a truth."""
    found = np.zeros((len(TRUTHS), 5))
    for _ in range(workshops):
        drawn = {str(i): kind.draw(rng, pieces) for i in range(SISTERS)}
        pool = {name: [Settled(x, range(pieces), lots)] for name, (x, lots) in drawn.items()}
        if lone:
            learned = {name: learn_noise({name: own})[name] for name, own in pool.items()}
        else:
            learned = learn_noise(pool)
        for name, (x, lots) in drawn.items():
            for row, truth in enumerate(TRUTHS):
                limits = limits_of(kind, truth, sides)
                got = learned_capability(x, limits, learned[name], lots=lots, shape=shape)
                low, high = got.ppk_interval
                wide = high - low
                found[row] += [truth < low, truth > high, low >= 1.0, got.ppk, wide]
    return found / (workshops * SISTERS)


def limits_of(kind, truth, sides):
    """Limits at which Ppk is `truth`: the other limit, if any, further out by a third."""
    if sides == "upper":
        return Limits(None, float(kind.at(3 * truth)))
    if sides == "lower":
        return Limits(float(kind.at(-3 * truth)), None)
    return Limits(float(kind.at(-4 * truth)), float(kind.at(3 * truth)))


def main(argv):
    workshops, seed = (int(argv[0]) if argv else 5), (int(argv[1]) if argv[1:] else 1)
    sides = argv[2] if argv[2:] else "upper"
    lone = "lone" in argv
    shape = next((a for a in argv if a in ("any", "positive")), "auto")
    only = [
        k for k in KINDS if not any(a.startswith("only=") for a in argv) or k.name in [a[5:] for a in argv]
    ]
    for kind in only:
        for pieces in SIZES:
            rng = np.random.default_rng([seed, KINDS.index(kind), pieces])
            rows = score(kind, pieces, workshops, rng, lone, sides, shape)
            told = " | ".join(
                f"{100 * a:4.1f} {100 * b:4.1f} {100 * p:5.1f} ({k:.2f},{w:.2f})" for a, b, p, k, w in rows
            )
            print(f"{kind.name:18} {pieces:4} | {told}", flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
