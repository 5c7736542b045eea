"""Publish how often the end of a batch that outlasted the state before it is told, and how often one wrongly.

    python tests/simulation/used_up_rates.py --table docs/reference/watch.md

Everything goes through the course of a series, as an upload does, looked at after every `EVERY` pieces; what
was told as over keeps its end. A batch K-1 runs `BEFORE` pieces, K-2 `AWAY` of them, so many spreads higher,
and then others. *Used up*: K-1 again, as it was; told is one change of the level, over at the first piece
after K-2 or one beside it. *Lasts*: K-3 is used, as high as K-2. *Half back*: K-3 lies half way. *Batches of
six*: the level is back, and no batch began or ended with it. Each series is judged with what its cards say
and once more without it, and the two are told beside each other. *Nothing*: batches change and the level
does not; how many findings there are in 100 pieces. ± is one standard error.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from mend_rates import course, told
from publishing import markdown, publish_from_words

from qc.watch import SignalResult
from qc.watch.changes import FoundChange

SEED = 13231
RATE = 0.004
BEFORE, AWAY, AFTER = 10, 25, 20
EVERY = 5
SIZES = (2.5, 3.0, 4.0)
USED = ["K-1"] * BEFORE + ["K-2"] * AWAY + ["K-1"] * AFTER
OTHER = [*USED[: BEFORE + AWAY], *["K-3"] * AFTER]
SIXES = [f"K-{place // 6}" for place in range(BEFORE + AWAY + AFTER)]
CASES = (("used up", USED, 0.0), ("lasts", OTHER, 1.0), ("half back", OTHER, 0.5), ("of six", SIXES, 0.0))
DRAWN = 400  # series of each row at a share of 1


def lived(values: np.ndarray, batches: Sequence[str]) -> list[list[FoundChange]]:
    """Return the findings of a series at each look but single pieces, the last at its end."""
    kept: dict = {}
    over: tuple[SignalResult, ...] = ()
    looks = []
    for end in range(BEFORE, values.size + 1, EVERY):
        here = course(values[:end])
        points = tuple(replace(p, batch=b) for p, b in zip(here.points, batches, strict=False))
        here = replace(here, points=points, over=over)
        found = here.changes(RATE, kept)
        kept = dict(found.kept)
        looks.append([s for s in found.signals if s.kind != "single"])
        ended = [s for s in looks[-1] if s.ended is not None and s.ended <= end]
        over = tuple(replace(told(s, points), over_since=points[s.ended - 1].serial) for s in ended)
    return looks


def told_once(looks: Sequence[Sequence[FoundChange]]) -> bool:
    """Say whether in the end one change is told, with its end within one piece."""
    last = looks[-1]
    back = BEFORE + AWAY + 1
    return len(last) == 1 and last[0].ended is not None and abs(last[0].ended - back) <= 1


def ever_over(looks: Sequence[Sequence[FoundChange]]) -> bool:
    """Say whether the change was told as over at some look."""
    return any(s.ended is not None and s.side == "above" and s.start > 4 for look in looks for s in look)


def row(case: str, batches: Sequence[str], back: float, size: float, number: int) -> list[str]:
    """One row of the table."""
    once: list[tuple[bool, bool]] = []
    over: list[tuple[bool, bool]] = []
    for draw in range(number):
        random = np.random.default_rng([SEED, round(10 * size), round(10 * back), draw])
        values = random.standard_normal(BEFORE + AWAY + AFTER)
        values[BEFORE : BEFORE + AWAY] += size
        values[BEFORE + AWAY :] += back * size
        without, with_cards = lived(values, [""] * values.size), lived(values, batches)
        once.append((told_once(without), told_once(with_cards)))
        over.append((ever_over(without), ever_over(with_cards)))
    shares = [_share([one[place] for one in rows]) for rows in (once, over) for place in (0, 1)]
    return [f"{case}, {size:g} sigma", *shares]


def _share(hits: Sequence[bool]) -> str:
    share = float(np.mean(hits))
    return f"{share:.3f} ± {math.sqrt(share * (1 - share) / len(hits)):.3f}"


def nothing(number: int) -> str:
    """Say how many findings series raise in which nothing changes, without the cards and with them."""
    raised: list[tuple[float, float]] = []
    for draw in range(number):
        values = np.random.default_rng([SEED, 0, draw]).standard_normal(len(USED))
        found = [lived(values, batches)[-1] for batches in ([""] * values.size, USED)]
        raised.append((100 * len(found[0]) / values.size, 100 * len(found[1]) / values.size))
    told_of = [f"{np.mean(one):.3f} ± {np.std(one) / math.sqrt(number):.3f}" for one in np.transpose(raised)]
    return f"Nothing changes: {told_of[0]} findings in 100 pieces without the cards, {told_of[1]} with them."


def table(share: float) -> str:
    """The table as Markdown, with what is raised where nothing changes."""
    number = int(DRAWN * share)
    head = ["case", "told once, end within a piece: without cards", "with"]
    head += ["told as over at some look: without cards", "with"]
    rows = (row(*case, size, number) for case in CASES for size in SIZES)
    return markdown(head, rows) + "\n\n" + nothing(number)


if __name__ == "__main__":
    publish_from_words(__doc__, table, "used")
