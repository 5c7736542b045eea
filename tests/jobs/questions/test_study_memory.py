"""How much room a study takes grows by a bounded amount a reading, measured in processes of their own."""

import subprocess
import sys

import numpy as np
import polars as pl
import pytest

MOST_BYTES = 200
"""Of a reading beside the program, so that ten millions take 2 GB; 120 were measured on one chart."""
SMALL, LARGE = 150_000, 900_000

PROGRAM = """
import resource, sys
from qc.cli.main import main
code = main(sys.argv[1:])
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, code, file=sys.stderr)
"""


def most_kilobytes(words):
    run = subprocess.run(
        [sys.executable, "-c", PROGRAM, "study", *map(str, words)], capture_output=True, text=True, check=True
    )
    most, code = run.stderr.split()[-2:]
    assert code == "0" and run.stdout
    return int(most) / (1024 if sys.platform == "darwin" else 1)


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="the system does not tell what a process took at most")
@pytest.mark.parametrize("series", [False, True], ids=["one chart", "series of 500"])
@pytest.mark.parametrize("answer", ["--json", "--signals-only"])
def test_what_a_reading_takes_is_bounded(tmp_path, rng, series, answer):
    """With every plotted value printed too: the values of an answer are there as figures, not as text."""
    if answer == "--signals-only" and not series:
        pytest.skip("it leaves out the values of an answer with series only")
    took = []
    for rows in (SMALL, LARGE):
        table = pl.DataFrame({"bore": np.round(rng.normal(14.0, 0.01, rows), 4)})
        table = table.with_columns(series=pl.int_range(rows) // 500)
        table.write_csv(tmp_path / f"{rows}.csv")
        words = [tmp_path / f"{rows}.csv", "--value", "bore", "--chart", "individuals", answer]
        took.append(most_kilobytes([*words, *(["--series", "series"] if series else [])]))
    assert (took[1] - took[0]) * 1024 / (LARGE - SMALL) < MOST_BYTES
