"""Another program holds the store before the rows or after them: what is said is true, nothing is lost."""

import json
from datetime import datetime

import pytest
from fault_driver import take_lock
from fault_sentences import NOTHING, WAITING, faults_of, truth
from fault_server import copied, removed
from fault_shop import content, looked_at
from fault_verbs import VERBS

WRITERS = [verb for verb in VERBS if verb.keeps and not verb.opens]
KEPT = "upload one that nobody can read with one that is read"
AFTERWARDS = {"upload one", "upload many", "upload with a mapping", KEPT, "mend one"}
JUDGED_AFTERWARDS = [verb for verb in WRITERS if verb.name in AFTERWARDS]


@pytest.fixture
def harmed(killing):
    """Return a function that copies the workshop of a verb; the copy goes when the test ends."""
    shop = killing.folder / "locked"
    yield lambda verb: copied(killing.unkilled(verb).start, shop)
    removed(shop)


@pytest.mark.slow
@pytest.mark.parametrize("verb", WRITERS, ids=str)
def test_a_lock_before_the_rows(killing, harmed, verb):
    shop, usual = harmed(verb), killing.unkilled(verb)
    before, other = content(shop), take_lock(shop / "qc.db")
    run = killing.driver.run(*verb.typed(shop, killing.bench), before="impatient")
    other.close()
    assert truth(shop, before, usual.after) == NOTHING
    assert faults_of(run, shop, before, usual.after) == []
    assert run.code == 3
    assert killing.driver.run(*verb.typed(shop, killing.bench)).code == verb.code
    assert looked_at(killing.driver, shop) == usual.after


@pytest.mark.slow
@pytest.mark.parametrize("verb", JUDGED_AFTERWARDS, ids=str)
def test_a_lock_between_the_rows_and_their_judging(killing, harmed, verb):
    shop, usual = harmed(verb), killing.unkilled(verb)
    before = content(shop)
    run = killing.driver.run(*verb.typed(shop, killing.bench), before="lock after the rows")
    assert truth(shop, before, usual.after) == WAITING
    assert faults_of(run, shop, before, usual.after) == []
    other = take_lock(shop / "qc.db")
    told = killing.driver.run("status", "--json", "--workshop", str(shop), before="impatient")
    other.close()
    assert told.code == 0, told.err
    assert datetime.fromisoformat(json.loads(told.out)["not_judged_since"])
    end = looked_at(killing.driver, shop)
    assert end["status"]["not_judged_since"] is None
    assert end == usual.after
