"""What is kept between runs is given again while everything that it is made by is the same, and only then."""

import on_a_server
import pytest
from kept_builds import PROGRAM, hash_of, keeping

pytestmark = pytest.mark.skipif(on_a_server.wanted(), reason="with rows on a server nothing is kept")


@pytest.fixture
def maker(tmp_path):
    (tmp_path / "cards").mkdir()
    (tmp_path / "cards" / "one.csv").write_text("1")
    made = []

    def make(folder):
        folder.mkdir()
        (folder / "figure").write_text((tmp_path / "cards" / "one.csv").read_text())
        made.append(folder)

    return made, keeping("shop", make, tmp_path / "cards", place=tmp_path / "kept")


def test_it_is_made_once_and_copied_whole(maker, tmp_path):
    made, shop = maker
    shop(tmp_path / "first")
    (tmp_path / "first" / "figure").write_text("changed by a test")
    shop(tmp_path / "second")
    assert made == [tmp_path / "first"]
    assert (tmp_path / "second" / "figure").read_text() == "1"


def test_it_is_made_anew_where_anything_it_is_made_by_has_changed_and_the_old_one_goes(maker, tmp_path):
    made, shop = maker
    shop(tmp_path / "first")
    (tmp_path / "cards" / "one.csv").write_text("2")
    shop(tmp_path / "second")
    assert len(made) == 2 and (tmp_path / "second" / "figure").read_text() == "2"
    assert len(list((tmp_path / "kept").iterdir())) == 1


def test_what_a_killed_run_left_is_not_taken(maker, tmp_path):
    made, shop = maker
    (tmp_path / "kept" / "half of shop 1").mkdir(parents=True)
    shop(tmp_path / "first")
    assert made == [tmp_path / "first"]


@pytest.mark.parametrize("name", ["qc/plan/model.py", "sample_measurements/plan.yaml", "requirements.lock"])
def test_every_kind_of_file_of_the_program_counts(name, tmp_path):
    """A copy of one of its folders hashes otherwise as soon as one letter of one file differs."""
    top = next(top for top in PROGRAM if top.name == name.split("/")[0])
    file = top.parent / name
    assert file.is_file()
    copy = tmp_path / name
    copy.parent.mkdir(parents=True, exist_ok=True)
    copy.write_bytes(file.read_bytes())
    before = hash_of(tmp_path / top.name)
    copy.write_bytes(file.read_bytes() + b" ")
    assert hash_of(tmp_path / top.name) != before


def test_a_file_moved_to_another_place_counts(tmp_path):
    (tmp_path / "a").mkdir()
    (tmp_path / "a" / "one").write_text("1")
    before = hash_of(tmp_path / "a")
    (tmp_path / "a" / "one").rename(tmp_path / "a" / "two")
    assert hash_of(tmp_path / "a") != before
