"""On a server as in a file: every verb ends alike, a killed one is done or not, eight write at once."""

import random

import pytest
from fault_driver import Plan
from fault_kills import Tally
from fault_server import copied, removed
from fault_shop import different, looked_at
from fault_verbs import BY_NAME, ON_A_SERVER, TO_A_SERVER

SEED = 20261129
ASKED_AGAIN = {"upload many", "close", "mend one"}


@pytest.mark.slow
@pytest.mark.parametrize("verb", ON_A_SERVER, ids=str)
def test_a_verb_ends_on_a_server_as_in_a_file(killing_in_a_file, killing_on_a_server, verb):
    here, there = killing_in_a_file.unkilled(verb).after, killing_on_a_server.unkilled(verb).after
    if verb.name not in ASKED_AGAIN:
        killing_on_a_server.forget(verb)
    assert different(here, there) == []


@pytest.mark.slow
@pytest.mark.parametrize("name", ["upload many", "close"])
def test_a_verb_killed_on_a_server_is_done_or_not_and_the_next_person_goes_on(killing_on_a_server, name):
    kill_until_it_hits(killing_on_a_server, BY_NAME[name])


@pytest.mark.slow
def test_carrying_to_a_server_killed_anywhere_is_done_or_not_and_may_be_said_again(
    killing_in_a_file, killing_on_a_server
):
    kill_until_it_hits(killing_in_a_file, TO_A_SERVER)


def kill_until_it_hits(killing, verb):
    chance, tally = random.Random(f"{SEED} {verb}"), Tally()
    for _ in range(10):
        if not tally.kills:  # one may come too late on a machine that is quicker this time
            killing.kill(verb, chance, tally)
    assert tally.kills == 1
    assert tally.faults == []
    assert (tally.lost_rows, tally.lost_or_doubled_verdicts, tally.tracebacks) == (0, 0, 0)


@pytest.mark.slow
def test_eight_writers_at_once_lose_no_row_and_double_none(killing_on_a_server):
    """Five hand in cards of their own, one a card of these once more, one mends, one closes a signal."""
    killing = killing_on_a_server
    shop = copied(killing.shop, killing.folder / "eight")
    cards = [killing.bench / f"new-{number}.csv" for number in (0, 1, 2, 3, 4, 0)]
    typed = [["upload", str(card), "--who", "IS", "--workshop", str(shop)] for card in cards]
    verbs = [BY_NAME[name] for name in ("mend one", "close", "upload many")]
    typed += [verb.typed(shop, killing.bench) for verb in verbs[:2]]
    runs = killing.driver.together(*(Plan(words) for words in typed))
    found = looked_at(killing.driver, shop)
    verified = killing.driver.run("verify", "--workshop", str(shop))
    removed(shop)
    assert [run.code for run in runs] == [0] * 8, [run.err for run in runs]
    one_by_one = [killing.unkilled(verb).after for verb in verbs]
    for kind in ("readings", "sheets", "said"):
        assert found[kind] == sorted({row for after in one_by_one for row in after[kind]})
    assert found["status"]["not_judged_since"] is None
    assert verified.code == 0, verified.out
