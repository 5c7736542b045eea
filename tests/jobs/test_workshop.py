"""Opening a workshop: which folder, which plan, which day."""

from datetime import UTC, date, datetime

import polars as pl
import pytest

from qc.jobs.errors import JobError
from qc.jobs.workshop import DATABASE_VARIABLE, FOLDER_VARIABLE, PLAN, find_folder, open_workshop
from qc.plan import PlanError, template_text
from qc.store import NewSheet, StoreError, sheet_hash


@pytest.fixture(autouse=True)
def nowhere(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv(FOLDER_VARIABLE, raising=False)
    monkeypatch.delenv(DATABASE_VARIABLE, raising=False)


@pytest.fixture
def folder(tmp_path):
    made = tmp_path / "shop"
    made.mkdir()
    (made / PLAN).write_text(template_text(), "utf-8")
    return made


def change(folder, old, new):
    text = (folder / PLAN).read_text("utf-8")
    assert text.count(old) == 1
    (folder / PLAN).write_text(text.replace(old, new), "utf-8")


def take_in_a_sheet(workshop, name="a"):
    rows = pl.DataFrame({"serial": [name], "value": [1.0], "day": [workshop.today]})
    sheet = NewSheet(name, sheet_hash(name.encode()), name.encode(), "slide-card", rows)
    workshop.store.add_sheets([sheet], who="B1", when=workshop.now)


def test_the_folder_is_the_argument_then_the_environment_then_the_usual_one(tmp_path, monkeypatch):
    assert str(find_folder()) == "workshop"
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path / "env"))
    assert find_folder() == tmp_path / "env"
    assert find_folder(tmp_path / "given") == tmp_path / "given"


def test_no_workshop_is_said_with_what_to_do(tmp_path):
    with pytest.raises(JobError) as caught:
        open_workshop(tmp_path / "none")
    sentence = str(caught.value)
    assert f"no workshop in {tmp_path / 'none'}" in sentence
    assert "`qc new" in sentence and "`qc demo`" in sentence and "QC_WORKSHOP" in sentence
    assert not (tmp_path / "none").exists()


def test_opening_gives_plan_store_and_day(folder):
    workshop = open_workshop(folder)
    assert workshop.folder == folder
    assert workshop.plan.workshop.name == "Three Benches"
    assert workshop.store.plan_text() == template_text()
    assert workshop.store.plan_versions()[0].who == "QL"
    assert abs((datetime.now(UTC) - workshop.now).total_seconds()) < 60
    assert abs((workshop.today - workshop.now.date()).days) <= 1
    workshop.store.close()


def test_the_environment_finds_it(folder, monkeypatch):
    monkeypatch.setenv(FOLDER_VARIABLE, str(folder))
    open_workshop().store.close()


def test_a_day_asked_for_is_the_day(folder):
    change(folder, "time_zone: UTC ", "time_zone: Etc/GMT-2 ")
    workshop = open_workshop(folder, as_of=date(2026, 5, 14))
    assert workshop.today == date(2026, 5, 14)
    assert workshop.now == datetime(2026, 5, 14, 21, 59, 59, tzinfo=UTC)  # end of that day there
    assert workshop.store.plan_versions()[0].when.year > 2025  # looking back does not date the plan back
    workshop.store.close()


def test_the_plan_may_fix_its_own_day_and_asking_goes_before_it(folder):
    change(folder, "  lead: QL", "  today: 2026-03-02\n  lead: QL")
    change(folder, "time_zone: UTC ", "time_zone: Etc/GMT-1 ")
    workshop = open_workshop(folder)
    assert workshop.today == date(2026, 3, 2)
    assert (
        workshop.store.plan_versions()[0].when == workshop.now == datetime(2026, 3, 2, 22, 59, 59, tzinfo=UTC)
    )
    workshop.store.close()
    other = open_workshop(folder, as_of=date(2026, 1, 5))
    assert other.today == date(2026, 1, 5)
    other.store.close()


