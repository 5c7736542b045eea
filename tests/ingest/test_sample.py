"""The sample workshop's sheets: every planted mishap is held or read for what it is, and nothing else is."""

import json
from collections import defaultdict
from pathlib import Path

import pytest
import yaml

from qc.ingest import Known, check, read_sheet, unfold
from qc.plan import Plan

ROOT = Path(__file__).parents[2] / "sample_measurements"
FALSE_HOLDS = 1 / 2000
"""Share of good rows that may be held."""


@pytest.fixture(scope="module")
def sample():
    plan = Plan.model_validate(yaml.safe_load((ROOT / "plan.yaml").read_text(encoding="utf-8")))
    sheets = []
    for path in sorted((ROOT / "sheets").rglob("*.*")):
        name = path.relative_to(ROOT).as_posix()
        sheets += [unfold(grid, plan) for grid in read_sheet(path.read_bytes(), name)]
    return sheets, check(sheets, plan, Known(today=plan.workshop.today))


@pytest.fixture(scope="module")
def planted():
    return yaml.safe_load((ROOT / "planted.yaml").read_text(encoding="utf-8"))["mishaps"]


@pytest.fixture(scope="module")
def held(sample):
    rows = defaultdict(list)
    for checked in sample[1]:
        for row in checked.held.to_dicts():
            rows[row["file"], row["tab"], row["row"]].append(row)
    return rows


def test_every_row_is_accepted_or_held(sample):
    sheets, found = sample
    assert sum(sheet.rows for sheet in sheets) == sum(checked.rows for checked in found)
    assert sum(sheet.rows for sheet in sheets) > 15_000


def test_every_planted_mishap_is_held_for_its_own_reason(planted, held, sample):
    missed = []
    for mishap in planted:
        at = (mishap["file"], mishap["tab"], mishap["line"])
        reasons = [reason["id"] for row in held[at] for reason in json.loads(row["reasons"])]
        if mishap["held"] and mishap["kind"] not in reasons:
            missed.append(mishap)
    assert missed == []


def test_planted_commas_are_read_by_the_nominal_and_noted(planted, sample):
    wanted = {(m["file"], m["typed"], float(m["meant"])) for m in planted if not m["held"]}
    found = set()
    for sheet, checked in zip(*sample, strict=True):
        noted = checked.readings.filter(checked.readings["note"].str.contains("comma read"))
        found |= {(sheet.file, row["text"], row["value"]) for row in noted.to_dicts()}
    assert wanted
    assert wanted == found


def test_offered_figures_are_those_that_were_meant(planted, held):
    """Where one figure was spoilt and one is offered, accepting it gives what was measured."""
    compared = 0
    for mishap in planted:
        at = (mishap["file"], mishap["tab"], mishap["line"])
        offers = [
            json.loads(row["proposal"])
            for row in held[at]
            if row["proposal"] and row["text"] == mishap["typed"]
        ]
        if mishap["cells"] == 1 and offers and "value" in offers[0]:
            assert offers[0]["value"] == pytest.approx(float(mishap["meant"]), rel=2e-4), mishap
            compared += 1
    assert compared >= 15


def test_good_rows_are_not_held(planted, held, sample):
    spoilt = set()
    for mishap in planted:
        reach = 400 if mishap["cells"] > 1 else 1  # a block of cells runs on below its first
        spoilt |= {(mishap["file"], mishap["tab"], mishap["line"] + n) for n in range(reach)}
    false = [row["reasons"] for at, rows in held.items() if at not in spoilt for row in rows]
    rows = sum(sheet.rows for sheet in sample[0])
    assert len(false) <= FALSE_HOLDS * rows, false


def test_the_same_upload_twice_gives_the_same_verdicts(sample):
    sheets, found = sample
    plan = Plan.model_validate(yaml.safe_load((ROOT / "plan.yaml").read_text(encoding="utf-8")))
    few = [n for n, sheet in enumerate(sheets) if sheet.card == "bell-map"]
    again = check([sheets[n] for n in few], plan, Known(today=plan.workshop.today))
    assert [c.reasons() for c in again] == [found[n].reasons() for n in few]
