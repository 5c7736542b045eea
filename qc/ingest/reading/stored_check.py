"""Reads a Parquet file and says whether it came through: run as a process of its own, which may die of it."""

from __future__ import annotations

import json
import sys
from pathlib import Path

from qc.ingest.reading.apart import limit_memory
from qc.ingest.reading.stored import CROWDED, DAMAGED, TooManyCellsError, parquet_slices, read_columns

MEGABYTES = 8_000
"""Most address space of the child. Chosen: the largest file taken needs about half of it, threads included; a
damaged one asks for all there is. [MB]"""


def look(path: Path, asked: list[str] | None, most_cells: int) -> dict[str, str]:
    """Read the file as it will be read, and name what is wrong with it."""
    try:
        read_columns(path, asked, most_cells)
    except TooManyCellsError:
        return {"fault": CROWDED, "words": ""}
    except Exception as error:
        return _damaged(error)
    return {"fault": "", "words": ""}


def look_through(path: Path) -> dict[str, str]:
    """Go through the file slice by slice, as a history is read, and name what is wrong with it."""
    try:
        for _ in parquet_slices(path):
            pass
    except Exception as error:
        return _damaged(error)
    return {"fault": "", "words": ""}


def _damaged(error: Exception) -> dict[str, str]:
    """Take the first line of an error: the reader raises many kinds; each means the same to a person."""
    first = str(error).strip().splitlines() or [type(error).__name__]
    return {"fault": DAMAGED, "words": first[0]}


if __name__ == "__main__":
    limit_memory(MEGABYTES)
    order = json.load(sys.stdin)
    path = Path(order["path"])
    found = look_through(path) if "slices" in order else look(path, order["asked"], order["most"])
    json.dump(found, sys.stdout)
