"""Work on a cluster comes to what it comes to here, bit for bit, although a worker is killed."""

import dataclasses
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from qc.errors import MachineError, UsageError
from qc.jobs.questions import study, study_parts
from qc.jobs.rejudge import rejudge
from qc.jobs.spread import cluster as clusters
from qc.jobs.spread import hands_of, in_turn
from qc.store import MARK

SEED = 20261129
TOLVAST = Path(__file__).parents[2] / "strangers" / "tolvast" / "make.py"


@pytest.fixture
def archive(tmp_path):
    """Write 24 series of differing length, each in one piece, into three files."""
    rng = np.random.default_rng(SEED)
    lengths = rng.integers(20, 60, 24)
    rows = pl.DataFrame(
        {
            "series": np.repeat([f"bore {n}" for n in range(24)], lengths),
            "value": rng.normal(14.0, 0.02, lengths.sum()),
        }
    )
    folder = tmp_path / "archive"
    folder.mkdir()
    for number in range(3):
        rows.slice(number * 350, 350).write_parquet(folder / f"{number}.parquet")
    return folder


@pytest.mark.slow
@pytest.mark.parametrize("stranger", [TOLVAST], indirect=True, ids=["tolvast"])
def test_a_study_and_judging_anew_with_a_killed_worker(cluster, archive, monkeypatch, stranger):
    monkeypatch.setattr(study_parts, "PART_ROWS", 100)
    told = []

    def kill_one(done, total, what):
        told.append((done, total))
        if done == 1:
            cluster.workers[0].kill()

    asked = {"series": "series", "rules": "all", "lower": 13.9, "upper": 14.1, "checks": True}
    here = study(archive, "value", **asked).to_dict()
    there = study(archive, "value", cluster=cluster.address, progress=kill_one, **asked).to_dict()
    assert there == here
    assert told == [(n, len(told)) for n in range(1, len(told) + 1)]
    assert len(told) > 5
    assert cluster.workers[0].wait(10) != 0

    judged = rejudge(stranger, learn=True)
    kept = _kept(stranger)
    again = rejudge(stranger, learn=True, cluster=cluster.address)
    assert dataclasses.replace(again, already=judged.already, changed=()) == dataclasses.replace(
        judged, changed=()
    )
    assert again.changed == ()
    assert _kept(stranger) == kept and len(kept[0]) > 10


def _kept(shop):
    """Return verdicts and what is kept of each series: where it stands, and how its pieces scatter."""
    verdicts = {record.series: record.plain for record in shop.store.verdicts()}
    names = [f"{what} {series}" for series in verdicts for what in ("course", "noise")]
    return verdicts, shop.store.states(names), shop.store.state(MARK)


@pytest.mark.slow
def test_who_is_not_there_is_named_with_what_to_do(scheduler, monkeypatch):
    monkeypatch.setattr(clusters, "PATIENCE_S", 0.3)
    with (
        pytest.raises(MachineError, match="no worker came within .*dask worker tcp://"),
        hands_of(scheduler.address),
    ):
        pass
    with (
        pytest.raises(MachineError, match="no scheduler answers there.*leave --cluster out"),
        hands_of("tcp://127.0.0.1:9"),
    ):
        pass
    with pytest.raises(UsageError, match="this is no address"), hands_of("nowhere://there"):
        pass


@pytest.mark.slow
def test_a_worker_of_another_program_is_refused(cluster, monkeypatch):
    monkeypatch.setattr(clusters, "program_fingerprint", lambda: "another")
    with (
        pytest.raises(MachineError, match=r"this worker computes with qc .*\(here another\)"),
        hands_of(cluster.address),
    ):
        pass


def test_without_an_address_the_parts_are_done_here():
    with hands_of(None) as hands:
        assert hands is in_turn
        assert list(hands(abs, [-2, 3])) == [2, 3]
