"""Hold every published item against our statistics and print how far they are apart.

    python tests/published/differences.py [FOLDER]

runs the items kept beside this file and, with FOLDER, every item of every `*_items.json` there. One line
is printed for each quantity: the greatest difference reached, what was allowed, and the verdict; the program
ends with 1 if any is beyond its tolerance or an item has no comparison. Where a printed table is known to be
wrong, the exact value is compared and the note says so.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from pathlib import Path

import compare_charts  # noqa: F401  each registers its comparisons
import compare_run_lengths  # noqa: F401
import compare_studies  # noqa: F401
from comparing import COMPARISONS, Item, Row

HERE = Path(__file__).parent
ALONE = ("changepoint_",)  # files that are one item
NOT_STATISTICS = ("trade_",)  # checked in tests/trade


def kept_items() -> dict[str, Item]:
    """Items beside this file; one id may stand in two files (C10), then the file's name is added."""
    found: dict[str, Item] = {}
    for path in sorted(HERE.glob("*.json")):
        if path.stem.startswith(NOT_STATISTICS):
            continue
        content = json.loads(path.read_text("utf-8"))
        entries = {path.stem: content} if path.stem.startswith(ALONE) else content
        for name, item in entries.items():
            found[name if name not in found else f"{name} ({path.stem})"] = item
    return found


def shared_items(folder: Path) -> dict[str, Item]:
    """Items of a folder of shared values."""
    paths = sorted(folder.glob("*_items.json"))
    if not paths:
        raise SystemExit(f"{folder}: there is no *_items.json in it")
    return {item["id"]: item for path in paths for item in json.loads(path.read_text("utf-8"))}


def compared(items: dict[str, Item]) -> Iterator[tuple[str, Item, Row]]:
    """Every row of every item."""
    plain = {_plain(name): item for name, item in items.items()}
    for name, item in items.items():
        comparison = COMPARISONS.get(_plain(name))
        if comparison is None:
            yield name, item, Row("no comparison", float("inf"), 0.0, "absolute", 0)
            continue
        for row in comparison(item, plain):
            yield name, item, row


def line(*cells: object) -> str:
    """One line of the table."""
    widths = (18, 40, 46, 5, 9, 8, 4, 7)
    return " | ".join(f"{str(cell)[:width]:{width}}" for cell, width in zip(cells, widths, strict=False)) + (
        f" | {cells[-1]}" if len(cells) > len(widths) else ""
    )


def cells(name: str, item: Item, row: Row) -> tuple[object, ...]:
    """What a line says of one row."""
    kind = {"absolute": "abs", "relative": "rel", "standard errors": "s.e."}[row.kind]
    verdict = "holds" if row.holds else "FAILS"
    reached, allowed = f"{row.difference:.2g}", f"{row.tolerance:.2g}"
    return name, item.get("source", ""), row.quantity, row.values, reached, allowed, kind, verdict, row.note


def main(arguments: list[str]) -> int:
    """Print the table; 0 if every verdict holds."""
    items = kept_items()
    if arguments:
        items |= {f"{name} *": item for name, item in shared_items(Path(arguments[0])).items()}
    print(line("item", "source", "quantity", "n", "reached", "allowed", "kind", "verdict", "note"))
    rows = list(compared(items))
    for name, item, row in rows:
        print(line(*cells(name, item, row)))
    failed = sum(not row.holds for _, _, row in rows)
    print(
        f"\n{len(items)} items, {len(rows)} quantities, {sum(row.values for *_, row in rows)} values: "
        f"{'every verdict holds' if not failed else f'{failed} do not hold'}"
    )
    return 1 if failed else 0


def _plain(name: str) -> str:
    return name.split(" ")[0].removesuffix("-shared")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
