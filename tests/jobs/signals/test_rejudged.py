"""Judging everything from nothing says that nothing changed where nothing did, whatever people said."""

from dataclasses import replace

import pytest

from qc.jobs.judging.kept import load_verdicts
from qc.jobs.rejudge import rejudge
from qc.jobs.signals import find_signal, list_signals, say_of_signal
from qc.jobs.upload import _fresh
from qc.jobs.workshop import open_workshop
from qc.sayings import Saying, What
from qc.store import SignalRecord, signal_id

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
    """Before anything was closed the golden files say so."""
    assert close_by_turns(command, shop) >= 3
    stays = [
        one.series
        for one in shop.store.signals()
        if any((said.what, said.outcome) == (What.CLOSED, "stays") for said in one.said)
    ]
    assert rejudge(shop).changed == ()
    assert stays and all(behaviour(shop, series) == "steady" for series in stays)


@pytest.fixture
def bent(bows):
    """Open the workshop of the bent bows, told anew by two pieces more, to write into."""
    bows.bend(56.0, 2)
    workshop = open_workshop(bows.folder, as_of=bows.day, writes=True)
    yield workshop
    workshop.store.close()


SERIES = "bow/rise/all"


def the_signal(workshop):
    (found,) = list_signals(workshop, series=SERIES).signals
    return found


def say(workshop, signal, what, **words):
    return say_of_signal(workshop, signal, Saying(What(what), **words))


def behaviour(workshop, key=SERIES):
    return next(v.behaviour for v in load_verdicts(workshop) if str(v.key) == key)


def raised_later(workshop, signal):
    """Keep the verdict as an earlier program might have: the same change raised a piece later."""
    verdict = next(v for v in load_verdicts(workshop) if str(v.key) == SERIES)
    later = verdict.points[signal.found.raised]
    found = replace(
        signal.found, raised=later.ordinal, raised_serial=later.serial, raised_day=later.day, sentence="High."
    )
    signals = tuple(found if s == signal.found else s for s in verdict.signals)
    workshop.store.save_verdicts([replace(verdict, signals=signals).to_dict()], as_of=workshop.today)
    return verdict, found, signal_id(SERIES, found.kind, later.serial)


def test_what_was_said_follows_a_change_that_is_raised_at_another_piece(bent):
    signal = the_signal(bent)
    _, _, old = raised_later(bent, signal)
    bent.store.say(old, Saying(What.CLOSED, who="ML", cause="jig", action="dressed"), when=bent.now)
    rejudge(bent)
    now = find_signal(bent, old)
    # it keeps the number by which it was first known, and answers to the later one too
    first, later = sorted(now.numbers)
    assert now.name == str(first) == signal.name and find_signal(bent, str(later)).id == now.id
    assert (now.id, now.state, now.present, now.before) == (signal.id, "closed", True, (old,))
    assert behaviour(bent) == "steady"
    again = say(bent, old, "reopened", who="ML", text="three more high bows")
    assert (again.id, again.state) == (signal.id, "open") and behaviour(bent) == "drifting"
    assert bent.store.verify() == []


def test_what_had_been_said_is_read_as_it_was_said(bent):
    signal = the_signal(bent)
    first = find_signal(bent, signal.id)
    told = [row[1] for row in first.told]  # the more pieces came, the better its size was known
    assert told[-1] == signal.found.sentence and len(set(told)) > 1
    raised_later(bent, signal)
    rejudge(bent)
    now = find_signal(bent, signal.id)
    assert [row[1] for row in now.told] == [*told, "High.", signal.found.sentence]
    anew = now.to_text().partition("Told anew, by the pieces made since. It had been said:\n")[2]
    assert f"    {bent.today}: High." in anew and told[0] in anew
    assert now.to_dict()["told"][-2]["sentence"] == "High."


def test_a_change_told_before_is_not_told_as_new(bent):
    signal = the_signal(bent)
    verdict, found, old = raised_later(bent, signal)
    before = SignalRecord(old, SERIES, bent.today, bent.today, found.to_dict(), ())
    assert signal.id in [s["id"] for s in _fresh(verdict, [])]
    assert signal.id not in [s["id"] for s in _fresh(verdict, [before])]


def test_judging_from_nothing_twice_is_recorded_once_and_told_so(bent):
    first = rejudge(bent)
    entries = [entry.note for entry in bent.store.entries()]
    again = rejudge(bent)
    assert [entry.note for entry in bent.store.entries()] == entries and entries[-1] == "afresh"
    assert (first.already, again.already) == (False, True)
    assert again.to_text() == f"{first.to_text()} That stands already and was not recorded a second time."
    assert again.to_dict() == {**first.to_dict(), "already": True}
    say(bent, the_signal(bent).id, "in-hand", who="FT")
    assert rejudge(bent).already is False
    assert bent.store.verify() == []
