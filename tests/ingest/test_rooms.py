"""The rooms of ingest: a face offers what its stub lists; nobody reaches past it or against the order."""

import ast
from importlib import import_module
from pathlib import Path

import pytest

INGEST = Path(__file__).parents[2] / "qc" / "ingest"
ROOMS = ("cells", "reading", "cards", "sources", "doubts", "checking")
"""Each stands on those before it only."""

FACES = ["", *ROOMS, *(f"doubts.{room}" for room in ("rows", "figures", "pieces", "sheets"))]


def modules():
    for path in sorted(INGEST.rglob("*.py")):
        parts = path.relative_to(INGEST).with_suffix("").parts
        yield path, ".".join(part for part in parts if part != "__init__")


def imported(path):
    """Return the modules of ingest that a module imports from, imports inside functions counted too."""
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("qc.ingest"):
            yield node.module.removeprefix("qc.ingest").lstrip(".")


@pytest.mark.parametrize("face", FACES)
def test_a_face_offers_what_its_stub_lists(face):
    package = import_module(f"qc.ingest.{face}".rstrip("."))
    stub = ast.parse((INGEST.joinpath(*face.split(".")) / "__init__.pyi").read_text("utf-8"))
    (listed,) = (ast.literal_eval(node.value) for node in stub.body if isinstance(node, ast.Assign))
    assert sorted(listed) == package.__all__
    taken = {path.stem for path in Path(package.__file__).parent.iterdir()}
    for name in listed:
        assert getattr(package, name) is not None
        assert name not in taken  # a module of that name would take its place once it is loaded


def test_no_module_reaches_past_a_face_or_against_the_order():
    wrong = []
    for path, name in modules():
        own = name.split(".")[0]
        for target in imported(path):
            room = target.split(".")[0]
            if room not in ROOMS or room == own:
                continue
            if target != room or (own in ROOMS and ROOMS.index(room) > ROOMS.index(own)):
                wrong.append(f"{name} -> {target}")
            if own and own not in ROOMS:  # what stands beside the rooms stands under all of them
                wrong.append(f"{name} -> {target}")
    assert wrong == []


def test_no_folder_is_crowded():
    assert max(len(list(folder.glob("*.py"))) for folder in [INGEST, *INGEST.rglob("*/")]) <= 20
