"""What is said of a day already past is what was known then, and is not kept as the newest state."""

from dataclasses import replace
from datetime import UTC, date, datetime
from types import SimpleNamespace

import pytest

from qc.jobs.board.rows import signal_views
from qc.jobs.judging.kept import load_verdicts
from qc.jobs.judging.looking_back import looks_back, signals_of_day, verdicts_of_day
from qc.jobs.rejudge import rejudge
from qc.jobs.signals import list_signals, say_of_signal
from qc.jobs.status import status
from qc.jobs.workshop import open_workshop
from qc.sayings import Saying, What

PAST = date(2026, 11, 1)


@pytest.fixture
def then(demo_folder):
    workshop = open_workshop(demo_folder, as_of=PAST)
    yield workshop
    workshop.store.close()


def test_the_status_of_a_past_day_knows_nothing_later(then):
    assert looks_back(then) and not looks_back(replace(then, today=date(2026, 11, 24)))
    found = status(then)
    assert max(p.day for v in found.series for p in v.points) <= PAST
    moved = {str(v.key) for v in found.series if v.behaviour == "drifting"}
    assert moved == {"draw/tube_od/tenor", "lacquer/thickness/all"}
    assert sum(found.open_signals.values()) == len(list_signals(then).signals)
    assert {str(v.key) for v in load_verdicts(then) if v.behaviour == "drifting"} > moved


def test_signals_of_a_past_day_were_raised_by_then(then):
    found = list_signals(then).signals
    assert found and all(s.found.raised_day <= PAST for s in found)
    assert {v.id for v in signal_views(then, verdicts_of_day(then))} == {s.id for s in found}


def test_a_past_day_is_judged_once_until_something_is_entered_or_another_day_asked(shop, monkeypatch):
    from qc.jobs.judging import verdicts

    judged = []

    def judge(shop, *, keep):
        judged.append(shop.today)
        return SimpleNamespace(verdicts=["first", "second"])

    monkeypatch.setattr(verdicts, "judge_now", judge)
    earlier = replace(shop, today=PAST)
    verdicts_of_day(earlier).reverse()  # whoever sorts its list turns nobody else's about
    assert verdicts_of_day(earlier) == ["first", "second"]
    assert judged == [PAST]
    shop.store.say(shop.store.signals()[0].id, Saying(What.COMMENT, "IS", "seen"), when=shop.now)
    verdicts_of_day(earlier)
    verdicts_of_day(replace(shop, today=date(2026, 10, 30)))
    assert judged == [PAST, PAST, date(2026, 10, 30)]


def test_what_was_said_later_is_not_known_yet(shop):
    signal = next(s for s in list_signals(shop, series="tuning/wrap_f/all").signals if not s.over)
    say_of_signal(shop, signal.id, Saying(What.CLOSED_FALSE, "IS"))
    earlier = replace(shop, today=date(2026, 11, 20))
    rows = {row.id: row for row in signals_of_day(earlier, verdicts_of_day(earlier))}
    assert rows[signal.id].state == "open" and rows[signal.id].said == ()
    verdict = next(v for v in verdicts_of_day(earlier) if str(v.key) == "tuning/wrap_f/all")
    assert verdict.behaviour == "drifting"
    assert signal.id not in [s.id for s in list_signals(shop).signals]
    assert status(shop).to_dict()["series"][1]["characteristic"] != "wrap_f"


def test_saying_something_as_of_a_past_day_shows_in_the_newest_state(shop):
    signal = next(s for s in list_signals(shop, series="tuning/wrap_f/all").signals if not s.over)
    past = replace(shop, today=date(2026, 11, 20), now=datetime(2026, 11, 20, 9, tzinfo=UTC))
    closed = say_of_signal(
        past, signal.id, Saying(What.CLOSED, "IS", cause="mandrel", action="dressed", outcome="stays")
    )
    assert closed.state == "closed"
    here = next(v for v in load_verdicts(shop) if str(v.key) == "tuning/wrap_f/all")
    assert here.behaviour == "steady" and here.points[-1].day > past.today


def test_judging_anew_as_of_a_past_day_loses_nothing(shop):
    assert rejudge(replace(shop, today=PAST)).changed == ()
    assert sum(v.behaviour == "drifting" for v in load_verdicts(shop)) == 5
