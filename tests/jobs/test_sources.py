"""A question takes a path, a polars or a pandas frame, and answers the same."""

import json

import pandas as pd
import polars as pl
import pytest

import qc
from qc.errors import QcError

NOTES = [
    (partial, position, round(6.0 - 0.8 * partial + (partial * 7 + position * 3) % 5, 1))
    for partial in (2, 3, 4, 5, 6, 8)
    for position in (1, 3)
]
TABLES = {
    "study": {
        "day": [f"d{n // 3}" for n in range(30)],
        "mm": [round(14.0 + 0.01 * (n * 7 % 11), 2) for n in range(30)],
    },
    "gauge": {
        "part": [f"p{n // 4}" for n in range(40)],
        "who": ["ab"[n // 2 % 2] for n in range(40)],
        "mm": [round(10 + n // 4 + 0.1 * (n * 5 % 7), 1) for n in range(40)],
    },
    "notes": dict(zip(("partial", "position", "cents"), zip(*NOTES, strict=True), strict=True)),
    "inner": {
        "tube": [f"I{n // 2}" for n in range(8)],
        "station": ["mouth", "end"] * 4,
        "od_mm": [round(13.9 + 0.002 * n, 3) for n in range(8)],
    },
    "outer": {
        "tube": [f"O{n // 2}" for n in range(8)],
        "station": ["mouth", "end"] * 4,
        "id_mm": [round(14.05 + 0.002 * n, 3) for n in range(8)],
    },
    "wear": {
        "die": ["D1"] * 12,
        "draws": [10 * n for n in range(12)],
        "od": [round(14.6 + 0.001 * n, 3) for n in range(12)],
    },
    "coat": {
        "area": [a for a in ("bell", "slide") for _ in range(9)],
        "spot": [n // 3 for n in range(18)],
        "um": [14.0 + 0.5 * (n * 5 % 7) for n in range(18)],
    },
}
ASK = {
    "study": lambda of: qc.study(of("study"), "mm", "mean-range", subgroup="day", lower=13.9, upper=14.2),
    "gauge_study": lambda of: qc.gauge_study(of("gauge"), "mm", "part", "who", lower=5, upper=25),
    "tune": lambda of: qc.tune(of("notes"), qc.Instrument(2931.6, (), 34, 7), reading_sd=3.0),
    "pair": lambda of: qc.pair(of("inner"), of("outer"), target_um=150, lower_um=120, upper_um=180),
    "wear": lambda of: qc.wear(of("wear"), value="od", against="draws", tool="die", upper=14.62),
    "coat": lambda of: qc.coat(of("coat"), nominal_um=15, lower_um=10, upper_um=25),
}


def told(answer):
    return json.loads(json.dumps(answer.to_dict()))


@pytest.mark.parametrize("suffix", ["csv", "xlsx"])
@pytest.mark.parametrize("verb", ASK)
def test_a_path_and_both_frames_give_one_answer(tmp_path, verb, suffix):
    def path(name):
        file = tmp_path / f"{name}.{suffix}"
        frame = pl.DataFrame(TABLES[name])
        frame.write_csv(file) if suffix == "csv" else frame.write_excel(file)
        return file

    from_path = told(ASK[verb](path))
    assert from_path == told(ASK[verb](lambda name: str(path(name))))
    assert from_path == told(ASK[verb](lambda name: pl.DataFrame(TABLES[name])))
    assert from_path == told(ASK[verb](lambda name: pd.DataFrame(TABLES[name])))


def test_studies_read_parquet_too(tmp_path):
    pl.DataFrame(TABLES["study"]).write_parquet(tmp_path / "t.parquet")
    assert told(ASK["study"](lambda _: tmp_path / "t.parquet")) == told(
        ASK["study"](lambda n: pl.DataFrame(TABLES[n]))
    )


def test_a_fault_in_a_frame_is_named_by_its_row():
    for frame in (pl.DataFrame, pd.DataFrame):
        with pytest.raises(qc.StatisticsError, match="table, row 2: the value in column 'mm' is missing"):
            qc.study(frame({"mm": [1.0, None, 3.0]}), "mm")
        with pytest.raises(qc.StatisticsError, match="table: there is no column 'um'; there are 'mm'"):
            qc.study(frame({"mm": [1.0, 2.0]}), "um")
        with pytest.raises(QcError, match="table, line 2, column um: the cell is empty"):
            qc.coat(
                frame({"area": ["bell"] * 3, "spot": [1, 1, 1], "um": [14.0, None, 15.0]}),
                nominal_um=15,
                lower_um=10,
            )
    with pytest.raises(QcError, match="inner tubes: column od_mm is missing"):
        qc.pair(
            pl.DataFrame({"tube": ["a"], "station": ["m"]}),
            pl.DataFrame(TABLES["outer"]),
            target_um=150,
            lower_um=120,
            upper_um=180,
        )


def test_what_is_no_table_is_refused():
    with pytest.raises(qc.StatisticsUsageError, match="a path, a polars or a pandas frame, not list"):
        qc.study([1.0, 2.0], "mm")
    with pytest.raises(qc.StatisticsUsageError, match="a frame has no sheets"):
        qc.gauge_study(pl.DataFrame(TABLES["gauge"]), "mm", "part", "who", sheet="first")
