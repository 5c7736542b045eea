import json
from datetime import timedelta

import pytest

from qc.errors import QcError
from qc.jobs.also import also
from qc.jobs.judging.kept import load_verdicts
from qc.jobs.pieces import hold_list
from qc.jobs.signals import SAID_ALREADY, find_signal, list_signals, say_of_signal
from qc.jobs.then import known
from qc.jobs.workshop import open_workshop
from qc.sayings import Saying, What
from qc.states import OVER
from qc.watch.words import rate_words

WRAP = "tuning/wrap_f/all"


@pytest.fixture
def reader(demo_folder):
    workshop = open_workshop(demo_folder)
    yield workshop
    workshop.store.close()


def wrap_signal(workshop):
    return next(s for s in list_signals(workshop, series=WRAP).signals if s.found.ended is None)


def say(workshop, signal, what, **words):
    return say_of_signal(workshop, signal, Saying(What(what), **words))


def behaviour(workshop, key=WRAP):
    return next(v.behaviour for v in load_verdicts(workshop) if str(v.key) == key)


def test_the_first_three_steps_are_always_the_same(reader):
    for signal in list_signals(reader, all_states=True).signals:
        seen = signal.series in {"joints/joint_faults/all", "lacquer/defects/all", "final/verdict/all"}
        first = ["Look", "Let", "Check"] if seen else ["Re-measure", "Check", "Check"]
        assert [s.split()[0] for s in signal.steps[:3]] == first


def test_worst_series_come_first(reader):
    worst = max(load_verdicts(reader), key=lambda v: v.worst)
    assert list_signals(reader).signals[0].series == str(worst.key) == "draw/tube_od/tenor"
    assert list_signals(reader).to_text().splitlines()[0].startswith(list_signals(reader).signals[0].name)


def test_closing_with_a_cause_makes_the_new_level_the_settled_state(shop):
    signal = wrap_signal(shop)
    assert behaviour(shop) == "drifting"
    closed = say(shop, signal.id, "closed", who="IS", cause="mandrel", action="M-64 dressed", outcome="stays")
    assert closed.state == "closed"
    assert behaviour(shop) == "steady"
    (listed,) = [s for s in list_signals(shop).signals if s.id == signal.id]
    assert listed.standing == "limits not kept since 28 Oct", "21 mm long, under a limit of 20"
    (event,) = closed.events
    assert str(event.when.tzinfo) == shop.plan.workshop.time_zone, "its day is a day of the workshop"
    assert closed.to_dict()["events"][0]["when"].endswith("+00:00")
    assert event.what is What.CLOSED
    assert (event.cause, event.action, event.who) == ("mandrel", "M-64 dressed", "IS")
    assert closed.to_dict()["events"] == [
        {
            "what": "closed",
            "cause": "mandrel",
            "action": "M-64 dressed",
            "text": "",
            "outcome": "stays",
            "who": "IS",
            "when": shop.now.isoformat(),
        }
    ]
    assert shop.store.verify() == []


def test_reopening_brings_it_back_and_keeps_history(shop):
    signal = wrap_signal(shop)
    say(shop, signal.id, "closed-false", who="IS")
    again = say(shop, signal.id, "reopened", who="IS", text="three more long wraps")
    assert again.state == "open"
    assert [event.what for event in again.events] == [What.CLOSED_FALSE, What.REOPENED]
    assert behaviour(shop) == "drifting"


def test_in_hand_and_comments(shop):
    signal = wrap_signal(shop)
    assert say(shop, signal.id, "in-hand", who="BK").state == "in-hand"
    said = say(shop, signal.id, "comment", who="BK", text="master mandrel fetched")
    assert said.state == "in-hand" and said.events[-1].text == "master mandrel fetched"


@pytest.mark.parametrize(
    ("what", "words", "match"),
    [
        ("closed", {"who": "", "cause": "mandrel"}, "Say who you are"),
        ("closed", {"who": "IS", "cause": "moon"}, "no cause of the plan"),
        ("closed", {"who": "IS", "cause": "mandrel"}, "--action TEXT.*--outcome mended"),
        ("reopened", {"who": "IS"}, "only a closed one"),
        ("comment", {"who": "IS", "text": " "}, "remark is empty"),
    ],
)
def test_what_cannot_be_said(shop, what, words, match):
    with pytest.raises(QcError, match=match):
        say(shop, wrap_signal(shop).id, what, **words)


def test_closing_twice_is_refused(shop):
    signal = wrap_signal(shop)
    say(shop, signal.id, "closed-false", who="IS")
    with pytest.raises(QcError, match="Reopen it first"):
        say(shop, signal.id, "closed-false", who="IS")


@pytest.mark.parametrize(("what", "text"), [("in-hand", ""), ("comment", "mandrel fetched")])
def test_what_is_said_twice_word_for_word_is_recorded_once_and_told_so(shop, what, text):
    signal = wrap_signal(shop)
    first = say(shop, signal.id, what, who="BK", text=text)
    entries = len(shop.store.entries())
    again = say(shop, signal.id, what, who="BK", text=text)
    assert [event.what for event in again.events] == [What(what)]
    assert len(shop.store.entries()) == entries
    assert again.to_text() == f"{SAID_ALREADY}\n{first.to_text()}"
    assert (again.to_dict().pop("already"), "already" in first.to_dict()) == (True, False)
    say(shop, signal.id, what, who="IS", text=text)  # another person's word is another word
    assert len(wrap_signal(shop).events) == 2


