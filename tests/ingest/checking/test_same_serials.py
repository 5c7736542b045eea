"""A serial in another writing is the same piece, for parts with letters of their own too."""

from datetime import date

import polars as pl
import pytest

from qc.ingest import Known
from qc.ingest.checking.same_serials import doubtful_writings, usual_writings, with_usual_writing

TODAY = date(2026, 8, 7)


def known(*serials, parts=()):
    return Known(today=TODAY, serials=dict.fromkeys(serials, ""), parts=frozenset(parts))


@pytest.mark.parametrize("typed", ["rv 711", "RV711", "rv–711", "Rv_711", "RV/711"])
def test_a_part_in_another_writing_is_the_one_on_record(typed):
    """The plan's letters are VL, and a rotor has letters of its own."""
    assert usual_writings({typed}, known("RV-711", "VL-311"), "VL") == {typed: "RV-711"}
    assert usual_writings({typed}, known("VL-311", parts=["RV-711"]), "VL") == {typed: "RV-711"}


def test_the_record_comes_first_however_it_writes_the_piece():
    found = usual_writings({"RV-711"}, known("rv 711", "RV-712", "RV-713"), "VL")
    assert found == {"RV-711": "rv 711"}


def test_a_new_serial_is_written_as_most_pieces_with_its_letters():
    on_record = known("RV-701", "RV-702", "rv 703")
    assert usual_writings({"rv 711", "CK 5", "RV-712"}, on_record, "VL") == {"rv 711": "RV-711"}
    assert usual_writings({"rv26 711"}, known("RV26-701", "RV26-702"), "VL") == {"rv26 711": "RV26-711"}
    assert usual_writings({"rv 711", "RV-712"}, known(), "VL") == {}  # one of each: both as typed
    assert usual_writings({"rv 711", "RV-711"}, known(), "VL") == {"rv 711": "RV-711"}


def test_numbers_that_part_elsewhere_are_other_pieces():
    assert usual_writings({"RV7-11", "RV71-1", "RV-0711"}, known("RV-711"), "VL") == {}


def test_a_writing_of_two_pieces_is_left_and_asked_about():
    two = known("RV-711", "RV711")
    assert usual_writings({"rv 711", "RV711"}, two, "VL") == {}
    assert doubtful_writings({"rv 711", "RV711"}, two) == {"rv 711": ["RV-711", "RV711"]}


def test_a_part_that_is_built_in_is_written_as_on_record_and_the_note_keeps_what_was_typed():
    rows = pl.DataFrame(
        {
            "kind": ["part", "gauge-check"],
            "serial": ["vl 311", ""],
            "subject": ["rv 711", "rv 711"],
            "note": ["tight", ""],
        }
    )
    written = with_usual_writing(rows, {"rv 711": "RV-711", "vl 311": "VL-311"})
    assert written.rows() == [
        ("part", "VL-311", "RV-711", "tight; serial typed vl 311; part typed rv 711"),
        ("gauge-check", "", "rv 711", ""),
    ]
