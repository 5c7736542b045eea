"""The invented workshop Querlohn: one seed, one set of files; its truth is on its sheets."""

import hashlib
import importlib.util
import json
import re
from pathlib import Path

import openpyxl
import pytest
import yaml

HERE = Path(__file__).resolve().parent


@pytest.fixture(scope="module")
def make():
    spec = importlib.util.spec_from_file_location("querlohn_make", HERE / "make.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.make


@pytest.fixture(scope="module")
def folder(make, tmp_path_factory):
    folder = tmp_path_factory.mktemp("querlohn")
    make(folder, 7, months=2)
    return folder


def _digests(folder):
    files = sorted(path for path in folder.rglob("*") if path.is_file())
    return {str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest() for path in files}


def _text(path):
    if path.suffix == ".xlsx":
        rows = openpyxl.load_workbook(path).active.iter_rows(values_only=True)
        return "\n".join(";".join(str(cell) for cell in row) for row in rows)
    raw = path.read_bytes()
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        return raw.decode("cp1252")


def test_the_same_seed_writes_the_same_files_and_another_seed_others(make, folder, tmp_path):
    make(tmp_path / "again", 7, months=2)
    make(tmp_path / "other", 8, months=1)
    assert _digests(tmp_path / "again") == _digests(folder)
    assert _digests(tmp_path / "other")["plan.yaml"] != _digests(folder)["plan.yaml"]


def test_the_serials_and_words_of_the_truth_stand_on_the_sheets_of_that_stage(folder):
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    plan = yaml.safe_load((folder / "plan.yaml").read_text(encoding="utf-8"))
    sheets = [path for path in (folder / "hand_in").rglob("*") if path.is_file()]
    texts = {card["id"]: "" for card in plan["cards"]}
    for path in sheets:
        texts[
            next(card for card in texts if path.name.startswith(f"{card}_20") or f"{card}_Q" in path.name)
        ] += _text(path)
    changes = 0
    for series in truth["series"]:
        card = next(card for card in plan["cards"] if series["characteristic"] in card["characteristics"])
        for change in series["changes"]:
            changes += 1
            words = [change["first_serial"], change["last_serial"], change["cause"]["value"]]
            assert [word for word in words if word and word not in texts[card["id"]]] == []
    assert changes > 0


def test_about_half_of_the_series_never_change_and_nothing_begins_before_the_25th_piece(folder):
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    changed = [series for series in truth["series"] if series["changes"]]
    assert 25 <= len(truth["series"]) <= 60
    assert 0.3 < len(changed) / len(truth["series"]) < 0.6
    plan = yaml.safe_load((folder / "plan.yaml").read_text(encoding="utf-8"))
    wide = {one["id"]: one.get("pool") for stage in plan["stages"] for one in stage["characteristics"]}
    # late cards stand further back on the sheets than they were measured: hence 20, not 25
    for series in (one for one in changed if wide[one["characteristic"]] == "all"):
        card = next(
            card["id"] for card in plan["cards"] if series["characteristic"] in card["characteristics"]
        )
        text = "".join(_text(path) for path in sorted((folder / "hand_in").rglob(f"{card}_20*")))
        met = list(dict.fromkeys(re.findall(r"Q[NR]-\d+", text)))
        assert min(met.index(change["first_serial"]) for change in series["changes"]) >= 20