def test_a_beginning_of_the_id_is_enough_unless_it_fits_several(reader):
    signals = list_signals(reader, all_states=True).signals
    assert find_signal(reader, signals[0].id[:8]).id == signals[0].id
    with pytest.raises(QcError, match="no signal"):
        find_signal(reader, "zzz")
    with pytest.raises(QcError, match="no signal"):
        find_signal(reader, "")


def test_what_is_over_is_told_so_in_the_list(reader):
    every = list_signals(reader, all_states=True)
    lines = {line.split()[0]: line for line in every.to_text().splitlines() if line}
    assert {s.over for s in every.signals} == {True, False}
    for signal in every.signals:
        standing = lines[signal.name].removeprefix(signal.name).lstrip()
        assert standing.startswith(OVER) == signal.over == signal.to_dict()["over"]


def test_a_signal_goes_by_a_short_number_and_answers_to_its_id(reader):
    signals = list_signals(reader, all_states=True).signals
    numbers = sorted(s.to_dict()["number"] for s in signals)
    assert numbers == list(range(1, len(signals) + 1))
    for signal in signals:
        assert signal.name == str(signal.to_dict()["number"]) and len(signal.id) == 12
        assert find_signal(reader, signal.name).id == find_signal(reader, signal.id).id == signal.id
        assert find_signal(reader, signal.name).to_text().startswith(f"{signal.name}  {signal.title}")
    # the number is the same on a past day, and on the list of pieces to hold
    wrap = wrap_signal(reader)
    then = {s.id: s.name for s in list_signals(known(reader, reader.today - timedelta(days=5))).signals}
    assert then[wrap.id] == wrap.name
    said = [row.because for row in hold_list(reader).rows if row.why == "signal"]
    assert any(text.startswith(f"signal {wrap.name}: ") for text in said)


def test_budget_and_rate_are_told_with_the_signals(reader):
    every = list_signals(reader)
    budget = "At this setting: about one false signal in 30 days over 27 series."
    assert every.to_text().endswith(budget) and every.to_dict()["budget"] == budget
    said = " ".join(wrap_signal(reader).to_text().split())
    rate = rate_words(wrap_signal(reader).found.rate)
    assert f"A series that has not changed is called so in error {rate}." in said


def test_everything_goes_into_json(reader):
    json.dumps(list_signals(reader, all_states=True).to_dict(), allow_nan=False)


def test_what_a_gauge_touched_since_its_last_good_check(reader):
    found = also(reader, "gauge", "BG-1", since="last-good-check")
    assert found.since.isoformat() == "2026-11-12"
    assert [p.serial for p in found.pieces][0] == "QH-1205"
    assert all(p.day >= found.since for p in found.pieces)


def test_what_a_tool_touched_with_what_has_left(reader):
    found = also(reader, "tool", "M-64")
    assert len(found.pieces) >= 11
    assert any(p.shipped for p in found.pieces) and not all(p.shipped for p in found.pieces)
    assert "left the shop" in found.to_text().splitlines()[0]


def test_a_die_is_followed_into_the_instruments(reader):
    found = also(reader, "tool", "D-24", since="2026-10-01")
    assert any(p.inside.startswith("QH-") for p in found.pieces)


def test_a_batch_of_parts(reader):
    assert len(also(reader, "batch", "LP-12").pieces) >= 14


def test_a_piece_is_touched_though_its_only_row_is_held(reader):
    """The plan's old spare micrometer stands on one planted card only, whose rows are all held."""
    found = also(reader, "gauge", "MIC-9")
    assert [(p.serial, p.held, p.shipped is None) for p in found.pieces] == [("QH-1153", True, False)]
    assert "1 of them stands only on held rows" in found.to_text()
    assert "(only on a held row)" in found.to_text()
    assert also(reader, "gauge", "MIC-9", since="2026-09-01").pieces == ()
    die = {p.serial: p.held for p in also(reader, "tool", "D-24").pieces}
    assert die["T-0329"] and not die["T-0330"]


@pytest.mark.parametrize(
    ("kind", "name", "since", "match"),
    [
        ("gauge", "XX-1", "", "No reading and no part"),
        ("tool", "M-64", "last-good-check", "is for gauges"),
        ("gauge", "BG-1", "soon", "no day"),
    ],
)
def test_what_cannot_be_asked(reader, kind, name, since, match):
    with pytest.raises(QcError, match=match):
        also(reader, kind, name, since=since)


def test_a_mend_is_not_named_from_a_piece_that_cannot_stand_in_the_series(demo_copy):
    """It was taken without a word and the mend never began: a month of figures off, and all was as it was."""
    workshop = open_workshop(demo_copy)
    signal = next(s for s in list_signals(workshop).signals if s.series == "draw/tube_od/tenor")
    (alto,) = workshop.store.readings(stage="draw", models=["alto"])["serial"].tail(1)
    with pytest.raises(QcError, match=f"{alto} is .*, tenor: no reading of it stands there"):
        say(workshop, signal.id, "closed", who=workshop.plan.workshop.lead, cause=workshop.plan.causes[0],
            action="polished", outcome="mended", first=alto)  # fmt: skip
    assert find_signal(workshop, signal.id).state == "open"
    workshop.store.close()
