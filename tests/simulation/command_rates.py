"""False-signal rates, delays and starts through the real command, on draws used nowhere else.

    python tests/simulation/command_rates.py [--share 0.2]

Every figure comes from `qc study FILE --chart changepoint --false-alarm-rate A [--shape S] [--resolution R]
--series series --signals-only --json`, run as a program on a table of drawn readings; ± is one standard
error. Rates are signals over the rate asked for.
"""

from __future__ import annotations

import argparse
import csv
import json
import math
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
from detector_rates import coarse

SEED = 60221
WANTED = 60  # false signals expected in each cell at a share of 1: a standard error of about an eighth
MOST = 400_000  # readings a cell at most
LENGTHS = (30, 100, 200, 400)
RATES = (0.01, 0.005, 0.001, 0.0002)
DELAYS = [(1.0, 50, 18), (1.5, 50, 8), (2.0, 50, 5), (3.0, 20, 4), (0.08, 50, 22)]  # last: a climb a piece
FOLLOWED = 100
Draw = Callable[[np.random.Generator, int, int], np.ndarray]
SITUATIONS: dict[str, tuple[Draw, tuple[str, ...]]] = {
    "normal readings": (lambda r, n, m: r.standard_normal((n, m)), ()),
    "step of sigma, given": (lambda r, n, m: coarse(r, n, m, 1.0), ("--resolution", "1")),
    "step of sigma, not told": (lambda r, n, m: coarse(r, n, m, 1.0), ()),
    "log-normal, positive": (
        lambda r, n, m: np.exp(0.4 * r.standard_normal((n, m)) + 1),
        ("--shape", "positive"),
    ),
    "heavy tails (t, 2 degrees), any": (lambda r, n, m: r.standard_t(2, (n, m)), ("--shape", "any")),
    "skewed (exponential), any": (lambda r, n, m: r.standard_exponential((n, m)), ("--shape", "any")),
    "normal readings, any": (lambda r, n, m: r.standard_normal((n, m)), ("--shape", "any")),
}


def command(values: np.ndarray, rate: float, *options: str) -> list[list[dict[str, object]]]:
    """Signals of each series, as the command tells them."""
    with tempfile.TemporaryDirectory() as place:
        table = Path(place) / "drawn.csv"
        with table.open("w", newline="") as file:
            writer = csv.writer(file)
            writer.writerow(["series", "value"])
            for number, row in enumerate(values):
                writer.writerows([f"s{number}", repr(float(value))] for value in row)
        told = subprocess.run(
            [
                *(
                    Path(sys.executable).with_name("qc"),
                    "study",
                    table,
                    "--value",
                    "value",
                    "--chart",
                    "changepoint",
                ),
                *(
                    "--false-alarm-rate",
                    str(rate),
                    "--series",
                    "series",
                    "--signals-only",
                    "--json",
                    *options,
                ),
            ],
            capture_output=True,
            text=True,
            check=False,
        )
    told_of = json.loads(told.stdout)["series"]
    return [told_of.get(f"s{number}", {}).get("signals", []) for number in range(len(values))]


def rate_cell(draw: Draw, rate: float, length: int, share: float, *options: str) -> str:
    """Signals over the rate asked for, with the standard error over series."""
    series = max(int(min(WANTED * share / rate, MOST * share) / length), 40)
    values = draw(np.random.default_rng([SEED, length, round(1 / rate)]), series, length)
    ratio = np.array([len(signals) for signals in command(values, rate, *options)]) / (length * rate)
    return f"{ratio.mean():.2f} ± {ratio.std(ddof=1) / math.sqrt(series):.2f}"


def rate_rows(share: float) -> Iterator[list[str]]:
    """Rates of normal readings at all lengths and rates, of the other situations at two."""
    for rate in RATES:
        cells = [rate_cell(SITUATIONS["normal readings"][0], rate, n, share) for n in LENGTHS]
        yield ["normal readings", f"{rate:g}", *cells]
    for name, (draw, options) in SITUATIONS.items():
        if options or name != "normal readings":
            for rate in RATES[1:3]:
                cells = [rate_cell(draw, rate, n, share, *options) for n in LENGTHS[:3]]
                yield [name, f"{rate:g}", *cells, ""]


def delay_rows(share: float) -> Iterator[list[str]]:
    """Median delay beside the longest allowed, and the share of starts within two pieces."""
    series = max(100, int(1500 * share))
    for size, after, longest in DELAYS:
        values = np.random.default_rng([SEED, after, round(100 * size)]).standard_normal(
            (series, after + FOLLOWED)
        )
        values[:, after:] += size * (np.arange(1, FOLLOWED + 1) if size < 1 else 1.0)
        first = [signals[0] for signals in command(values, 0.001) if signals]
        clean = [signal for signal in first if int(str(signal["point"])) > after]
        none = series - len(first)
        delays = sorted([int(str(s["point"])) - after for s in clean] + [FOLLOWED + 1] * none)
        near = np.mean([abs(int(str(s["start"])) - after - 1) <= 2 for s in clean])
        error = math.sqrt(near * (1 - near) / len(clean))
        name = f"climb of {size:g}" if size < 1 else f"{size:g} sigma"
        median = f"{np.median(delays):g}"
        yield [f"{name} after {after}", median, str(longest), f"{near:.3f} ± {error:.3f}", str(len(clean))]


def main() -> None:
    """Write both tables to the standard output."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--share", type=float, default=1.0)
    share = parser.parse_args().share
    for head, rows in (
        (["situation", "rate", *(f"{n} points" for n in LENGTHS)], rate_rows(share)),
        (["change", "median delay", "at most", "start within two", "series"], delay_rows(share)),
    ):
        for row in (head, ["---"] * len(head)):
            sys.stdout.write(f"| {' | '.join(row)} |\n")
        for row in rows:
            sys.stdout.write(f"| {' | '.join(row)} |\n")
            sys.stdout.flush()
        sys.stdout.write("\n")


if __name__ == "__main__":
    main()
