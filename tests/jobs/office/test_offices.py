"""The list of people kept from the board: the same jobs as at the command; nobody locks all others out."""

import pytest

from qc.jobs.errors import JobError
from qc.jobs.new import new_workshop
from qc.jobs.office import OfficeClosed, StoreOffice
from qc.jobs.people import add_person
from qc.jobs.workshop import open_workshop


@pytest.fixture
def office(tmp_path):
    new_workshop(tmp_path / "shop")
    return StoreOffice(tmp_path / "shop")


@pytest.fixture
def listed(office):
    with open_workshop(office._folder).store as store:
        assert store.people() == []
    workshop = open_workshop(office._folder)
    add_person(workshop, "OW", "owner")
    workshop.store.close()
    return office


def test_the_first_is_added_at_the_command(office):
    for ask in (
        lambda: office.add("OW", "owner", "", ""),
        lambda: office.reset("OW", ""),
        lambda: office.leave("OW", ""),
    ):
        with pytest.raises(OfficeClosed, match="qc people add CODE --role owner"):
            ask()
    assert office.people().people == ()


def test_an_owner_keeps_the_list(listed):
    added = listed.add("BK", "technician", "Bo Kestrel", "OW")
    assert added.one_time_code and added.valid_until
    again = listed.reset("BK", "OW")
    assert again.one_time_code not in {"", added.one_time_code}
    with pytest.raises(JobError, match="change the list of people is for an owner"):
        listed.add("TK", "lead", "", "BK")
    assert "erased" in listed.leave("BK", "OW").sentence
    assert [(one.code, one.at_work, one.name) for one in listed.people().people] == [
        ("OW", True, ""),
        ("BK", False, ""),
    ]


def test_the_last_owner_stays(listed):
    with pytest.raises(OfficeClosed, match="only owner at work"):
        listed.leave("OW", "OW")
    with pytest.raises(OfficeClosed, match="only owner at work"):
        listed.add("OW", "lead", "", "OW")
    listed.add("OB", "owner", "", "OW")
    assert listed.leave("OW", "OB").role == "owner"
