"""Judging everything from nothing says that nothing changed where nothing did, whatever people said."""

import pytest

from qc.jobs.rejudge import rejudge

CAUSE = ("--action", "looked at and put right", "--cause")
WAYS = {
    "mended": (*CAUSE, "jig", "--outcome", "mended"),
    "stays": (*CAUSE, "jig", "--outcome", "stays"),
    "false": ("--false",),
}


def unchanged(bows):
    assert bows.ask("rejudge")["changed"] == [] and bows.ask("rejudge")["changed"] == []


@pytest.mark.parametrize("level", [50.0, 56.0])
@pytest.mark.parametrize("way", WAYS)
def test_after_each_closing_and_the_pieces_that_bear_it_out_or_not(bows, way, level):
    bows.ask("signals", "close", "1", *WAYS[way], "--who", "ML")
    unchanged(bows)
    for _ in range(3):
        bows.bend(level, 2)
        unchanged(bows)


def test_after_a_mend_that_failed_and_one_more(bows):
    bows.close()
    for _ in range(2):
        bows.bend(56.0, 2)
    unchanged(bows)
    bows.close()
    bows.bend(56.0, 4)
    unchanged(bows)
    bows.bend(50.0, 6)
    unchanged(bows)


def close_by_turns(command, workshop):
    """Close open signals as mended, staying and false by turns; returns how many."""
    waiting = [one for one in workshop.store.signals() if not one.said][:6]
    for number, one in enumerate(waiting):
        cause = (*CAUSE, workshop.plan.causes[0], "--outcome")
        words = [(*cause, "mended"), (*cause, "stays"), ("--false",)][number % 3]
        where = ("--who", workshop.plan.workshop.lead, "--workshop", workshop.folder)
        found = command("signals", "close", one.id, *words, *where, "--as-of", workshop.today)
        assert found.exit_code == 0, found.output
    return len(waiting)


def test_in_the_sample(command, shop):
    assert rejudge(shop).changed == ()
    assert close_by_turns(command, shop) >= 3
    assert rejudge(shop).changed == ()
