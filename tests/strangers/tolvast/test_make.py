"""The invented one-room shop: the same seed gives the same files, and its truth speaks of its own sheets."""

from __future__ import annotations

import importlib.util
import json
import sys
import time
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
import yaml
from scipy import stats

HERE = Path(__file__).resolve().parent

SEEDS = (1, 3, 5)  # one hands in by the week, two all at once; day by day is the same with more files


def _loaded(path: Path, name: str) -> Any:
    """Load a program under a name of its own: other shops have a `make.py` too."""
    spec = importlib.util.spec_from_file_location(name, path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


tolvast = _loaded(HERE / "make.py", "tolvast_make")
shop, noises = sys.modules["tolvast_shop"], sys.modules["tolvast_noise"]


@pytest.fixture(scope="module", params=SEEDS)
def shop_folder(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("tolvast")
    tolvast.make(folder, request.param)
    return folder


def _truth(folder: Path) -> dict[str, Any]:
    told: dict[str, Any] = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    return told


def _table(path: Path) -> pd.DataFrame:
    """Give the table of a sheet below its head, with the head's person in the empty cells."""
    if path.suffix == ".xlsx":
        cells = pd.read_excel(path, header=None, dtype=object, engine="calamine").to_numpy().tolist()
        cells = [[None if pd.isna(cell) else str(cell) for cell in line] for line in cells]
    else:
        text = path.read_text(encoding="utf-8").rstrip("\n").split("\n")
        mark = max(";,\t", key=text[text.index("") + 1].count)
        cells = [[cell or None for cell in line.split(mark)] for line in text]
    start = next(i for i, line in enumerate(cells) if not any(line))
    table = pd.DataFrame(cells[start + 2 :], columns=cells[start + 1])
    head = {line[0]: line[1] for line in cells[:start]}
    if "Person" in head:
        table["Person"] = table["Person"].fillna(head["Person"])
    return table


@cache
def _card(folder: Path, card: str) -> pd.DataFrame:
    """Give all rows of a kind of card as they were handed in, without the corrected ones."""
    return pd.concat([_table(path) for path in sorted(folder.glob(f"hand_in/*/{card}.*"))])


def test_the_same_seed_gives_the_same_files_and_another_seed_others(tmp_path: Path) -> None:
    begun = time.perf_counter()
    tolvast.make(tmp_path / "a", 5, months=2)
    took = time.perf_counter() - begun
    tolvast.make(tmp_path / "b", 5, months=2)
    tolvast.make(tmp_path / "c", 6, months=2)
    files = [
        {path.relative_to(tmp_path / name): path.read_bytes() for path in (tmp_path / name).rglob("*.*")}
        for name in "abc"
    ]
    assert files[0] == files[1]
    assert files[0][Path("truth.json")] != files[2][Path("truth.json")]
    assert len(files[0]) > 10
    assert took < 3


def test_about_half_of_the_series_never_change_and_no_change_comes_early(shop_folder: Path) -> None:
    told = _truth(shop_folder)["series"]
    changed = [one for one in told if one["changes"]]
    assert 25 <= len(told) <= 60
    assert 0.35 <= len(changed) / len(told) <= 0.6
    for one in changed:
        card = next(figure.card for figure in shop.FIGURES if figure.id == one["characteristic"])
        rows = _card(shop_folder, card)
        if one["model"]:
            rows = rows[rows["Model"] == one["model"]]
        rows = rows.assign(
            day=pd.to_datetime(rows["Date"], format="mixed", dayfirst="." in rows["Date"].iloc[0])
        )
        order = (
            rows.groupby("Serial")["day"]
            .min()
            .reset_index()
            .sort_values(["day", "Serial"])["Serial"]
            .tolist()
        )
        for change in one["changes"]:
            first = order.index(change["first_serial"])
            assert first >= noises.BEFORE - 2  # a piece or two of the card may lack this one figure
            assert change["last_serial"] is None or order.index(change["last_serial"]) >= first


def test_what_the_truth_blames_stands_on_the_cards_of_the_stage(shop_folder: Path) -> None:
    for one in _truth(shop_folder)["series"]:
        figure = next(figure for figure in shop.FIGURES if figure.id == one["characteristic"])
        for change in one["changes"]:
            cause = change["cause"]
            assert cause["recorded"] == (cause["kind"] != "none")
            if not cause["recorded"]:
                continue
            cards = [card.id for card in shop.CARDS if card.stage == one["stage"] and card.batch]
            rows = _card(shop_folder, cards[0] if cause["kind"] == "batch" else figure.card)
            if cause["kind"] != "batch":  # a lot stands on a card of its own, which may lack this very piece
                rows = rows[rows["Serial"] == change["first_serial"]]
            words = {str(word) for word in rows.to_numpy().ravel()}
            assert cause["value"] in words


def test_corrected_cards_differ_from_what_was_handed_in_first(shop_folder: Path) -> None:
    for row in _truth(shop_folder)["corrected"]:
        assert row["first"] != row["then"]
        again = _table(shop_folder / "hand_in" / row["sheet"])
        assert row["serial"] in set(again["Serial"])


def test_the_plan_asks_for_no_shape_and_names_every_card(tmp_path: Path) -> None:
    tolvast.make(tmp_path, 7, months=1)
    plan = yaml.safe_load((tmp_path / "plan.yaml").read_text(encoding="utf-8"))
    entries = [entry for stage in plan["stages"] for entry in stage["characteristics"]]
    assert len(entries) == len(shop.FIGURES) + 1
    assert not any("shape" in entry for entry in entries)
    assert {path.stem.removesuffix("_corrected") for path in tmp_path.glob("hand_in/*/*")} <= {
        card["id"] for card in plan["cards"]
    }


def test_no_months_are_refused(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="Ask for one or more"):
        tolvast.make(tmp_path, 1, months=0)


@pytest.mark.parametrize(
    ("noise", "same"),
    [
        (noises.Noise("normal", 3.0, 0.5), stats.norm(3.0, 0.5)),
        (noises.Noise("t5", 3.0, 0.5, tails=5), stats.t(5, 3.0, 0.5 / np.sqrt(5 / 3))),
        (
            noises.Noise("skewed", 2.0, 0.8, log_sd=0.385254),
            stats.lognorm(0.385254, scale=2 * np.exp(-(0.385254**2) / 2)),
        ),
    ],
    ids=["normal", "t5", "skewed"],
)
def test_shares_outside_and_draws_are_those_of_scipys_distributions(noise: Any, same: Any) -> None:
    for value in (1.2, 2.0, 3.1, 4.4, 5.9):
        assert noise.below(value) == pytest.approx(same.cdf(value), rel=1e-4)
        assert noise.above(value) == pytest.approx(same.sf(value), rel=1e-4)
    latent = np.random.default_rng(3).standard_normal(4000)
    drawn = noise.mean + noise.sd * noise.shaped(latent)
    assert np.sort(drawn) == pytest.approx(np.sort(same.ppf(stats.norm.cdf(latent))), rel=1e-4)
