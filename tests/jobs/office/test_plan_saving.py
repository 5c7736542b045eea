"""A plan edited on the board: saved as typed with who and why, and not at all with a fault."""

import shutil

import pytest

from qc.errors import QcError, UsageError
from qc.jobs import workshop as opening
from qc.jobs.errors import JobError
from qc.jobs.office import StoreOffice, check_text, mark_of, save_plan
from qc.jobs.workshop import PLAN, open_workshop
from sample_measurements import folder as sample_folder


@pytest.fixture
def workshop(tmp_path):
    """An empty workshop with the sample's plan."""
    shutil.copyfile(sample_folder() / PLAN, tmp_path / PLAN)
    opened = open_workshop(tmp_path)
    yield opened
    opened.store.close()


@pytest.fixture
def text(workshop):
    return (workshop.folder / PLAN).read_text("utf-8")


@pytest.fixture
def save(workshop, text):
    def saved(new, who="IS", why="the reamer was ground", mark=None):
        return save_plan(workshop, new, who=who, why=why, mark=mark or mark_of(text))

    return saved


def test_it_is_saved_word_for_word_with_who_and_why(workshop, text, save):
    new = text.replace("wanted_ppk: 1.0", "wanted_ppk: 1.33  # since the audit")
    assert save(new.replace("\n", "\r\n")).version == 2
    assert (workshop.folder / PLAN).read_bytes() == new.encode()
    newest = workshop.store.plan_versions()[-1]
    assert (newest.who, newest.why, workshop.store.plan_text()) == ("IS", "the reamer was ground", new)
    assert workshop.store.verify() == []
    with open_workshop(workshop.folder).store as store:  # no command takes it for one more version
        assert len(store.plan_versions()) == 2
    found = StoreOffice(workshop.folder).difference(1, 2)
    assert len(found.sentences) == 1 and found.sentences[0].startswith("Workshop")
    assert [line for sign, line in found.lines if sign == "+"] == ["  wanted_ppk: 1.33  # since the audit"]


def test_with_a_fault_nothing_is_saved(workshop, text, save):
    broken = text.replace("wanted_ppk: 1.0", "wanted_ppk: much")
    found = save(broken)
    assert found.version is None and found.faults == check_text(broken) != ()
    assert found.faults[0].line == broken[: broken.index("much")].count("\n") + 1
    assert (workshop.folder / PLAN).read_text("utf-8") == text and len(workshop.store.plan_versions()) == 1


@pytest.mark.parametrize(
    "how, error, said",
    [
        ({"who": "BK"}, JobError, "change the plan is for the quality lead"),
        ({"who": ""}, UsageError, "Say who you are"),
        ({"why": "  "}, UsageError, "Say why"),
        ({"mark": "0" * 64}, JobError, "was changed since you opened it"),
    ],
)
def test_what_is_refused_changes_nothing(workshop, text, save, how, error, said):
    with pytest.raises(error, match=said):
        save(f"{text}# more\n", **how)
    assert (workshop.folder / PLAN).read_text("utf-8") == text and len(workshop.store.plan_versions()) == 1


def test_what_does_not_differ_is_no_version(save, text):
    with pytest.raises(JobError, match="Nothing differs"):
        save(text.rstrip("\n"))
    with pytest.raises(JobError, match="at most"):
        check_text("x" * 600_000)


def test_a_store_that_cannot_be_written_leaves_the_file_as_it_was(workshop, text, save, monkeypatch):
    def full(*words, **more):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(type(workshop.store), "record_plan", full)
    with pytest.raises(QcError, match="Nothing was stored"):
        save(f"{text}# more\n")
    assert (workshop.folder / PLAN).read_text("utf-8") == text


def test_who_opens_the_workshop_while_it_is_saved_does_not_turn_it_back(workshop, text, save, monkeypatch):
    """Another command has read the file, and comes to the store after the save."""
    new = text.replace("wanted_ppk: 1.0", "wanted_ppk: 1.33")
    usual = opening.open_store

    def saved_meanwhile(*words, **more):
        save(new)
        return usual(*words, **more)

    monkeypatch.setattr(opening, "open_store", saved_meanwhile)
    with open_workshop(workshop.folder).store as store:
        assert [store.plan_text(number) for number in (1, 2)] == [text, new]
        assert len(store.plan_versions()) == 2


def test_the_plan_for_reading(workshop, text):
    page = StoreOffice(workshop.folder).plan()
    draw = page.stages[0]
    assert draw.figures[0].limits[0] == "target 13.55, from 13.52 to 13.58 (alto)"
    assert page.text == text and page.versions[0].used is False
    with pytest.raises(JobError, match="no version 7"):
        StoreOffice(workshop.folder).difference(1, 7)
