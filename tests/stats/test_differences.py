"""The table of differences from published values: every verdict holds, and it can fail."""

import importlib
import json
import sys
from pathlib import Path

import pytest

PUBLISHED = Path(__file__).parents[1] / "published"


@pytest.fixture(scope="module")
def differences():
    """The program beside the published values; its folder is on the path only while it loads."""
    sys.path.insert(0, str(PUBLISHED))
    try:
        yield importlib.import_module("differences")
    finally:
        sys.path.remove(str(PUBLISHED))


def kept_names():
    """Ids as the program names them, without loading it."""
    names = []
    for path in sorted(PUBLISHED.glob("*.json")):
        if path.stem.startswith("trade_"):
            continue
        alone = path.stem.startswith("changepoint_")
        for name in [path.stem] if alone else json.loads(path.read_text("utf-8")):
            names.append(name if name not in names else f"{name} ({path.stem})")
    return names


@pytest.mark.parametrize("name", kept_names())
def test_every_published_item_agrees(differences, name):
    items = differences.kept_items()
    rows = [
        row
        for found, _, row in differences.compared({name: items[name], **_beside(items, name)})
        if found == name
    ]
    assert rows
    for row in rows:
        assert row.holds, f"{row.quantity}: {row.difference:.3g}, allowed {row.tolerance:.3g} ({row.kind})"


def _beside(items, name):
    """Items whose data another item takes, first so that the one asked for stands by itself."""
    wanted = {"B17": ["B16"], "B21": ["B14"], "E7": ["E2"], "F2": ["gear", "B14"]}
    return {other: items[other] for other in wanted.get(name, []) if other in items}


def test_the_table_names_what_fails_and_what_is_not_compared(differences, tmp_path, capsys, monkeypatch):
    monkeypatch.setattr(differences, "kept_items", dict)
    wrong = {"id": "B4", "source": "spoilt on purpose", "data": [16, 14, 28, 16] * 5}
    wrong["published"] = {"cbar": 16, "UCL": 28, "LCL": 4, "signals": []}
    wrong["recomputed"] = {"exact_poisson_lower_00135": 5, "exact_poisson_upper_999": 29}
    unknown = {"id": "Z9-shared", "source": "nobody"}
    (tmp_path / "z_items.json").write_text(json.dumps([wrong, unknown]), encoding="utf-8")
    assert differences.main([str(tmp_path)]) == 1
    table = capsys.readouterr().out
    assert "FAILS" in table and "no comparison" in table and "do not hold" in table
    assert all(len(line.split(" | ")) >= 8 for line in table.splitlines()[:-2] if line)


def test_an_empty_folder_is_said(differences, tmp_path):
    with pytest.raises(SystemExit, match="no \\*_items.json"):
        differences.main([str(tmp_path)])


def test_differences_are_measured_as_they_say(differences):
    near = importlib.import_module("comparing").near
    assert near("a", [1.0, 2.0], [1.0, 2.5], absolute=1.0).difference == 0.5
    assert near("a", [1.0, 2.0], [1.0, 2.5], relative=1.0).difference == pytest.approx(0.2)
    assert near("a", 2.0, 2.5, errors=0.25).difference == 2.0
    assert near("a", [1.0, None], [1.0, None], absolute=0.0).holds
    assert not near("a", [1.0, None], [1.0, 2.0], absolute=9.0).holds
    assert not near("a", [1.0], [1.0, 2.0], absolute=9.0).holds
