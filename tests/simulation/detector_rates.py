"""Publish the detector's rates and delays beside textbook practice and the known-parameter optimum.

    python tests/simulation/detector_rates.py --table docs/reference/detector.md

writes the tables between the marks of that page; `--share 0.1` draws a tenth of the series for a quick
look. Every figure has its standard error; a median has its 95 % interval from order statistics. Seeds are
fixed, and are none of those the thresholds were made with.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from publishing import markdown, publish_from_words

from qc.stats import Detection, detect_many

SEED = 9001
RATE = 0.001
BASELINE = 20  # readings textbook practice takes its limits from
D2 = 1.128  # mean range of two readings over sigma, as printed in handbooks
FOLLOWED = 150  # points followed after a change
CELLS = 400  # cells of the Markov chain of the CUSUM


@dataclass(frozen=True)
class Change:
    """One kind of change in a series with mean 0 and standard deviation 1."""

    name: str
    after: int
    apply: Callable[[np.ndarray, np.ndarray], np.ndarray]
    size: float
    reference: float | None  # of the CUSUM that is best against it


def step(size: float, after: int) -> Change:
    return Change(f"level, {size:g} sigma after {after}", after, lambda x, j: x + size, size, size / 2)


CHANGES = [
    step(1.0, 50),
    step(1.5, 50),
    step(2.0, 50),
    step(3.0, 50),
    step(1.0, 20),
    step(2.0, 20),
    step(3.0, 20),
    step(2.0, 10),
    Change("trend, 0.08 sigma a piece after 50", 50, lambda x, j: x + 0.08 * j, math.nan, 0.5),
    Change("spread doubled after 50", 50, lambda x, j: 2 * x, math.nan, None),
]

Draw = Callable[[np.random.Generator, int, int], np.ndarray]
SITUATIONS: list[tuple[str, str, Draw, dict[str, float]]] = [
    ("normal readings", "normal", lambda r, n, m: r.standard_normal((n, m)), {}),
    ("step of 0.3 sigma, known", "normal", lambda r, n, m: coarse(r, n, m, 0.3), {"resolution": 0.3}),
    ("step of 1 sigma, known", "normal", lambda r, n, m: coarse(r, n, m, 1.0), {"resolution": 1.0}),
    ("step of 1 sigma, not told", "normal", lambda r, n, m: coarse(r, n, m, 1.0), {}),
    ("step of 2 sigma, not told", "normal", lambda r, n, m: coarse(r, n, m, 2.0), {}),
    ("step of 3 sigma, not told", "normal", lambda r, n, m: coarse(r, n, m, 3.0), {}),
    ("log-normal readings", "positive", lambda r, n, m: np.exp(0.4 * r.standard_normal((n, m)) + 1), {}),
    ("normal readings", "any", lambda r, n, m: r.standard_normal((n, m)), {}),
    ("heavy tails (t, 2 degrees)", "any", lambda r, n, m: r.standard_t(2, (n, m)), {}),
    ("step of 1 sigma", "any", lambda r, n, m: coarse(r, n, m, 1.0), {}),
    ("neighbours correlated, 0.2", "normal", lambda r, n, m: correlated(r, n, m, 0.2), {}),
    (
        "log-normal readings, wrong shape",
        "normal",
        lambda r, n, m: np.exp(0.4 * r.standard_normal((n, m))),
        {},
    ),
]


def coarse(random: np.random.Generator, series: int, length: int, width: float) -> np.ndarray:
    """Normal readings rounded to steps that lie anywhere about the mean."""
    return (
        np.round((random.standard_normal((series, length)) + width * random.random((series, 1))) / width)
        * width
    )


def correlated(random: np.random.Generator, series: int, length: int, rho: float) -> np.ndarray:
    """Normal readings each of which takes over `rho` of the one before."""
    out = random.standard_normal((series, length))
    for j in range(1, length):
        out[:, j] = rho * out[:, j - 1] + math.sqrt(1 - rho * rho) * out[:, j]
    return out


def rate_rows(share: float) -> Iterator[list[str]]:
    """Signals a point over the rate asked for, with standard errors."""
    for number, (name, shape, draw, options) in enumerate(SITUATIONS):
        row = [name, f"`{shape}`"]
        for rate, series, length in (
            (1e-2, 3000, 60),
            (1e-3, 6000, 25),
            (1e-3, 4000, 200),
            (1e-4, 8000, 400),
        ):
            random = np.random.default_rng([SEED, number, length])
            if rate < 1e-3 and number not in (0, 2, 6, 7):
                row.append("")
                continue
            values = draw(random, max(20, int(series * share)), length)
            found = detect_many(list(values), shape=shape, false_alarm_rate=rate, **options)
            ratios = np.array([len(one.signals) for one in found]) / (length * rate)
            row.append(f"{ratios.mean():.2f} ± {ratios.std(ddof=1) / math.sqrt(len(ratios)):.2f}")
        yield row


def delay_rows(share: float) -> Iterator[list[str]]:
    """Delays of the detector by two shapes, of textbook practice and of the best CUSUM."""
    series = max(60, int(4000 * share))
    for number, change in enumerate(CHANGES):
        random = np.random.default_rng([SEED, 100 + number])
        values = random.standard_normal((series, change.after + FOLLOWED))
        values[:, change.after :] = change.apply(values[:, change.after :], np.arange(1, FOLLOWED + 1))
        normal = detect_many(list(values), false_alarm_rate=RATE)
        ranks = detect_many(list(values), false_alarm_rate=RATE, shape="any")
        first = [_first_after(one, change.after) for one in normal]
        yield [
            change.name,
            _median(_delays(normal, change.after)),
            _median(_delays(ranks, change.after)),
            _median(_textbook_delays(values, change.after)),
            _median(_cusum_delays(values, change.after, change.reference)) if change.reference else "",
            _share([abs(s.start - change.after - 1) <= 2 for s in first if s]),
            _share([s.start_set[0] <= change.after + 1 <= s.start_set[1] for s in first if s]),
            ""
            if math.isnan(change.size)
            else _share([s.size_interval[0] <= change.size <= s.size_interval[1] for s in first if s]),
        ]


def textbook_rate(share: float) -> str:
    """Points to a false signal under limits from 20 readings and eight rules: points at risk over signals."""
    random = np.random.default_rng([SEED, 300])
    values = random.standard_normal((max(60, int(6000 * share)), BASELINE + 100))
    flags = eight_rules(values)[:, BASELINE:]
    first = np.where(flags.any(axis=1), flags.argmax(axis=1) + 1, flags.shape[1])
    rates = flags.any(axis=1).sum() / first.sum()
    error = rates / math.sqrt(flags.any(axis=1).sum())
    return f"{1 / rates:.0f} ± {error / rates**2:.0f}"


def eight_rules(values: np.ndarray) -> np.ndarray:
    """Whether any of the eight classic rules (defaults of design and documents) ends at each point."""
    base = values[:, :BASELINE]
    sigma = np.abs(np.diff(base, axis=1)).mean(axis=1, keepdims=True) / D2
    z = (values - base.mean(axis=1, keepdims=True)) / sigma
    up = np.diff(values, axis=1, prepend=np.nan) > 0
    turn = np.zeros(values.shape, dtype=bool)
    turn[:, 2:] = up[:, 2:] != up[:, 1:-1]
    flags = np.abs(z) > 3
    for side in (1, -1):
        flags |= _run(side * z > 0, 9, 9) | _run(side * z > 2, 2, 3) & (side * z > 2)
        flags |= _run(side * z > 1, 4, 5) & (side * z > 1)
    flags |= _run(up[:, :], 5, 5) | _run(~up, 5, 5)
    flags |= _run(turn, 12, 12) | _run(np.abs(z) < 1, 15, 15) | _run(np.abs(z) > 1, 8, 8)
    flags[:, :BASELINE] = False
    return flags


def cusum_limit(reference: float, run_length: float) -> float:
    """Decision limit of a one-sided CUSUM with a wanted run length: Markov chain of Brook & Evans 1972."""
    low, high = 0.2, 20.0
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (middle, high) if _run_length(reference, middle) < run_length else (low, middle)
    return (low + high) / 2


def _run_length(reference: float, limit: float) -> float:
    """Mean run length in control of a one-sided CUSUM started at zero."""
    width = 2 * limit / (2 * CELLS - 1)
    states = np.arange(CELLS) * width
    edges = states[None, :] - states[:, None] + reference
    upper = _normal(edges + width / 2)
    moves = upper - _normal(edges - width / 2)
    moves[:, 0] = upper[:, 0]
    return float(np.linalg.solve(np.eye(CELLS) - moves, np.ones(CELLS))[0])


def _normal(z: np.ndarray) -> np.ndarray:
    return 0.5 * (1 + np.vectorize(math.erf)(z / math.sqrt(2)))


def _run(flags: np.ndarray, wanted: int, window: int) -> np.ndarray:
    """Whether at least `wanted` of the last `window` points are flagged."""
    counts = np.cumsum(np.pad(flags.astype(int), ((0, 0), (window, 0))), axis=1)
    return counts[:, window:] - counts[:, :-window] >= wanted


def _first_after(found: Detection, after: int) -> object | None:
    """First signal, unless one came before the change."""
    if any(signal.point <= after for signal in found.signals):
        return None
    return found.signals[0] if found.signals else None


def _delays(found: list[Detection], after: int) -> np.ndarray:
    """Points from the change to the signal; series with an earlier false one are left out."""
    clean = [one for one in found if not any(signal.point <= after for signal in one.signals)]
    return np.array([one.signals[0].point - after if one.signals else FOLLOWED + 1 for one in clean])


def _textbook_delays(values: np.ndarray, after: int) -> np.ndarray:
    """Points to the first rule after the change, whatever was signalled before; none before 20 readings."""
    if after < BASELINE:
        return np.array([])
    flags = eight_rules(values)[:, after:]
    return np.where(flags.any(axis=1), flags.argmax(axis=1) + 1, FOLLOWED + 1)


def _cusum_delays(values: np.ndarray, after: int, reference: float) -> np.ndarray:
    """Delays of a two-sided CUSUM that knows mean and spread, at the same false-alarm rate."""
    limit = cusum_limit(reference, 2 / RATE)
    high = np.zeros(len(values))
    low = np.zeros(len(values))
    at = np.zeros(len(values), dtype=int)
    for j in range(values.shape[1]):
        high = np.maximum(0, high + values[:, j] - reference)
        low = np.maximum(0, low - values[:, j] - reference)
        at[(at == 0) & (np.maximum(high, low) > limit)] = j + 1
    at[at == 0] = values.shape[1] + 1
    return at[at > after] - after


def _median(delays: np.ndarray) -> str:
    """Median with its 95 % interval; `later` beyond what was followed."""
    if not delays.size:
        return ""
    ordered = np.sort(delays)
    half = 0.98 * math.sqrt(delays.size)
    low = ordered[max(0, int(delays.size / 2 - half))]
    high = ordered[min(delays.size - 1, int(delays.size / 2 + half))]
    middle = float(np.median(delays))
    return f"{middle:g}" if low == high else f"{middle:g} ({low:g} to {high:g})"


def _share(hits: list[bool]) -> str:
    share = float(np.mean(hits))
    return f"{share:.3f} ± {math.sqrt(share * (1 - share) / len(hits)):.3f}"


def tables(share: float) -> str:
    """All tables as Markdown."""
    rates = [
        "situation",
        "shape",
        "0.01, 60 points",
        "0.001, 25 points",
        "0.001, 200 points",
        "0.0001, 400 points",
    ]
    delays = [
        "change",
        "detector",
        "by ranks",
        "textbook",
        "best CUSUM",
        "start within two",
        "start set holds it",
        "size interval holds it",
    ]
    text = [
        "Signals over the rate asked for (1 = exactly as asked):",
        "",
        markdown(rates, rate_rows(share)),
        "",
    ]
    text += [f"Median delay in pieces at a rate of {RATE:g} a point, and what is said about the change:", ""]
    text += [markdown(delays, delay_rows(share)), ""]
    text += [f"Textbook practice raises a false signal about every {textbook_rate(share)} points."]
    return "\n".join(text)


if __name__ == "__main__":
    publish_from_words(__doc__, tables, "rates")
