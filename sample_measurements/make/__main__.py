"""``python -m sample_measurements.make [--seed N] [--out DIR]``: make the workshop again."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from sample_measurements import folder
from sample_measurements.make import SEED, make_workshop


def main(arguments: list[str] | None = None) -> int:
    """Make a workshop and say how many sheets it has."""
    parser = argparse.ArgumentParser(prog="python -m sample_measurements.make", description=__doc__)
    parser.add_argument("--seed", type=int, default=SEED, help=f"which workshop to draw (default {SEED})")
    parser.add_argument("--out", type=Path, default=None, help="where to write (default: here)")
    chosen = parser.parse_args(arguments)
    out = chosen.out if chosen.out is not None else folder()
    written = make_workshop(out, chosen.seed)
    sys.stdout.write(f"{len(written)} sheets in {out / 'sheets'}\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
