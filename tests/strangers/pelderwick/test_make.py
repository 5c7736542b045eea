"""The invented workshop Pelderwick: the same seed, the same files; its truth is about its own sheets."""

import hashlib
import importlib.util
import json
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
import yaml


def load_make() -> Callable[..., None]:
    """Load the program by its place: it is no part of a package."""
    spec = importlib.util.spec_from_file_location("pelderwick_make", Path(__file__).with_name("make.py"))
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    made: Callable[..., None] = module.make
    return made


make = load_make()


def prints(folder: Path) -> dict[str, str]:
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def table_of(path: Path) -> pd.DataFrame:
    """Read the table of a sheet: what stands below its first blank row."""
    if path.suffix == ".xlsx":
        lines = pd.read_excel(path, header=None, dtype=str, engine="calamine").fillna("").to_numpy().tolist()
    else:
        raw = path.read_text(encoding="utf-8").split("\n")
        mark = raw[raw.index("") + 1]
        separator = max(";\t,", key=mark.count)
        lines = [line.split(separator) for line in raw]
    blank = next(i for i, line in enumerate(lines) if not any(line))
    rows = [line for line in lines[blank + 2 :] if any(line)]
    return pd.DataFrame(rows, columns=lines[blank + 1])


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("shop") / "made"
    make(folder, 5, months=9)
    return folder


def truth(folder: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    return found


def test_the_same_seed_gives_the_same_files_in_under_three_seconds(tmp_path: Path) -> None:
    # Processor time: a machine that is busy with something else is no fault of the program.
    began = time.process_time()
    make(tmp_path / "a", 4, months=2)
    assert time.process_time() - began < 3
    make(tmp_path / "b", 4, months=2)
    assert prints(tmp_path / "a") == prints(tmp_path / "b")
    make(tmp_path / "c", 6, months=2)
    assert prints(tmp_path / "a")["truth.json"] != prints(tmp_path / "c")["truth.json"]


def test_the_serials_and_words_of_the_truth_stand_on_the_sheets(made: Path) -> None:
    sheets: dict[str, list[pd.DataFrame]] = {}
    everything = ""
    for path in sorted((made / "hand_in").rglob("*.*")):
        sheets.setdefault(path.name.rsplit("_20", 1)[0], []).append(table_of(path))
        if path.suffix == ".csv":
            everything += path.read_text(encoding="utf-8")
        else:
            everything += pd.read_excel(path, header=None, dtype=str, engine="calamine").to_csv()
    plan = yaml.safe_load((made / "plan.yaml").read_text(encoding="utf-8"))
    read = {card["id"]: card["characteristics"] for card in plan["cards"]}
    changed = 0
    for series in truth(made)["series"]:
        name = {"clearance": "clearance_read"}.get(series["characteristic"], series["characteristic"])
        (card,) = (card for card, figures in read.items() if name in figures)
        serials = pd.concat([table[["Serial", "Model"]] for table in sheets[card]])
        own = set(serials["Serial"][serials["Model"].isin(series["models"])])
        assert abs(series["pieces"] - len(own)) <= 0.05 * series["pieces"] + 2, series["series"]
        for change in series["changes"]:
            changed += 1
            assert change["first_serial"] in own, series["series"]
            assert change["last_serial"] is None or change["last_serial"] in own, series["series"]
            assert change["cause"]["value"] is None or change["cause"]["value"] in everything, series[
                "series"
            ]
    assert changed > 10


def test_about_half_of_the_series_never_change_and_nothing_begins_before_the_25th_piece(made: Path) -> None:
    series = truth(made)["series"]
    assert 25 <= len(series) <= 66
    still = sum(not each["changes"] for each in series)
    assert 0.4 <= still / len(series) <= 0.65
    assert all(each["pieces"] >= 40 for each in series if each["changes"])


def test_the_plan_leaves_the_shape_to_the_tool_and_limits_fit_the_truth(made: Path) -> None:
    plan = yaml.safe_load((made / "plan.yaml").read_text(encoding="utf-8"))
    figures = [figure for stage in plan["stages"] for figure in stage["characteristics"]]
    assert not any("shape" in figure for figure in figures)
    assert len(plan["people"]) == 8 and len(plan["models"]) == 6
    for each in truth(made)["series"]:
        assert (each["true_ppk"] is None) == (each["lower"] is None and each["upper"] is None)
        if each["true_ppk"] is not None:
            assert 0 < each["true_ppk"] < 3, each["series"]
