"""The same seed gives the same bytes, and they are the committed ones."""

import hashlib
import io
import zipfile

import pytest
import yaml

from sample_measurements.make import SEED, make_sheets, make_workshop
from sample_measurements.make.__main__ import main


def digests(contents):
    return {name: hashlib.sha256(data).hexdigest() for name, data in contents.items()}


def test_committed_sheets_are_what_the_program_makes(made, root, files):
    contents, truth = made
    committed = {path.relative_to(root / "sheets").as_posix(): path.read_bytes() for path in files}
    assert digests(committed) == digests(contents)
    assert (root / "planted.yaml").read_text(encoding="utf-8") == truth


def test_made_again_in_the_same_process_nothing_differs(made):
    again, truth = make_sheets(SEED)
    assert digests(again) == digests(made[0])
    assert truth == made[1]


@pytest.fixture(scope="module")
def redrawn(tmp_path_factory):
    out = tmp_path_factory.mktemp("redrawn")
    return out, make_workshop(out, seed=SEED + 1)


def test_another_seed_draws_other_figures_for_the_same_story(redrawn, made, truth):
    out, written = redrawn
    other = yaml.safe_load((out / "planted.yaml").read_text(encoding="utf-8"))
    assert other["changes"] == truth["changes"]
    assert sorted(m["kind"] for m in other["mishaps"]) == sorted(m["kind"] for m in truth["mishaps"])
    names = {path.relative_to(out / "sheets").as_posix() for path in written}
    fixed = {name for name in made[0] if not name.startswith(("tuning/", "office/"))}
    assert fixed <= names
    same = [n for n in fixed & names if (out / "sheets" / n).read_bytes() == made[0][n]]
    assert all(name.startswith("gauges/") for name in same)


def test_a_redrawn_workshop_is_whole(redrawn, root):
    out, written = redrawn
    assert (out / "plan.yaml").read_bytes() == (root / "plan.yaml").read_bytes()
    assert all(path.stat().st_size > 0 for path in written)
    assert len(written) <= 300


def test_making_again_leaves_no_old_sheet_behind(tmp_path):
    stale = tmp_path / "sheets" / "draw" / "old.csv"
    stale.parent.mkdir(parents=True)
    stale.write_text("old")
    make_workshop(tmp_path)
    assert not stale.exists()


def test_workbooks_carry_no_time_of_making(made):
    for name, data in made[0].items():
        if name.endswith(".xlsx"):
            with zipfile.ZipFile(io.BytesIO(data)) as book:
                assert {entry.date_time for entry in book.infolist()} == {(1980, 1, 1, 0, 0, 0)}
                assert {entry.compress_type for entry in book.infolist()} == {zipfile.ZIP_STORED}
                assert b"2026-11-23T17:00:00Z" in book.read("docProps/core.xml")


def test_command_writes_where_it_is_told(tmp_path, capsys):
    assert main(["--seed", "3", "--out", str(tmp_path / "w")]) == 0
    said = capsys.readouterr().out
    count = len([path for path in (tmp_path / "w" / "sheets").rglob("*") if path.is_file()])
    assert said == f"{count} sheets in {tmp_path / 'w' / 'sheets'}\n"
    assert yaml.safe_load((tmp_path / "w" / "planted.yaml").read_text())["seed"] == 3
