"""The documents of ingest are true: their examples run, and they name every reason, mark and event."""

import doctest
import re
from pathlib import Path
from typing import get_args, get_type_hints

import pytest

from qc.ingest import DOUBTS, Reason, SheetMark
from qc.ingest.reading.grid import MAX_BYTES, MAX_COLUMNS, MAX_ROWS
from qc.ingest.sources.unfolding import SOURCES
from qc.plan import EVENT_KINDS

DOCS = Path(__file__).parents[2] / "docs"
SHEETS = DOCS / "reference" / "sheets.md"
PAGES = [SHEETS, DOCS / "how-to" / "mend-a-held-row.md"]


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
def test_examples_run(page):
    failed, tried = doctest.testfile(str(page), module_relative=False, encoding="utf-8")
    assert failed == 0
    assert tried > 8


def section(title):
    text = SHEETS.read_text(encoding="utf-8")
    return text.split(title, 1)[1]


def named(text):
    """Return the words in code type in the first column of the tables of a text."""
    return set(re.findall(r"`([a-z0-9-]+)`", "\n".join(re.findall(r"^\| (`.*?) \|", text, re.M))))


def test_every_reason_is_explained_as_what_it_is():
    held = section("## Why a row is held").split("## From Python")[0]
    faults, doubts = held.split("**Doubts**")
    assert named(faults) == {str(reason) for reason in Reason} - {str(reason) for reason in DOUBTS}
    assert named(doubts.split("**Marks**")[0]) == {str(reason) for reason in DOUBTS}


def test_every_mark_source_and_event_is_named():
    text = SHEETS.read_text(encoding="utf-8")
    marks = {"backdated", "rounded-readings", "gauge-unchecked"}
    assert set(get_args(get_type_hints(SheetMark)["id"])) == marks
    for word in (*marks, *SOURCES, *EVENT_KINDS):
        assert f"`{word}`" in text


def test_the_limits_named_are_those_of_the_program():
    text = SHEETS.read_text(encoding="utf-8")
    assert f"{MAX_BYTES // 1_000_000} MB, {MAX_ROWS:,} rows, {MAX_COLUMNS} columns" in text


def test_links_lead_somewhere():
    for page in PAGES:
        for target in re.findall(r"\]\(([^)#]+)", page.read_text(encoding="utf-8")):
            assert (page.parent / target).exists(), target
