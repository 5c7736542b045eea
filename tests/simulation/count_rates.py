"""How much of the rate asked counts use, and how soon a change is told.

Signals a point over the rate asked, for whole series and for their first 30 points (standard error in
brackets), and the median delay of a doubled and a threefold rate after 60 points. Run by hand:
``python tests/simulation/count_rates.py [SERIES] [SEED]``; the table stands in docs/reference/detector.md.
"""

import sys

import numpy as np

from qc.stats import detect_counts

LENGTH = 120
CLASSES = {  # expected count, or share that fails, of a point; pieces tested at each
    "0.2 a piece": (0.2, None),
    "1 a piece": (1.0, None),
    "4 a piece": (4.0, None),
    "2 % fail": (0.02, 1),
    "10 % fail": (0.1, 1),
}


def draw(rng, name, length, times=1.0):
    """Counts of one series at so many times its rate."""
    mean, tested = CLASSES[name]
    return rng.poisson(mean * times, length) if tested is None else rng.binomial(tested, mean * times, length)


def used(rng, name, rate, series, first=LENGTH):
    """False signals among the first points, over those the rate allows, and its standard error."""
    pass_fail = CLASSES[name][1] is not None
    found = [
        sum(
            s.point <= first
            for s in detect_counts(draw(rng, name, first), None, rate, pass_fail=pass_fail).signals
        )
        for _ in range(series)
    ]
    asked = series * first * rate
    return sum(found) / asked, float(np.std(found, ddof=1) * series**0.5 / asked)


def delay(rng, name, rate, times, series, before=60, after=120):
    """Median points until a changed rate is told; infinite where half are not within `after` points."""
    waited = []
    for _ in range(series):
        counts = np.concatenate([draw(rng, name, before), draw(rng, name, after, times)])
        signals = detect_counts(counts, None, rate, pass_fail=CLASSES[name][1] is not None).signals
        waited.append(min((s.point - before for s in signals if s.point > before), default=np.inf))
    return float(np.median(waited))


def main(series=300, seed=1):
    """Print the table."""
    print("| counts | rate | used | used, first 30 | delay of 2x | delay of 3x |")
    for place, name in enumerate(CLASSES):
        for rate in (0.001, 0.004):
            rng = np.random.default_rng([seed, place, round(1 / rate)])
            whole, start = used(rng, name, rate, series), used(rng, name, rate, series, 30)
            late = [delay(rng, name, rate, times, series // 6) for times in (2.0, 3.0)]
            print(
                f"| {name} | {rate} | {whole[0]:.2f} ({whole[1]:.2f}) | {start[0]:.2f} ({start[1]:.2f}) "
                f"| {late[0]:g} | {late[1]:g} |",
                flush=True,
            )


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
