"""What is kept of pieces outside their limits is compared with the readings by ``qc verify``."""

import json
import sqlite3

import pytest

from qc.jobs.pieces import outside_up_to_date
from qc.jobs.rejudge import rejudge
from qc.jobs.upload import upload
from qc.jobs.verify import verify_workshop
from qc.jobs.workshop import open_workshop

PLAN = """
workshop: {name: Heron Lane Brass, time_zone: UTC}
models: [{id: alto, name: Alto, family: alto, pedal_midi: 34, length_mm: 2931.6}]
people: [{code: ML}]
cards: [{id: bow, title: Bow card, source: bench, stage: bow, characteristics: [rise]}]
stages:
  - id: bow
    name: Bow
    characteristics:
      - {id: rise, name: Rise, unit: mm, pool: all, limits: [{lower: 46, upper: 54}]}
"""
CARD = b"serial,model,date,person,rise\nA-1,alto,2026-03-02,ML,50.1\nA-2,alto,2026-03-02,ML,55.3"


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "plan.yaml").write_text(PLAN)
    workshop = open_workshop(tmp_path, writes=True)
    upload(workshop, [("bow.csv", CARD)], who="ML")
    outside_up_to_date(workshop)
    workshop.store.close()
    assert verify_workshop(tmp_path).faults == ()
    return tmp_path


@pytest.mark.file
@pytest.mark.parametrize(
    "spoil",
    [
        lambda kept: {**kept, "figures": []},
        lambda kept: {**kept, "figures": [{**one, "serial": "A-1"} for one in kept["figures"]]},
        lambda kept: {**kept, "figures": [{"serial": "A-2"}]},
    ],
    ids=["emptied", "another piece", "half"],
)
def test_a_list_that_was_altered_is_named_and_worked_out_anew(folder, spoil):
    """Emptied by hand, nothing was to be held any more, and verify said that all was well."""
    with sqlite3.connect(folder / "qc.db") as conn:
        (kept,) = conn.execute("SELECT value FROM state WHERE key = 'pieces outside'").fetchone()
        told = json.loads(kept)
        assert [one["serial"] for one in told["figures"]] == ["A-2"]
        conn.execute("UPDATE state SET value = ? WHERE key = 'pieces outside'", (json.dumps(spoil(told)),))
    (fault,) = verify_workshop(folder).faults
    assert "pieces outside their limits" in fault and "qc rejudge" in fault
    workshop = open_workshop(folder, writes=True)
    rejudge(workshop)
    workshop.store.close()
    assert verify_workshop(folder).faults == ()
