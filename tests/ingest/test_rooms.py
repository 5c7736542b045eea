"""The rooms of ingest stand on each other in one order, and what lies beside them stands under them all."""

import ast
from pathlib import Path

INGEST = Path(__file__).parents[2] / "qc" / "ingest"
ROOMS = ("cells", "reading", "shapes", "layouts", "cards", "first_plan", "sources", "doubts", "checking")
"""Each stands on those before it only."""


def imported(path):
    """Return the rooms of ingest that a module imports from, imports inside functions counted too."""
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("qc.ingest."):
            room = node.module.split(".")[2]
            if room in ROOMS:
                yield room


def test_no_room_stands_on_a_later_one():
    assert {folder.name for folder in INGEST.iterdir() if (folder / "__init__.pyi").exists()} == set(ROOMS)
    wrong = []
    for path in sorted(INGEST.rglob("*.py")):
        own = path.relative_to(INGEST).parts[0]
        height = ROOMS.index(own) if own in ROOMS else -1
        wrong += [f"{path.name} -> {room}" for room in imported(path) if ROOMS.index(room) > height]
    assert wrong == []
