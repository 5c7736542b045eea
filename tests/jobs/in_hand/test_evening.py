"""The day as it ends, beside what the store holds of that day."""

from datetime import date

from qc import clock
from qc.jobs.in_hand import day_view
from qc.jobs.judging import signals_of_day, verdicts_of_day
from qc.jobs.pieces import hold_list, release
from qc.jobs.signals import list_signals, say_of_signal
from qc.sayings import Saying, What

DAY = date(2026, 11, 23)


def asked(shop):
    return day_view(shop, signals_of_day(shop, verdicts_of_day(shop)))


def test_what_the_benches_measured_adds_up(shop):
    found = asked(shop)
    read = shop.store.readings(since=DAY, until=DAY)
    assert found.cards.day == DAY
    assert sum(one.readings for one in found.benches) == read.height
    titles = [card.title for card in shop.plan.cards]
    places = [titles.index(one.card) for one in found.benches]
    assert places == sorted(places) and len(set(places)) == len(places)
    people = {code for one in found.benches for code in one.people.replace(" and ", ", ").split(", ") if code}
    assert people <= {person.code for person in shop.plan.people}
    gone = shop.store.events("shipped", since=DAY, until=DAY)["serial"]
    assert found.shipped == tuple(sorted(gone)) and found.returned == ()


def test_what_was_told_and_decided_on_the_day_is_told_with_who(shop):
    zone = shop.plan.workshop.time_zone
    signal = next(one for one in list_signals(shop).signals if one.due is not None)
    piece = hold_list(shop, judge=False).waiting[0].serial
    when = clock.moment(zone, DAY)
    for earlier in (when.replace(year=2025), when):
        object.__setattr__(shop, "now", earlier)
        say_of_signal(shop, signal.id, Saying(What.IN_HAND, "IS", f"{earlier:%Y}"))
    say_of_signal(shop, signal.id, Saying(What.COMMENT, "IS", "on the plate"))
    release(shop, piece, who="IS", why="measured again")
    done = asked(shop).done
    assert len(done) == 2 and done[0].startswith("IS, taken in hand: ") and signal.found.sentence in done[0]
    assert done[1] == f"IS released {piece}: measured again"
