"""How slow climbs are told some pieces later, lasting and fallen back, as strangers' workshops have them.

    python tests/simulation/climb_rates.py

A climb of 0.03 to 0.06 sigma a piece begins after `BEFORE` steady pieces and lasts, or falls back to the old
level after so many pieces. Everything goes through the course of a series, as an upload does. Told as is
what lasts of it, a climb before all others; beside it, in how many the readings are likelier under one climb
that lasts than under one step.
"""

from __future__ import annotations

from collections import Counter

import numpy as np
from standing_rates import found

from qc.stats import fit_kinds
from qc.watch.changes import FoundChange

SEED, RATE, BEFORE, SERIES = 20261130, 0.004, 40, 80
LENGTHS, LOOKS = (None, 35, 50), (40, 60)


def told_as(own: list[FoundChange]) -> str:
    """Put in a word what is told of a climb."""
    if not own:
        return "not told"
    if any(one.kind == "trend" and one.ended is None for one in own):
        return "trend"
    return " and ".join(one.kind if one.ended is None else f"{one.kind} (over)" for one in own)


def main() -> None:
    """Print a line for each length and look."""
    rng = np.random.default_rng(SEED)
    for length in LENGTHS:
        for look in LOOKS:
            kinds: Counter[str] = Counter()
            climbs = 0
            for _ in range(SERIES):
                ages = np.arange(1, look + 1)
                climb = rng.uniform(0.03, 0.06) * ages
                row = rng.standard_normal(BEFORE + look)
                row[BEFORE:] += climb if length is None else np.where(ages <= length, climb, 0.0)
                told = told_as([one for one in found(row, RATE) if one.point > BEFORE])
                kinds[told] += 1
                if told != "not told":
                    fits = fit_kinds(row)
                    climbs += fits["trend"].support > fits["shift"].support
            head = "lasting" if length is None else f"over after {length}"
            said = ", ".join(f"{kind} {count}" for kind, count in kinds.most_common(6))
            print(f"{head}, {look} pieces later: {said}; a climb likelier than a step: {climbs}", flush=True)


if __name__ == "__main__":
    main()
