import json
import os
import shutil
import sys
from pathlib import Path

import pytest

from qc.errors import QcError
from qc.jobs.receipts import Total
from qc.jobs.upload import read_files, upload
from qc.jobs.workshop import open_workshop
from sample_measurements import folder as sample_folder

SAMPLE = sample_folder() / "sheets"


@pytest.fixture
def shop(tmp_path):
    """An empty workshop with the sample plan."""
    folder = tmp_path / "shop"
    folder.mkdir()
    (folder / "plan.yaml").write_bytes((sample_folder() / "plan.yaml").read_bytes())
    workshop = open_workshop(folder)
    yield workshop
    workshop.store.close()


def sheets(pattern):
    found = sorted(SAMPLE.rglob(pattern))
    assert found
    return [(p.name, p.read_bytes()) for p in found]


@pytest.fixture
def first_joints(shop):
    files = sheets("joints*2025-0*.csv")
    return files, upload(shop, files, who="IS")


def test_every_row_is_accepted_or_held(first_joints):
    files, receipt = first_joints
    assert len(receipt.sheets) == len(files)
    for sheet in receipt.sheets:
        count = sheet.count
        assert count.rows == count.accepted + count.held + count.already_known
    total = Total.of(receipt.sheets)
    assert total.accepted > 0 and total.already_known == 0


def test_the_receipt_follows_the_contract(first_joints):
    plain = json.loads(json.dumps(first_joints[1].to_dict(), allow_nan=False))
    keys = {"sheet", "file", "rows", "accepted", "held", "already_known", "reasons", "signals"}
    assert all(keys <= set(sheet) for sheet in plain["sheets"])
    assert plain["refused"] == []


def test_a_receipt_that_nobody_reads_stores_and_counts_the_same(shop, first_joints, tmp_path):
    files, told = first_joints
    (tmp_path / "quiet").mkdir()
    shutil.copyfile(shop.folder / "plan.yaml", tmp_path / "quiet" / "plan.yaml")
    quiet = open_workshop(tmp_path / "quiet")
    counted = upload(quiet, files, who="IS", in_words=False)
    assert told.hold is not None and counted.hold is None
    assert [s.count for s in counted.sheets] == [s.count for s in told.sheets]
    assert [s.missing for s in counted.sheets] == [()] * len(files)
    assert quiet.store.readings().equals(shop.store.readings())
    assert [v.plain for v in quiet.store.verdicts()] == [v.plain for v in shop.store.verdicts()]
    quiet.store.close()


def test_the_same_sheet_twice_changes_nothing(shop, first_joints):
    files, first = first_joints
    before = (shop.store.readings(), len(shop.store.held()), len(shop.store.sheets()))
    again = upload(shop, files, who="IS")
    assert Total.of(again.sheets).accepted == 0
    assert Total.of(again.sheets).rows == Total.of(first.sheets).rows
    assert shop.store.readings().equals(before[0])
    assert (len(shop.store.held()), len(shop.store.sheets())) == before[1:]


def test_the_same_rows_in_another_sheet_are_known(shop, first_joints):
    name, data = first_joints[0][0]
    before = shop.store.readings().height
    (sheet,) = upload(shop, [(f"copy-of-{name}", data.replace(b"\r\n", b"\n") + b"\n")]).sheets
    assert sheet.count.accepted == 0
    assert sheet.count.already_known + sheet.count.held == sheet.count.rows
    assert shop.store.readings().height == before


def test_a_sheet_that_cannot_be_read_does_not_stop_the_others(shop):
    good = sheets("joints*2025-08*.csv")[0]
    receipt = upload(shop, [("broken.xlsx", b"PK\x03\x04 not a workbook"), good])
    assert len(receipt.refused) == 1 and receipt.refused[0].startswith("broken.xlsx")
    assert [s.count.file for s in receipt.sheets] == [good[0]]
    assert shop.store.readings().height > 0


