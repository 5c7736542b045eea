"""Who holds what, counted in the sample workshop and beside the lists that other commands print."""

import json
from collections import Counter
from datetime import date, timedelta

import pytest

from qc.jobs.in_hand import CardsIn, Share, cards_of_day, share_words, who_holds
from qc.jobs.judging import signals_of_day, verdicts_of_day
from qc.jobs.pieces import hold_list
from qc.jobs.signals import list_signals, say_of_signal
from qc.sayings import Saying, What


@pytest.fixture
def holders(shop):
    def ask():
        verdicts = verdicts_of_day(shop)
        hold = hold_list(shop, judge=False, verdicts=verdicts)
        return who_holds(shop, signals_of_day(shop, verdicts), hold), hold

    return ask


def test_every_row_and_piece_is_counted_once(shop, holders):
    found, hold = holders()
    assert sum(one.number for one in found.rows) == len(shop.store.held())
    assert sum(one.number for one in found.pieces) == len({row.serial for row in hold.waiting})
    titles = {card.title for card in shop.plan.cards}
    assert {one.name for one in found.rows} <= titles
    stages = {stage.name for stage in shop.plan.stages} | {"Assembly", "Rework", "Came back", ""}
    assert {one.name for one in found.pieces} <= stages


def test_a_reaction_belongs_to_who_took_it_in_hand(shop, holders):
    waiting = [one for one in list_signals(shop).signals if one.due is not None]
    before, _ = holders()
    assert Counter({one.name: one.number for one in before.reactions}) == Counter(
        one.owner or "" for one in waiting
    )
    assert sum(one.late for one in before.reactions) == sum(one.overdue for one in waiting)
    say_of_signal(shop, waiting[0].id, Saying(What.IN_HAND, "IS"))
    after, _ = holders()
    assert Share("IS", 1, int(waiting[0].overdue)) in after.reactions
    assert sum(one.number for one in after.reactions) == len(waiting)


def test_a_reaction_that_came_back_says_who_had_it(shop, holders):
    own = [one for one in list_signals(shop).signals if one.due is not None][0]
    say_of_signal(shop, own.id, Saying(What.IN_HAND, "IS"))
    say_of_signal(shop, own.id, Saying(What.CLOSED_FALSE, "IS", "counted twice"))
    say_of_signal(shop, own.id, Saying(What.REOPENED, "IS", "once more"))
    found, _ = holders()
    back = [one for one in found.reactions if one.had]
    assert [(one.name, one.number, one.had) for one in back] == [("", 1, "IS")]
    assert back[0].to_dict("owner")["had_before"] == "IS"
    assert "nobody since IS had it 1" in share_words(found.reactions, "nobody yet")
    never = next(one for one in found.reactions if not one.name and not one.had)
    assert f"nobody yet {never.number}" in share_words(found.reactions, "nobody yet")


def test_a_row_is_late_from_a_week_after_it_was_handed_in(shop, holders, monkeypatch):
    found, _ = holders()
    newest = max(row.entered for row in shop.store.held()).date()
    monkeypatch.setattr("qc.jobs.in_hand.holding.OLD_ROW", shop.today - newest)
    some, _ = holders()
    assert 0 <= sum(one.late for one in some.rows) <= sum(one.number for one in some.rows)
    monkeypatch.setattr("qc.jobs.in_hand.holding.OLD_ROW", shop.today - newest - timedelta(days=2))
    every, _ = holders()
    assert all(one.late == one.number for one in every.rows)


def test_the_list_of_a_day_without_a_card_looks_back_to_the_last(shop):
    found = cards_of_day(shop)
    assert isinstance(found, CardsIn) and found.day == date(2026, 11, 23) and found.missing == ()


def test_status_says_it_too(shop, command, holders):
    found, _ = holders()
    told = json.loads(command("status", "--json", "--workshop", shop.folder).stdout)["waiting"]
    assert told == {**found.to_dict(), "cards_missing": []}
    assert set(told) == {"held_rows", "reactions", "cards_missing"}


def test_few_are_named_and_the_rest_is_one_sum():
    shares = [Share(name, 9 - n) for n, name in enumerate("abcdef")]
    assert share_words(shares, "?") == "a 9, b 8, c 7, 3 others 15"
    assert share_words(shares[:4], "?") == "a 9, b 8, c 7, d 6"
    assert share_words([], "?") == ""
