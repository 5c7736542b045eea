"""A sheet that nobody can read is kept once, listed everywhere, and read when its layout is shown."""

import json
import shutil
from datetime import date
from pathlib import Path

import pytest

from qc.errors import UsageError
from qc.ingest import SheetError
from qc.jobs.backup import backup
from qc.jobs.board import StoreBoardData
from qc.jobs.errors import JobError
from qc.jobs.headings import read_mapping_file
from qc.jobs.rows import list_held, put_sheet_away, waiting_note
from qc.jobs.shown import read_waiting
from qc.jobs.status import status
from qc.jobs.upload import upload
from qc.jobs.verify import verify_store
from qc.jobs.workshop import open_workshop
from qc.store import sheet_hash

STRANGER = Path(__file__).parents[2] / "strangers" / "eighth"
LAYOUTS = Path(__file__).parents[2] / "ingest" / "layouts" / "eighth.yaml"
ODD = "10-final-slip.csv"
SLIP = (STRANGER / "layouts" / ODD).read_bytes()


@pytest.fixture
def shop(tmp_path):
    """An empty workshop with the stranger's plan."""
    (tmp_path / "plan.yaml").write_bytes((STRANGER / "plan.yaml").read_bytes())
    workshop = open_workshop(tmp_path, as_of=date(2026, 9, 18))
    yield workshop
    workshop.store.close()


def kept_entries(shop):
    return sum(entry.kind == "unread" for entry in shop.store.entries())


def layouts_of(shop):
    return read_mapping_file(LAYOUTS, shop)[1]


def test_a_refused_sheet_is_kept_and_every_face_says_that_it_waits(shop):
    assert waiting_note(shop) == ""
    receipt = upload(shop, [("slip.csv", SLIP)], who="JP")
    assert len(receipt.refused) == 1 and receipt.sheets == ()
    (kept,) = receipt.waiting
    assert (kept.file, kept.who, kept.state, kept.refusal) == ("slip.csv", "JP", "waits", receipt.refused[0])
    assert shop.store.sheet_bytes(kept.sheet) == SLIP
    assert "slip.csv waits for its layout since 18 Sep 2026" in receipt.to_text()
    told = list_held(shop)
    assert told.to_dict()["sheets"][0]["file"] == "slip.csv"
    assert "1 sheet waits for a layout." in told.to_text()
    assert "qc held read slip.csv --mapping FILE" in told.to_text() and kept.why in told.to_text()
    assert list_held(shop, sheet="other.csv").sheets == ()
    assert "1 sheet waits for its layout: qc held list" in status(shop, judge=False).notes
    assert verify_store(shop.store).to_dict()["whole"]


def test_the_same_sheet_sent_again_is_kept_once(shop):
    first = upload(shop, [("slip.csv", SLIP)], who="JP").waiting
    again = upload(shop, [("copy of slip.csv", SLIP)], who="AB")
    assert again.waiting == first and len(shop.store.unread()) == 1 and kept_entries(shop) == 1


def test_it_is_read_when_its_layout_is_shown_for_another_sheet_of_the_form(shop):
    upload(shop, [("slip.csv", SLIP)], who="JP")
    other = SLIP.replace(b"TW-", b"TW-1")
    receipt = upload(shop, [("next.csv", other)], who="AB", layouts=layouts_of(shop))
    by_file = {one.count.file: one for one in receipt.sheets}
    assert set(by_file) == {"next.csv", "slip.csv"} and receipt.refused == ()
    assert by_file["slip.csv"].count.accepted + by_file["slip.csv"].count.held > 0
    assert "It had waited for its layout since 18 Sep 2026." in by_file["slip.csv"].read_with
    assert shop.store.unread() == [] and waiting_note(shop) == ""
    (record,) = shop.store.unread(open_only=False)
    assert (record.state, record.settled_by) == ("read", "AB")
    assert record.note == f"read through the layout {ODD}"
    assert verify_store(shop.store).to_dict()["whole"]


def test_what_comes_of_it_is_what_an_upload_with_the_layout_gives(shop, tmp_path):
    upload(shop, [("slip.csv", SLIP)])
    waited = read_waiting(shop, "slip.csv", layouts=layouts_of(shop)).sheets[0].count
    (tmp_path / "other").mkdir()
    shutil.copy(shop.folder / "plan.yaml", tmp_path / "other" / "plan.yaml")
    fresh = open_workshop(tmp_path / "other", as_of=date(2026, 9, 18))
    at_once = upload(fresh, [("slip.csv", SLIP)], layouts=layouts_of(fresh)).sheets[0].count
    assert waited == at_once
    facts = ["serial", "characteristic", "value", "day", "person"]
    left, right = (one.store.readings().select(facts).rows() for one in (shop, fresh))
    assert left == right and left
    fresh.store.close()


def test_a_layout_of_another_form_leaves_it_waiting_unsaid(shop):
    upload(shop, [("slip.csv", SLIP)])
    small = "15-bow-small-tables.csv"
    receipt = upload(
        shop, [(small, (STRANGER / "layouts" / small).read_bytes())],
        layouts=[one for one in layouts_of(shop) if one.name == small],
    )  # fmt: skip
    assert [one.count.file for one in receipt.sheets] == [small] and receipt.refused == ()
    assert [one.file for one in shop.store.unread()] == ["slip.csv"]


