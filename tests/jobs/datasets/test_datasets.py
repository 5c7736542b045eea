"""A folder of Parquet files answers as its rows do in one table, however they lie in the files."""

import json

import numpy as np
import polars as pl
import pytest
from polars.testing import assert_frame_equal

from qc.errors import QcError
from qc.jobs.questions import study, study_parts
from qc.stats import StatisticsError, StatisticsUsageError

SEED = 20261129


@pytest.fixture(autouse=True)
def _small_parts(monkeypatch):
    monkeypatch.setattr(study_parts, "PART_ROWS", 120)


@pytest.fixture(scope="module")
def rows():
    """Draw 20 series of 8 to 40 readings, three a piece, with counts beside them."""
    rng = np.random.default_rng(SEED)
    parts = []
    for number in range(20):
        size = int(rng.integers(8, 40))
        parts.append(
            pl.DataFrame(
                {
                    "series": [f"s{number:02d}"] * size,
                    "made": np.arange(size),
                    "subgroup": np.arange(size) // 3,
                    "value": np.round(rng.normal(10 + number, 1, size), 3),
                    "faults": rng.poisson(4, size),
                }
            )
        )
    return pl.concat(parts)


def laid(folder, rows, files=3):
    folder.mkdir()
    step = -(-rows.height // files)
    for number in range(files):
        rows.slice(number * step, step).write_parquet(folder / f"{number}.parquet")
    return folder


@pytest.mark.parametrize("mixed", [False, True], ids=["in one piece", "mixed"])
@pytest.mark.parametrize(
    ("value", "chart", "options"),
    [
        ("value", "individuals", {"lower": 8.0, "upper": 60.0, "checks": True}),
        ("value", "mean-range", {"subgroup": "subgroup", "lower": 5.0}),
        ("value", "changepoint", {}),
        ("value", "trend", {"against": "made"}),
        ("faults", "defects", {}),
        ("value,faults", "t2", {}),
    ],
)
def test_it_answers_as_one_table(rows, tmp_path, mixed, value, chart, options):
    if mixed:
        rows = rows.sample(fraction=1.0, shuffle=True, seed=SEED)
    rows.write_parquet(tmp_path / "one.parquet")
    asked = {"series": "series", "order": "made", **options}
    one = study(tmp_path / "one.parquet", value, chart, **asked).to_dict()
    found = study(laid(tmp_path / "many", rows), value, chart, **asked).to_dict()
    assert list(found["series"]) == list(one["series"])
    assert found == one


def test_readings_of_one_piece_count_as_one_piece(rows, tmp_path):
    numbered = rows.with_columns(serial=pl.format("T-{}", "subgroup"))
    numbered.write_parquet(tmp_path / "one.parquet")
    asked = {"series": "series", "lower": 5.0}
    one = study(tmp_path / "one.parquet", "value", **asked).to_dict()
    found = study(laid(tmp_path / "many", numbered), "value", **asked).to_dict()
    assert found == one
    assert "gives each piece one point" in json.dumps(found)


def test_tables_are_written_and_values_left_out(rows, tmp_path):
    rows.write_parquet(tmp_path / "one.parquet")
    folder = laid(tmp_path / "many", rows)
    study(tmp_path / "one.parquet", "value", series="series", rules="all", out=tmp_path / "a.parquet")
    answer = study(
        folder, "value", series="series", rules="all", signals_only=True, out=tmp_path / "b.parquet"
    )
    for name in ("{}.parquet", "{}-signals.parquet"):
        one, other = (pl.read_parquet(tmp_path / name.format(which)) for which in "ab")
        assert_frame_equal(one, other, rel_tol=1e-12)
    assert not list(tmp_path.glob(".qc-parts-*"))
    plain = answer.to_dict()["series"]["s00"]["chart"]
    assert "values" not in plain
    assert "values" in study(folder, "value", series="series").to_dict()["series"]["s00"]["chart"]
    assert "20 series of value in many" in answer.to_text()


def test_a_bad_cell_is_named_by_file_and_row(rows, tmp_path):
    bad = rows.with_columns(
        value=pl.when(pl.int_range(pl.len()) == rows.height - 2).then(None).otherwise("value")
    )
    folder = laid(tmp_path / "many", bad)
    last = pl.read_parquet(folder / "2.parquet").height
    with pytest.raises(StatisticsError, match=rf"many/2\.parquet, row {last - 1}: the value .* is missing"):
        study(folder, "value", series="series")


def test_what_cannot_be_asked_of_a_dataset(rows, tmp_path, monkeypatch):
    empty = tmp_path / "empty"
    empty.mkdir()
    with pytest.raises(StatisticsUsageError, match=r"no files \*\.parquet"):
        study(empty, "value")
    folder = laid(tmp_path / "many", rows)
    with pytest.raises(StatisticsError, match=r"0\.parquet: there is no column 'bore'; there are 'series', "):
        study(folder, "bore", series="series")
    with pytest.raises(StatisticsUsageError, match="a dataset is not drawn"):
        study(folder, "value", series="series", plot=tmp_path / "a.png")
    with pytest.raises(StatisticsUsageError, match="--workshop gives limits to one table"):
        study(folder, "value", series="series", workshop=tmp_path)
    with pytest.raises(StatisticsUsageError, match="--cluster is for a folder of parquet files"):
        study(rows, "value", series="series", cluster="tcp://127.0.0.1:9")
    monkeypatch.setattr(study_parts, "MOST_VALUES", 100)
    with pytest.raises(StatisticsUsageError, match="add --signals-only"):
        study(folder, "value", series="series")
    rows.cast({"value": pl.Float32}).write_parquet(folder / "3.parquet")
    with pytest.raises(StatisticsError, match=r"3\.parquet: column 'value' holds Float32, in 0\.parquet"):
        study(folder, "value", series="series", signals_only=True)
    (folder / "3.parquet").write_bytes(b"no table")
    with pytest.raises(StatisticsError, match=r"3\.parquet: cannot be read as parquet"):
        study(folder, "value", series="series", signals_only=True)


def test_one_series_without_a_name(rows, tmp_path):
    alone = rows.filter(pl.col("series") == "s03")
    alone.write_parquet(tmp_path / "one.parquet")
    one = study(tmp_path / "one.parquet", "value").to_dict()
    assert study(laid(tmp_path / "many", alone, 2), "value").to_dict() == one


def test_between_two_good_files_of_a_folder_a_damaged_one_is_named_and_the_others_stay_as_they_are(
    tmp_path,
):
    """No study leaves a file out unsaid: it is refused by name, and without it the folder is answered."""
    readings = np.random.default_rng(1711).normal(10, 1, 60).round(3)
    for name, own in (("a", readings[:30]), ("z", readings[30:])):
        pl.DataFrame({"mm": own}).write_parquet(tmp_path / f"{name}.parquet")
    bad = tmp_path / "m.parquet"
    for broken in (b"PAR1 cut off", b"", (tmp_path / "a.parquet").read_bytes()[:-9]):
        bad.write_bytes(broken)
        with pytest.raises(QcError, match=r"m\.parquet"):
            study(tmp_path, "mm")
    bad.unlink()
    whole = tmp_path.parent / "whole.parquet"
    pl.DataFrame({"mm": readings}).write_parquet(whole)
    assert_frame_equal(study(tmp_path, "mm").to_frame(), study(whole, "mm").to_frame())
