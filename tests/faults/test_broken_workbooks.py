"""Workbooks that are damaged, dangerous or merely unfit: one clear sentence each, and nothing is read."""

import io
import time
import tracemalloc
import zipfile

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from qc.ingest import SheetError, read_sheet

SHEET = "xl/worksheets/sheet1.xml"


def refused(data, words, **where):
    with pytest.raises(SheetError, match=words) as caught:
        read_sheet(data, "card.xlsx")
    error = caught.value
    assert error.hint.endswith(".")
    assert "Traceback" not in str(error)
    for name, value in where.items():
        assert getattr(error, name) == value
    return error


def test_the_good_one_is_read(workbook):
    assert read_sheet(workbook(), "card.xlsx")[0].rows[6] == (
        "upper",
        "mouth",
        "0",
        "stocking",
        "13.9",
        "14.05",
    )


@pytest.mark.parametrize("share", [0.02, 0.3, 0.5, 0.9, 0.99])
def test_cut_in_half(workbook, share):
    data = workbook()
    refused(data[: int(len(data) * share)], "damaged or cut off")


@pytest.mark.parametrize("at", range(200, 5200, 500))
def test_a_damaged_byte_is_read_or_refused_but_never_a_crash(workbook, at):
    data = bytearray(workbook())
    data[at % len(data)] ^= 0xFF
    try:
        read_sheet(bytes(data), "card.xlsx")
    except SheetError as error:
        assert str(error).startswith("card.xlsx")


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_any_damage_gives_a_grid_or_one_sentence(workbook, data):
    good = workbook()
    start = data.draw(st.integers(0, len(good) - 1))
    junk = data.draw(st.binary(max_size=60))
    broken = good[:start] + junk + good[start + len(junk) :]
    try:
        read_sheet(broken, "card.xlsx")
    except SheetError as error:
        assert error.hint


def test_a_zip_that_is_no_workbook():
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("readme.txt", "hello")
    refused(out.getvalue(), "a packed folder, not a workbook")


@pytest.mark.parametrize("part", ["xl/workbook.bin", "content.xml"])
def test_workbooks_of_another_kind(part):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr(part, "x")
    refused(out.getvalue(), "not an .xlsx file")


def test_an_empty_zip():
    out = io.BytesIO()
    zipfile.ZipFile(out, "w").close()
    refused(out.getvalue(), "not a workbook")


def test_formula_cells_name_their_cell(workbook):
    data = workbook(lambda book, page: page.write_formula("F8", "=E8+0.15", None, 14.05))
    error = refused(data, "holds a formula", tab="Slide", cell="F8")
    assert "values only" in error.hint


def test_error_values_name_their_cell(workbook, rewrite, replace_in):
    bad = rewrite(workbook(), SHEET, replace_in(rb'<c r="E7"><v>13.9</v>', b'<c r="E7" t="e"><v>#REF!</v>'))
    refused(bad, "error value", tab="Slide", cell="E7")


def test_merged_cells_name_their_area(workbook):
    data = workbook(lambda book, page: page.merge_range("A10:B11", "both"))
    error = refused(data, "cells are merged", tab="Slide", cell="A10 to B11")
    assert "Unmerge" in error.hint


def test_macros(workbook, rewrite):
    refused(rewrite(workbook(), "xl/vbaProject.bin", lambda _: b"macro"), "holds macros")


def test_a_packed_bomb_is_refused_before_it_is_unpacked(workbook, rewrite):
    bomb = rewrite(workbook(), SHEET, lambda content: content + b" " * 60_000_000)
    assert len(bomb) < 200_000
    tracemalloc.start()
    begun = time.perf_counter()
    error = refused(bomb, "packed into")
    # what happened, in which part, by how much, and what to do; it is not the size that was too much
    assert SHEET in error.problem and "200 to one is the most" in error.problem
    assert "60.0 MB" in error.problem and "unpacks to" not in error.problem
    assert "copy only the filled cells" in error.hint
    assert tracemalloc.get_traced_memory()[1] < 5_000_000
    assert time.perf_counter() - begun < 2.0
    tracemalloc.stop()


def test_many_parts_are_refused(workbook):
    out = io.BytesIO(workbook())
    with zipfile.ZipFile(out, "a") as archive:
        for number in range(2001):
            archive.writestr(f"xl/media/{number}", "")
    refused(out.getvalue(), r"made of 2,\d{3} parts, and one may have 2,000")


def test_a_workbook_that_unpacks_to_too_much_is_told_by_its_size(workbook, monkeypatch):
    monkeypatch.setattr("qc.ingest.reading.inspection.MAX_UNPACKED", 1_000)
    refused(workbook(), "unpacks to 0 MB, far more than a bench sheet holds")


def test_a_false_size_is_found_out(workbook, rewrite):
    data = rewrite(workbook(), SHEET, lambda content: content + b" " * 3000)
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        size = archive.getinfo(SHEET).file_size
    lied = data.replace(size.to_bytes(4, "little"), (size - 2500).to_bytes(4, "little"))
    assert lied != data
    refused(lied, "damaged|hides its true size")


ENTITIES = b"""<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]>"""


@pytest.mark.parametrize(
    "part", [SHEET, "xl/workbook.xml", "xl/sharedStrings.xml", "xl/styles.xml", "xl/_rels/workbook.xml.rels"]
)
def test_document_types_are_refused_in_every_part(workbook, rewrite, replace_in, part):
    refused(rewrite(workbook(), part, replace_in(rb"<\?xml[^>]*\?>", ENTITIES)), "document type")


def test_a_file_on_the_machine_cannot_be_pulled_in(workbook, rewrite, replace_in):
    outside = b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY f SYSTEM "file:///etc/hostname">]>'
    refused(
        rewrite(workbook(), "xl/sharedStrings.xml", replace_in(rb"<\?xml[^>]*\?>", outside)), "document type"
    )


def test_a_part_that_is_no_xml(workbook, rewrite):
    refused(rewrite(workbook(), SHEET, lambda content: content[: len(content) // 2]), "damaged or cut off")


def test_a_part_that_is_missing(workbook):
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(workbook())) as old, zipfile.ZipFile(out, "w") as new:
        for name in old.namelist():
            if name != SHEET:
                new.writestr(name, old.read(name))
    refused(out.getvalue(), "misses one of its parts")


@pytest.mark.parametrize("cell", ["XFD7", "A1048576", "GS7", "A9999999999"])
def test_a_cell_far_out_does_not_reserve_the_whole_area(workbook, rewrite, replace_in, cell):
    bad = rewrite(workbook(), SHEET, replace_in(rb'<c r="E7"', f'<c r="{cell}"'.encode()))
    refused(bad, "far outside any table", tab="Slide", cell=cell)


def test_a_formula_cannot_hide_in_another_encoding(workbook, rewrite):
    data = workbook(lambda book, page: page.write_formula("F8", "=E8+0.15", None, 14.05))

    def recoded(content):
        return content.decode().replace("UTF-8", "UTF-16").encode("utf-16")

    refused(rewrite(data, SHEET, recoded), "holds a formula", cell="F8")


def test_a_workbook_under_a_password_is_named():
    refused(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\x00" * 600, "under a password")
