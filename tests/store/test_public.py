"""What the store offers, and that its page and its door say the same."""

import ast
import inspect
import re
from pathlib import Path

import pytest

import qc.store
from qc.store import Store
from qc.store.tables import KEPT, metadata

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs" / "reference" / "store.md").read_text("utf-8")
VERBS = [name for name, one in inspect.getmembers(Store, inspect.isfunction) if not name.startswith("_")]


def test_the_door_lists_what_is_there():
    assert sorted(qc.store.__all__) == qc.store.__all__
    assert all(hasattr(qc.store, name) for name in qc.store.__all__)


def test_other_packages_come_in_by_the_door_only():
    for package in ("qc/jobs", "qc/cli", "qc/report", "qc/watch", "qc/ingest", "dashboard"):
        for path in (ROOT / package).rglob("*.py"):
            for node in ast.walk(ast.parse(path.read_text("utf-8"))):
                module = node.module if isinstance(node, ast.ImportFrom) else ""
                assert not (module or "").startswith("qc.store."), f"{path} reaches behind qc.store"


@pytest.mark.parametrize("verb", [verb for verb in VERBS if verb not in {"close", "readings_by_id"}])
def test_every_verb_is_on_the_page(verb):
    assert re.search(rf"`{verb}\(", PAGE)


@pytest.mark.parametrize("table", sorted(metadata.tables))
def test_every_table_is_on_the_page_with_whether_it_changes(table):
    (line,) = [
        line
        for line in PAGE.splitlines()
        if re.match(rf"\| .*`{table}`.* \| .* \| (never|rewritten) \|", line)
    ]
    assert line.endswith("| never |") is (table in {kept.name for kept in KEPT})
