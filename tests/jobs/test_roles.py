"""Who may do what: each verb for the lead, the others, strangers, nobody; plans without lead or people."""

from datetime import UTC, datetime

import pytest

from qc.errors import QcError, UsageError
from qc.jobs.errors import JobError
from qc.jobs.roles import LONGEST_NAME, NEEDED, OF_THE_LEAD, Role, Verb, may
from qc.plan import Person, Plan, Shop
from qc.store import PersonRecord

NOBODY_KNOWN = Plan(workshop=Shop(name="Sedge Mill Slideworks"), models=(), stages=())
LEAD = "IS"
WHEN = datetime(2026, 5, 14, 16, 30, tzinfo=UTC)


def plan(lead=LEAD):
    people = (Person(code="IS", name="Ina Sorrel"), Person(code="BK", name="Bo Kestrel"))
    return Plan(workshop=Shop(name="Sedge Mill Slideworks", lead=lead), people=people, models=(), stages=())


def person(code, role, left=None):
    return PersonRecord(code, role, "", WHEN, left, True, None)


LISTED = (
    person("OW", "owner"),
    person("IS", "lead"),
    person("TK", "technician"),
    person("XL", "owner", WHEN),
)


def allowed(who, verb, of, people=()):
    try:
        may(who, verb, of, people)
    except QcError:
        return False
    return True


@pytest.mark.parametrize("verb", Verb)
def test_the_lead_may_do_everything_and_the_others_what_is_not_left_to_the_lead(verb):
    assert allowed("IS", verb, plan())
    assert (
        allowed("BK", verb, plan())
        == (verb not in OF_THE_LEAD)
        == (verb not in {Verb.DECIDE, Verb.RELEASE, Verb.CLOSE_MONTH, Verb.PLAN, Verb.PEOPLE})
    )


def test_who_is_no_lead_is_told_who_is_and_what_was_asked():
    with pytest.raises(
        JobError, match="decide about a series is for the quality lead, IS in the plan"
    ) as told:
        may("BK", Verb.DECIDE, plan(), ())
    assert "not for BK. Ask IS" in str(told.value) and told.value.exit_code == 1


@pytest.mark.parametrize("verb", Verb)
def test_where_the_plan_names_no_lead_each_of_its_people_decides(verb):
    assert allowed("BK", verb, plan(lead=""))
    assert not allowed("XX", verb, plan(lead=""))


@pytest.mark.parametrize("verb", Verb)
def test_a_stranger_is_a_fault_of_the_data_and_nobody_one_of_the_command(verb):
    with pytest.raises(JobError, match="one of IS, BK. The plan knows no 'XX'"):
        may("XX", verb, plan(), ())
    with pytest.raises(UsageError, match=r"^Say who you are: add --who with one of IS, BK\.$"):
        may("", verb, plan(), ())


@pytest.mark.parametrize("verb", Verb)
def test_a_plan_without_people_takes_any_name_and_for_held_rows_none(verb):
    assert allowed("anybody", verb, NOBODY_KNOWN)
    assert allowed("", verb, NOBODY_KNOWN) == (verb is Verb.MEND)


@pytest.mark.parametrize("known", [plan(), NOBODY_KNOWN], ids=["people", "no people"])
@pytest.mark.parametrize("name", ["x" * (LONGEST_NAME + 1), "IS\nBK", "\x1b[2J"])
def test_what_is_no_name_is_refused_whoever_is_known(known, name):
    with pytest.raises(UsageError, match="at most 80 printable characters"):
        may(name, Verb.SAY, known, ())


@pytest.mark.parametrize("verb", Verb)
@pytest.mark.parametrize("who", ["OW", "IS", "TK"])
def test_with_a_list_of_people_the_role_decides_and_the_plan_no_more(who, verb):
    role = next(Role(one.role) for one in LISTED if one.code == who)
    assert allowed(who, verb, plan(lead="TK"), LISTED) == role.covers(NEEDED[verb])
    assert not allowed("BK", verb, plan(), LISTED), "of the plan, and not on the list"


@pytest.mark.parametrize("verb", Verb)
def test_who_has_left_may_nothing_and_nobody_may_without_people_at_work(verb):
    with pytest.raises(JobError, match="XL has left"):
        may("XL", verb, plan(), LISTED)
    with pytest.raises(JobError, match="Nobody of the list of people is at work"):
        may("XL", verb, plan(), LISTED[-1:])
    with pytest.raises(UsageError, match="one of OW, IS, TK"):
        may("", verb, plan(), LISTED)


def test_who_lacks_the_role_is_told_whom_to_ask():
    with pytest.raises(
        JobError, match="is for a lead or an owner, and not for TK, a technician. Ask OW or IS"
    ):
        may("TK", Verb.DECIDE, plan(), LISTED)
    with pytest.raises(JobError, match="for an owner, and not for IS, a lead. Add one: qc people add"):
        may("IS", Verb.PEOPLE, plan(), LISTED[1:3])
