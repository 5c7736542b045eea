"""What the jobs answer is had as a frame by item and shown as a table in a notebook."""

import csv
from datetime import date

import pytest

import qc

ROWS = [(part, who, 10 + part + 0.1 * again) for part in range(5) for who in "ab" for again in range(2)]


@pytest.fixture
def table(tmp_path):
    path = tmp_path / "readings.csv"
    with path.open("w", newline="") as file:
        csv.writer(file).writerows([("part", "who", "mm"), *ROWS])
    return path


def test_a_study_gives_the_tables_that_out_writes(table, tmp_path):
    import polars as pl

    out = tmp_path / "points.parquet"
    found = qc.study(table, "mm", series="who", center=11.0, sigma=0.5, out=out)
    assert found.to_frame().equals(pl.read_parquet(out))
    assert found.to_frame("signals").equals(pl.read_parquet(tmp_path / "points-signals.parquet"))
    said = [(name, signal.point) for name, answer in found.answers.items() for signal in answer.signals]
    assert found.to_frame("signals").select("series", "point").rows() == said and said[-1] == ("b", 10)
    assert found.to_frame()["series"].unique(maintain_order=True).to_list() == ["a", "b"]


def test_gauge_studies(table):
    found = qc.gauge_study(table, "mm", "part", "who")
    assert found.to_frame().equals(found.study.to_frame())
    bias = qc.gauge_linearity(table, "mm", "part")
    assert bias.to_frame()["reference"].to_list() == [0, 1, 2, 3, 4]


def test_agreement_is_a_row_an_agreement(tmp_path):
    path = tmp_path / "verdicts.csv"
    rows = [
        (piece, who, "bad" if (piece + (who == "b")) % 3 == 0 else "good")
        for piece in range(9)
        for who in "ab"
    ]
    with path.open("w", newline="") as file:
        csv.writer(file).writerows([("piece", "who", "said"), *rows])
    found = qc.gauge_agreement(path, "said", "piece", "who")
    assert found.to_frame().select("who", "with").rows() == [("all", "each other")]
    assert found.to_frame()["kappa"].to_list() == [found.between.kappa]


@pytest.mark.parametrize(
    ("found", "column"),
    [
        (lambda: qc.run_lengths("limits", shifts=[1.0]), "shift"),
        (lambda: qc.run_lengths("estimated", points=30, shifts=[1.0]), "shift"),
        (lambda: qc.chart_factors([2, 5]), "n"),
        (lambda: qc.limit_factors([5, 10]), "n"),
        (lambda: qc.t2_limits([30, 40], 2), "points"),
    ],
)
def test_run_lengths_and_factors(found, column):
    answer = found()
    frame = answer.to_frame()
    assert frame.height == 2 and frame.columns[0] == column or column in frame.columns
    page = answer._repr_html_()
    assert page.count("<tr>") == 3 and page.startswith("<p>")


def test_remedies_and_a_workshop_are_asked_from_python(tmp_path, table):
    worn = tmp_path / "worn.csv"
    with worn.open("w", newline="") as file:
        csv.writer(file).writerows([("od", "draws"), *((14.6 + 0.001 * n, 10 * n) for n in range(12))])
    found = qc.wear(qc.read_sheet(worn), value="od", against="draws", upper=14.62)
    assert found.to_frame().select("n", "limit").rows() == [(12, 14.62)]
    qc.new_workshop(tmp_path / "own")
    own = qc.open_workshop(tmp_path / "own", as_of=date(2026, 11, 2))
    for answer in (qc.status(own), qc.list_held(own), qc.list_signals(own)):
        assert answer.to_frame().is_empty() and "<table>" in answer._repr_html_()
    assert qc.upload(own, [("readings.csv", table.read_bytes())]).to_frame().height <= 1


def test_every_answer_of_a_workshop_and_a_remedy_is_a_table():
    from qc.jobs.receipts import UploadReceipt
    from qc.jobs.remedies.coating import CoatResult
    from qc.jobs.remedies.pairing import PairResult
    from qc.jobs.remedies.tool_wear import WearResult
    from qc.jobs.remedies.tuning import TuneResult
    from qc.jobs.rows import HeldList
    from qc.jobs.signals import SignalList
    from qc.jobs.status import Status

    for kind in (CoatResult, HeldList, PairResult, SignalList, Status, TuneResult, UploadReceipt, WearResult):
        assert issubclass(kind, qc.Tabled) and kind.ROWS
    assert HeldList(()).to_frame().is_empty() and SignalList(()).to_frame().is_empty()
