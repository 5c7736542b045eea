"""Who may do what: each verb for the lead, the others, strangers, nobody; plans without lead or people."""

import pytest

from qc.errors import QcError, UsageError
from qc.jobs.errors import JobError
from qc.jobs.roles import LONGEST_NAME, OF_THE_LEAD, Verb, may
from qc.plan import Person, Plan, Shop

NOBODY_KNOWN = Plan(workshop=Shop(name="Sedge Mill Slideworks"), models=(), stages=())
LEAD = "IS"


def plan(lead=LEAD):
    people = (Person(code="IS", name="Ina Sorrel"), Person(code="BK", name="Bo Kestrel"))
    return Plan(workshop=Shop(name="Sedge Mill Slideworks", lead=lead), people=people, models=(), stages=())


def allowed(who, verb, of):
    try:
        may(who, verb, of)
    except QcError:
        return False
    return True


@pytest.mark.parametrize("verb", Verb)
def test_the_lead_may_do_everything_and_the_others_what_is_not_left_to_the_lead(verb):
    assert allowed("IS", verb, plan())
    assert (
        allowed("BK", verb, plan()) == (verb not in OF_THE_LEAD) == (verb not in {Verb.DECIDE, Verb.RELEASE})
    )


def test_who_is_no_lead_is_told_who_is_and_what_was_asked():
    with pytest.raises(
        JobError, match="decide about a series is for the quality lead, IS in the plan"
    ) as told:
        may("BK", Verb.DECIDE, plan())
    assert "not for BK. Ask IS" in str(told.value) and told.value.exit_code == 1


@pytest.mark.parametrize("verb", Verb)
def test_where_the_plan_names_no_lead_each_of_its_people_decides(verb):
    assert allowed("BK", verb, plan(lead=""))
    assert not allowed("XX", verb, plan(lead=""))


@pytest.mark.parametrize("verb", Verb)
def test_a_stranger_is_a_fault_of_the_data_and_nobody_one_of_the_command(verb):
    with pytest.raises(JobError, match="one of IS, BK. The plan knows no 'XX'"):
        may("XX", verb, plan())
    with pytest.raises(UsageError, match=r"^Say who you are: add --who with one of IS, BK\.$"):
        may("", verb, plan())


@pytest.mark.parametrize("verb", Verb)
def test_a_plan_without_people_takes_any_name_and_for_held_rows_none(verb):
    assert allowed("anybody", verb, NOBODY_KNOWN)
    assert allowed("", verb, NOBODY_KNOWN) == (verb is Verb.MEND)


@pytest.mark.parametrize("known", [plan(), NOBODY_KNOWN], ids=["people", "no people"])
@pytest.mark.parametrize("name", ["x" * (LONGEST_NAME + 1), "IS\nBK", "\x1b[2J"])
def test_what_is_no_name_is_refused_whoever_is_known(known, name):
    with pytest.raises(UsageError, match="at most 80 printable characters"):
        may(name, Verb.SAY, known)