def test_a_plan_with_faults_is_refused_with_all_of_them_and_not_recorded(folder):
    open_workshop(folder).store.close()
    change(folder, "time_zone: UTC ", "time_zone: Etc/GTM-1 ")
    change(folder, "a4_hz: 442 ", "a4_hz: 442,0 ")
    with pytest.raises(PlanError) as caught:
        open_workshop(folder)
    assert len(caught.value.faults) == 2
    assert str(folder / PLAN) in str(caught.value)


def test_a_changed_plan_is_a_new_version_and_an_unchanged_one_is_not(folder):
    for expected in (1, 1):
        workshop = open_workshop(folder)
        assert len(workshop.store.plan_versions()) == expected
        workshop.store.close()
    change(folder, "target: 150,", "target: 160,")
    workshop = open_workshop(folder)
    assert len(workshop.store.plan_versions()) == 2
    assert workshop.store.verify() == []
    workshop.store.close()


def target_on(workshop, day):
    figure = workshop.plan.characteristic("slide", "clearance")
    return workshop.plan.limits(figure, "tenor", day).target


def test_a_target_written_over_keeps_its_past_once_a_sheet_was_judged_by_it(folder, monkeypatch):
    change(folder, "  lead: QL", "  today: 2026-03-02\n  lead: QL")
    change(folder, "time_zone: UTC ", "time_zone: Etc/GMT-1 ")
    first = open_workshop(folder)
    take_in_a_sheet(first)
    first.store.close()
    change(folder, "today: 2026-03-02", "today: 2026-05-14")
    change(folder, "target: 150,", "target: 160,")
    second = open_workshop(folder)
    assert target_on(second, date(2026, 3, 2)) == 150
    assert target_on(second, date(2026, 5, 13)) == 150
    assert target_on(second, date(2026, 5, 14)) == 160
    second.store.close()


def test_a_target_corrected_before_any_sheet_came_has_no_past(folder):
    open_workshop(folder).store.close()
    change(folder, "target: 150,", "target: 160,")
    workshop = open_workshop(folder)
    assert target_on(workshop, date(2020, 1, 1)) == 160
    workshop.store.close()


def test_a_version_that_no_program_can_read_any_more_is_passed_over(folder):
    workshop = open_workshop(folder)
    workshop.store.record_plan("workshop: {name: x, field_of_old: 1}", who="QL", when=workshop.now)
    take_in_a_sheet(workshop)
    workshop.store.close()
    again = open_workshop(folder)
    assert again.plan.workshop.name == "Three Benches"
    assert len(again.store.plan_versions()) == 3
    again.store.close()


def test_create_makes_the_template_where_there_is_nothing(tmp_path):
    workshop = open_workshop(tmp_path / "made", create=True)
    assert (workshop.folder / PLAN).read_text("utf-8") == template_text()
    assert (workshop.folder / "reports").is_dir()
    workshop.store.close()
    open_workshop(tmp_path / "made").store.close()


def test_a_share_is_refused_before_anything_is_written(tmp_path, monkeypatch):
    table = tmp_path / "mounts"
    table.write_text(f"disk / ext4 rw 0 0\nnas:/v {tmp_path}/net nfs4 rw 0 0\n")
    monkeypatch.setattr("qc.store.location.MOUNTS", table)
    with pytest.raises(StoreError, match="network share"):
        open_workshop(tmp_path / "net", create=True)
    assert not (tmp_path / "net").exists()


def test_a_folder_that_cannot_be_made_is_said(tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(JobError, match="cannot be made into a workshop"):
        open_workshop(tmp_path / "file" / "shop", create=True)


@pytest.mark.file
def test_another_database_is_asked_for_by_the_environment(folder, monkeypatch):
    monkeypatch.setenv(DATABASE_VARIABLE, "mysql://host/shop")
    with pytest.raises(StoreError, match="not mysql"):
        open_workshop(folder)
    assert not (folder / "qc.db").exists()
