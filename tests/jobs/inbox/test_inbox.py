"""A folder of sheets is taken in, cleared by what was stored, and by nothing else; two runs may meet."""

import os
import time
import zipfile
from concurrent.futures import ThreadPoolExecutor

import pytest

from qc.errors import UsageError
from qc.jobs import inbox
from qc.jobs.inbox import folder as taking
from qc.jobs.inbox import upload_folder
from qc.jobs.workshop import open_workshop

CARD = """Card,Slide force card
Gauge,SB-1

Date,Serial,Model,Person,Slide force [N]
{day},{serial},tenor,FN,{value}
"""


@pytest.fixture
def folder(tmp_path):
    """Lay two cards, a refused one and a file of a program into a folder; all are an hour old."""
    place = tmp_path / "put here"
    place.mkdir()
    (place / "a.csv").write_text(CARD.format(day="2026-11-09", serial="QH-1901", value="1.02"), "utf-8")
    (place / "b.CSV").write_text(CARD.format(day="2026-11-09", serial="QH-1902", value="9.9"), "utf-8")
    (place / "no-card.csv").write_text("a;b\n1;2\n", "utf-8")
    (place / "~$open.xlsx").write_bytes(b"held by a program")
    (place / "readme.txt").write_text("put sheets here", "utf-8")
    old = time.time() - 3600
    for file in place.iterdir():
        os.utime(file, (old, old))
    return place


def names(place):
    return sorted(str(path.relative_to(place)) for path in place.rglob("*") if path.is_file())


def test_a_bomb_between_two_good_sheets_stays_where_it_lies_and_they_go_in(shop, folder):
    """The part of a workbook that is packed a thousand to one is neither read nor lost."""
    bomb = folder / "ab.xlsx"
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as book:
        book.writestr("xl/workbook.xml", b" " * 40_000_000)
    kept = bomb.read_bytes()
    os.utime(bomb, (time.time() - 3600,) * 2)
    found = upload_folder(shop, folder, then_archive=True, who="FN")
    assert [sheet.count.file for sheet in found.receipt.sheets] == ["a.csv", "b.CSV"]
    (said,) = [text for text in found.receipt.refused if text.startswith("ab.xlsx")]
    assert "packed into" in said and "copy only the filled cells" in said
    assert bomb.read_bytes() == kept


def test_what_was_stored_is_moved_and_the_rest_stays(shop, folder):
    (folder / "new.csv").write_text("being written", "utf-8")
    found = upload_folder(shop, folder, then_archive=True, who="FN")
    assert [sheet.count.file for sheet in found.receipt.sheets] == ["a.csv", "b.CSV"]
    assert len(found.receipt.refused) == 1
    assert ["new.csv was changed" in said for said in found.left] == [True]
    day = f"archive/{shop.today.isoformat()}"
    moved = [name for name in names(folder) if name.startswith(day)]
    assert [name[len(day) + 1 :][0] for name in moved] == ["a", "b"]
    assert set(names(folder)) - set(moved) == {"new.csv", "no-card.csv", "readme.txt", "~$open.xlsx"}
    assert "2 sheets moved to the archive of the folder." in found.to_text()
    assert len(found.to_dict()["archived"]) == 2
    again = upload_folder(shop, folder, then_archive=True)
    assert (again.receipt.sheets, again.archived) == ((), ())
    assert "no-card.csv waits for its layout" in again.to_text() and "archive" not in again.to_text()


def test_without_archive_nothing_is_moved(shop, folder):
    before = names(folder)
    upload_folder(shop, folder)
    assert names(folder) == before


def test_a_file_saved_anew_meanwhile_is_taken_in_by_the_next_run(shop, folder, monkeypatch):
    real = taking.upload

    def saved_meanwhile(*words, **more):
        found = real(*words, **more)
        later = CARD.format(day="2026-11-09", serial="QH-1903", value="1.01")
        (folder / "a.csv").write_text(later, "utf-8")
        return found

    monkeypatch.setattr(taking, "upload", saved_meanwhile)
    found = upload_folder(shop, folder, then_archive=True)
    assert any("a.csv was changed while it was taken in" in said for said in found.left)
    assert "QH-1903" in (folder / "a.csv").read_text("utf-8")
    assert len(found.archived) == 1


def test_two_runs_at_once_store_and_move_each_sheet_once(shop, folder):
    other = open_workshop(shop.folder)
    before = len(shop.store.held())
    with ThreadPoolExecutor(2) as both:
        runs = [both.submit(upload_folder, one, folder, then_archive=True) for one in (shop, other)]
        found = [run.result() for run in runs]
    other.store.close()
    moved = [path for one in found for path in one.archived]
    assert len(moved) == len(set(moved)) == 2
    assert all(path.is_file() for path in moved)
    counts = [sheet.count for one in found for sheet in one.receipt.sheets]
    assert sum(count.accepted + count.held - count.held_again for count in counts) == 2
    assert len(shop.store.held()) == before + sum(count.held - count.held_again for count in counts)


def test_what_is_no_folder(shop, tmp_path, command):
    with pytest.raises(UsageError, match="is no folder"):
        inbox.upload_folder(shop, tmp_path / "nowhere")
    for words, said in (
        (("upload",), "Name the sheets, or with --folder"),
        (("upload", "a.csv", "--folder", "b"), "one of the two"),
        (("upload", "a.csv", "--then-archive"), "name it with --folder"),
        (("upload", "--folder", "b", "--propose-mapping"), "hand those in first"),
    ):
        run = command(*words)
        assert run.exit_code == 2
        assert said in run.stderr


def test_the_month_of_a_run_by_the_clock_is_the_last_whole_one(command, tmp_path):
    new = command("new", tmp_path / "shop", "--as-of", "2026-10-05")
    assert new.exit_code == 0, new.stderr
    asked = ("month", "--workshop", tmp_path / "shop", "--as-of", "2026-11-01", "--out", tmp_path / "out")
    run = command(*asked)
    assert "2026-10" in run.output
    assert command("month", "--close", "--who", "IS").exit_code == 2
