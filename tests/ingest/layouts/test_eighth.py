"""Layouts of the eighth stranger that no reader understands, shown by hand: each is read as it was meant.

Pointing is no guessing: the layouts were written together with their reader, the truth is the stranger's.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from qc.ingest import Known, Mappings, check, mappings_text, read_layout_texts, read_sheet, unfold
from qc.plan import PLACE

STRANGER = Path(__file__).parents[2] / "strangers" / "eighth"
sys.path.insert(0, str(STRANGER.parent))

import score_sheets as score  # noqa: E402

PLAN, DAY = score.planned(STRANGER)
TEXT = (Path(__file__).parent / "eighth.yaml").read_text("utf-8")
LAYOUTS = read_layout_texts(TEXT, "eighth.yaml", PLAN)
CASES = {case["file"]: case for case in score.read_layouts(STRANGER)}


@pytest.mark.parametrize("layout", LAYOUTS, ids=lambda layout: layout.name)
def test_a_layout_that_was_shown_is_read_as_it_was_meant(layout):
    data = (STRANGER / "layouts" / layout.name).read_bytes()
    parts = [unfold(g, PLAN, Mappings(given_layouts=(layout,))) for g in read_sheet(data, layout.name)]
    accepted = set()
    for one in check(parts, PLAN, Known(today=DAY)):
        assert one.held.is_empty()
        for row in one.readings.to_dicts():
            places = frozenset(f"{place}={row[place]}" for place in PLACE if row[place] not in (None, ""))
            named = row["serial"], row["model"], str(row["day"]), row["characteristic"]
            accepted.add((*named, places, round(float(row["value"]), 6)))
    assert accepted == score.meant(CASES[layout.name]["readings"])


def test_a_layout_is_the_same_when_it_was_written_and_read_back():
    assert read_layout_texts(mappings_text((), LAYOUTS), "mappings.yaml", PLAN) == LAYOUTS


def test_no_layout_fits_the_sheet_of_another():
    for file in CASES:
        for grid in read_sheet((STRANGER / "layouts" / file).read_bytes(), file):
            through = None
            try:
                through = unfold(grid, PLAN, Mappings(layouts=LAYOUTS)).through
            except score.SheetError:
                continue
            assert through is None or through.layout.name == file