def test_bytes_are_kept_as_they_came(shop, first_joints):
    name, data = first_joints[0][0]
    digest = next(sheet.sheet for sheet in shop.store.sheets() if sheet.file == name)
    assert shop.store.sheet_bytes(digest) == data
    assert shop.store.verify() == []


def test_verdicts_are_made_at_upload(shop, first_joints):
    keys = {v.series for v in shop.store.verdicts()}
    assert any(key.startswith("joints/") for key in keys)
    assert not any(key.startswith("tuning/") for key in keys)


def test_new_signals_stand_on_the_receipt_of_their_sheet(shop):
    """The lacquer goes thin in the autumn: the receipt of that week says so, once."""
    files = sheets("lacquer*.*")
    late = [f for f in files if "2026-1" in f[0]]
    upload(shop, [f for f in files if f not in late])
    raised = [s for f in late for sheet in upload(shop, [f]).sheets for s in sheet.signals]
    thin = [s for s in raised if s["series"] == "lacquer/thickness/all"]
    assert thin and "thin" in thin[0]["sentence"]
    assert len({s["id"] for s in raised}) == len(raised)


def test_progress_is_told(shop):
    said = []
    upload(shop, sheets("joints*2025-08*.csv"), progress=lambda *step: said.append(step))
    assert said[-1][0] == said[-1][1]


def test_a_file_that_is_not_there_is_named(tmp_path):
    with pytest.raises(QcError, match=r"nothing\.csv.*cannot be read"):
        read_files([tmp_path / "nothing.csv"])


def test_files_that_are_no_sheets_refuse_only_themselves(shop, tmp_path):
    good = next(iter(sorted(SAMPLE.rglob("joints*2025-08*.csv"))))
    large, pipe = tmp_path / "large.csv", tmp_path / "pipe.csv"
    with large.open("wb") as file:
        file.truncate(5_000_000_000)  # takes no room on the disk
    os.mkfifo(pipe)
    receipt = upload(
        shop, read_files([tmp_path / "none.csv", large, Path("/dev/zero"), pipe, tmp_path, good])
    )
    words = ["cannot be read", "5000.0 MB", "a device", "a pipe", "a folder"]
    assert len(receipt.refused) == len(words)
    for sentence, word in zip(receipt.refused, words, strict=True):
        assert word in sentence
    assert [sheet.count.file for sheet in receipt.sheets] == [good.name]
    assert receipt.sheets[0].count.accepted > 0


def test_where_no_file_can_be_read_each_is_named(tmp_path):
    with pytest.raises(QcError, match=r"a\.csv: .* Check the name\. .*b\.csv: .* Check the name\.$"):
        read_files([tmp_path / "a.csv", tmp_path / "b.csv"])


BREAKING = """
import os, sys
from qc.ingest.reading import child

read = child.read_sheet
child.read_sheet = lambda data, name: os.abort() if data == b"abort" else read(data, name)
child.serve(int(sys.argv[1]), int(sys.argv[2]))
"""


def test_of_fifty_sheets_with_one_that_breaks_the_reader_49_are_stored(shop, monkeypatch):
    command = [sys.executable, "-P", "-S", "-c", BREAKING]
    monkeypatch.setattr("qc.ingest.reading.reader._command", lambda: command)
    monkeypatch.setattr("qc.ingest.reading.reader._kept", None)
    good = sheets("*.csv")[:49]
    receipt = upload(shop, [*good[:20], ("bad.csv", b"abort"), *good[20:]])
    assert [sheet.count.file for sheet in receipt.sheets] == [name for name, _ in good]
    assert sum(sheet.count.rows for sheet in receipt.sheets) > 49
    assert len(shop.store.sheets()) == 49
    (sentence,) = receipt.refused
    assert sentence.startswith("bad.csv: reading it broke off")
    assert shop.store.verify() == []


def test_nothing_to_take_in(shop):
    assert upload(shop, []).to_text() == "Nothing was taken in."
