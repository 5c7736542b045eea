"""Reads a Parquet file and says whether it came through: run as a process of its own, which may die of it."""

from __future__ import annotations

import json
import sys
from pathlib import Path

from qc.ingest.reading.apart import limit_memory
from qc.ingest.reading.stored import CROWDED, DAMAGED, TooManyCellsError, read_columns

MEGABYTES = 8_000
"""Most address space of the child. Chosen: the largest file taken needs about half of it, threads included; a
damaged one asks for all there is. [MB]"""


def look(path: Path, asked: list[str] | None, most_cells: int) -> dict[str, str]:
    """Read the file as it will be read, and name what is wrong with it."""
    try:
        read_columns(path, asked, most_cells)
    except TooManyCellsError:
        return {"fault": CROWDED, "words": ""}
    except Exception as error:  # the reader raises errors of many kinds; each means the same to a person
        first = str(error).strip().splitlines() or [type(error).__name__]
        return {"fault": DAMAGED, "words": first[0]}
    return {"fault": "", "words": ""}


if __name__ == "__main__":
    limit_memory(MEGABYTES)
    order = json.load(sys.stdin)
    json.dump(look(Path(order["path"]), order["asked"], order["most"]), sys.stdout)