def test_once_more_without_a_layout_it_is_refused_again_and_waits_on(shop):
    upload(shop, [("slip.csv", SLIP)])
    receipt = read_waiting(shop)
    assert len(receipt.refused) == 1 and receipt.waiting[0].file == "slip.csv"
    assert len(shop.store.unread()) == 1 and kept_entries(shop) == 1


def test_it_is_put_away_by_name_and_reason_and_can_be_read_all_the_same(shop):
    upload(shop, [("slip.csv", SLIP)], who="JP")
    with pytest.raises(UsageError, match="--why"):
        put_sheet_away(shop, "slip.csv", who="JP", why=" ")
    with pytest.raises(JobError, match=r"No sheet other\.csv waits for its layout\. These wait: slip\.csv"):
        put_sheet_away(shop, "other.csv", who="JP", why="typed anew")
    assert "slip.csv is put away" in put_sheet_away(shop, "slip.csv", who="JP", why="typed anew").to_text()
    assert list_held(shop).sheets == () and waiting_note(shop) == ""
    with pytest.raises(JobError, match="put away on 18 Sep 2026 by JP: typed anew"):
        put_sheet_away(shop, "slip.csv", who="JP", why="twice")
    again = upload(shop, [("slip.csv", SLIP)], who="JP")
    assert again.waiting[0].state == "put-away" and "was put away on 18 Sep 2026" in again.to_text()
    assert shop.store.unread() == []
    digest = sheet_hash(SLIP)
    assert read_waiting(shop, digest[:12], layouts=layouts_of(shop)).sheets
    assert shop.store.unread(open_only=False)[0].state == "read"
    assert verify_store(shop.store).to_dict()["whole"]


def test_two_sheets_of_one_name_are_told_apart_by_number(shop):
    upload(shop, [("slip.csv", SLIP)])
    upload(shop, [("slip.csv", SLIP.replace(b"TW-", b"TW-1"))])
    with pytest.raises(JobError, match="2 sheets are called slip.csv. Name one by its number"):
        put_sheet_away(shop, "slip.csv", who="JP", why="typed anew")
    put_sheet_away(shop, sheet_hash(SLIP)[:12], who="JP", why="typed anew")
    assert [one.sheet for one in shop.store.unread()] == [sheet_hash(SLIP.replace(b"TW-", b"TW-1"))]


@pytest.mark.parametrize(
    ("name", "data"),
    [
        pytest.param("no.xlsx", b"PK\x03\x04 no workbook", id="no workbook"),
        pytest.param("big.csv", SheetError("big.csv", "the file is too large", "Split it."), id="too large"),
        pytest.param("empty.csv", b"\n", id="empty"),
    ],
)
def test_what_cannot_be_opened_is_not_kept_and_that_is_said(shop, name, data):
    receipt = upload(shop, [(name, data)])
    assert len(receipt.refused) == 1 and receipt.waiting == () and shop.store.unread() == []
    assert shop.store.sheet_files() == [] and kept_entries(shop) == 0
    assert f"{name} was not kept" in receipt.to_text()


def test_headings_alone_are_refused_and_need_no_keeping(shop):
    receipt = upload(shop, [("blank.csv", b"Card;Bow card\n\nSerial;Model;Bow span\n")])
    assert len(receipt.refused) == 1 and receipt.waiting == () and shop.store.unread() == []


def test_a_backup_holds_it_and_proves_it(shop, tmp_path):
    upload(shop, [("slip.csv", SLIP)])
    (tmp_path.parent / "backups").mkdir(exist_ok=True)
    made = backup(shop, tmp_path.parent / "backups" / tmp_path.name)
    assert made.faults == () and made.sheets == 1
    assert (made.folder / "sheets" / sheet_hash(SLIP)).read_bytes() == SLIP


def test_the_commands_read_it_and_put_it_away(shop, command, tmp_path):
    file = tmp_path / "slip.csv"
    file.write_bytes(SLIP)
    at = ("--workshop", shop.folder)
    given = command("upload", file, "--who", "JP", *at)
    assert given.exit_code == 1 and "waits for its layout" in given.stdout
    assert f"qc upload {file} --mapping FILE --workshop {shop.folder}" in given.stderr
    once = command("held", "read", "slip.csv", "--who", "JP", *at)
    assert once.exit_code == 1 and "(how-to show-a-card-once)" in once.stderr
    assert command("held", "put-away", "slip.csv", "--who", "JP", *at).exit_code == 2
    away = command("held", "put-away", "slip.csv", "--who", "JP", "--why", "typed anew", *at)
    assert away.exit_code == 0 and "put away" in away.stdout
    read = command("held", "read", "slip.csv", "--mapping", LAYOUTS, "--who", "JP", "--json", *at)
    assert read.exit_code == 0 and json.loads(read.stdout)["sheets"][0]["file"] == "slip.csv"


def test_the_board_has_what_waits(shop):
    upload(shop, [("slip.csv", SLIP)], who="JP")
    board = StoreBoardData(shop.folder, as_of=date(2026, 9, 18))
    (one,) = board.showing().waiting()
    assert (one.file, one.who) == ("slip.csv", "JP")
