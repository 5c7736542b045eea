"""Builders of broken files: each test breaks a good one in one way."""

from __future__ import annotations

import io
import re
import shutil
import sys
import tempfile
import zipfile
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import on_a_server
import pytest
import xlsxwriter

sys.path.insert(0, str(Path(__file__).parent))  # the modules `fault_...` beside this one
MEMORY = Path(
    "/dev/shm"
)  # a folder in memory, where the system has one: nothing here asks about the disk itself


def good_workbook(change: Callable[[xlsxwriter.Workbook, object], None] | None = None) -> bytes:
    """Return a good slide card as a workbook; `change` may write more into it before it is closed."""
    buffer = io.BytesIO()
    book = xlsxwriter.Workbook(buffer, {"in_memory": True})
    book.set_properties({"created": datetime(2026, 5, 12)})  # the same cells must give the same bytes
    page = book.add_worksheet("Slide")
    page.write_row(0, 0, ["Card", "Slide card"])
    page.write_row(1, 0, ["Serial", "QH-1001"])
    page.write_row(2, 0, ["Model", "tenor"])
    page.write_row(3, 0, ["Date", "2026-05-12"])
    page.write_row(5, 0, ["Leg", "Station", "Direction", "Surface", "Inner OD [mm]", "Outer bore [mm]"])
    for row, leg in enumerate(("upper", "lower"), start=6):
        page.write_row(row, 0, [leg, "mouth", 0, "stocking", 13.9, 14.05])
    if change is not None:
        change(book, page)
    book.close()
    return buffer.getvalue()


def rewritten(data: bytes, part: str, change: Callable[[bytes], bytes]) -> bytes:
    """Return a workbook with one of its parts changed (or added, from empty bytes)."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        names = old.namelist()
        for name in dict.fromkeys([*names, part]):
            content = old.read(name) if name in names else b""
            new.writestr(name, change(content) if name == part else content)
    return out.getvalue()


def replaced(pattern: bytes, text: bytes) -> Callable[[bytes], bytes]:
    """Return a change that replaces the first match of a pattern, which must be there."""

    def change(content: bytes) -> bytes:
        after, count = re.subn(pattern, lambda _: text, content, count=1)
        assert count == 1
        return after

    return change


@pytest.fixture(scope="session")
def workbook():
    """Return the maker of a good workbook."""
    return good_workbook


@pytest.fixture(scope="session")
def rewrite():
    """Return the changer of one part of a workbook."""
    return rewritten


@pytest.fixture(scope="session")
def replace_in():
    """Return the maker of a change by pattern."""
    return replaced


@pytest.fixture(scope="session")
def driver():
    """Return the process that runs commands in forks."""
    from fault_driver import Driver

    with Driver() as started:
        yield started


@pytest.fixture(scope="session")
def place():
    """Return a folder for workshops that are harmed."""
    folder = Path(tempfile.mkdtemp(prefix="faults-", dir=MEMORY if MEMORY.is_dir() else None))
    yield folder
    shutil.rmtree(folder)


@pytest.fixture(scope="session")
def killing(request):
    """Return what kills, in a base workshop made once."""
    if on_a_server.wanted():
        return request.getfixturevalue("killing_on_a_server")
    return request.getfixturevalue("killing_in_a_file")


@pytest.fixture(scope="session")
def killing_in_a_file(driver, place):
    """Return what kills in a base workshop whose rows are in its file."""
    from fault_kills import Killing
    from fault_shop import make_base

    return Killing(driver, make_base(driver, place), place / "bench", place)


@pytest.fixture(scope="session")
def killing_on_a_server(driver, killing_in_a_file, postgresql):
    """Return what kills in the same workshop, its rows carried to the server of the tests."""
    from fault_kills import Killing
    from fault_server import use

    killing = killing_in_a_file
    shop, place = killing.folder / "served", killing.folder / "on a server"
    done = driver.run("restore", killing.shop, shop, "--into", use(postgresql).make())
    assert done.code == 0, done.err
    place.mkdir()
    return Killing(driver, shop, killing.bench, place, twin=killing)
