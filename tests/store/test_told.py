"""What was told stays as it was told, with what it rested on; whoever alters what is shown is found out."""

import json
import sqlite3
import zlib
from datetime import date, timedelta

import pytest

from qc.store import Grounds, open_store

KEY, OTHER = "slide/clearance/tenors", "slide/force/all"
MAY, JUNE, JULY = date(2026, 5, 14), date(2026, 6, 14), date(2026, 7, 14)


def verdict(series=KEY, pieces=10, signals=()):
    points = [{"serial": f"TB-{n}", "value": 0.01 * n} for n in range(pieces)]
    own = {"key": series, "pieces": pieces, "natural_upper": 0.2, "sd_between": 0.013, "points": points}
    return {**own, "signals": list(signals)}


def shift(raised="TB-0042", size=12.5):
    return {"kind": "shift", "raised_serial": raised, "size": size, "sentence": "is wider since TB-0039"}


def asked(store, statement):
    """Ask the database of a store itself."""
    conn = sqlite3.connect(store.folder / "qc.db")
    rows = conn.execute(statement).fetchall()
    conn.commit()
    conn.close()
    return rows


@pytest.fixture
def shop(tmp_path):
    with open_store(tmp_path / "shop") as opened:
        yield opened


def test_what_was_told_is_kept_with_what_it_rested_on(store, make):
    store.add_sheets([make.sheet(readings=make.readings(6), events=make.events(2))], who="AB", when=make.when)
    version = store.record_plan("a: 1", who="QL", when=make.when)
    later = make.when + timedelta(hours=1)
    store.save_verdicts([verdict(signals=[shift()])], as_of=MAY, told=Grounds(later, "statistics 1"))
    (told,) = store.told()
    assert (told.series, told.day, told.when, told.program, told.plan) == (
        KEY,
        MAY,
        later,
        "statistics 1",
        version,
    )
    assert (told.readings, told.events, told.upto) == (1, 2, 2)
    entry = store.entries()[-1]
    assert (told.entry, entry.kind, entry.when) == (entry.id, "verdict", later)
    assert "points" not in told.plain
    assert told.plain["sd_between"] == 0.013
    assert told.plain["signals"][0]["sentence"] == "is wider since TB-0039"
    assert store.verify() == []


def test_a_mark_that_is_handed_over_says_what_was_looked_at(store, make):
    """Another writer may have brought rows between looking and saving."""
    store.add_sheets([make.sheet(readings=make.readings(6))], who="AB", when=make.when)
    seen = {"readings": 0, "events": 0, "entry": 0, "plan": None}
    store.save_verdicts([verdict()], as_of=MAY, told=Grounds(make.when, "x", seen))
    (told,) = store.told()
    assert (told.readings, told.events, told.upto) == (0, 0, 0)


def test_each_moment_has_its_own_answer(store, make):
    for days, pieces in enumerate((1, 2, 3)):
        when = make.when + timedelta(days=days)
        store.save_verdicts([verdict(pieces=pieces), verdict(OTHER)], as_of=MAY, told=Grounds(when, "x"))
    assert [t.plain["pieces"] for t in store.told([KEY])] == [3]
    assert [t.plain["pieces"] for t in store.told([KEY], until=make.when + timedelta(days=1))] == [2]
    assert [t.series for t in store.told(until=make.when)] == [KEY, OTHER]
    assert store.told(until=make.when - timedelta(seconds=1)) == []


def test_what_says_the_same_is_told_once(shop, make):
    for _ in range(3):
        shop.save_verdicts([verdict()], as_of=MAY, told=Grounds(make.when, "x"))
    assert len(shop.entries()) == 1
    shop.save_verdicts([verdict()], as_of=JUNE, told=Grounds(make.when, "x"))
    assert asked(shop, "SELECT id, day, as_in, body IS NULL FROM told") == [
        (1, "2026-05-14", None, 0),
        (2, "2026-06-14", 1, 1),
    ]
    (told,) = shop.told()
    assert (told.day, told.plain["pieces"]) == (JUNE, 10)


def test_another_program_or_plan_tells_again(shop, make):
    shop.save_verdicts([verdict()], as_of=MAY, told=Grounds(make.when, "x"))
    shop.save_verdicts([verdict()], as_of=MAY, told=Grounds(make.when, "y"))
    version = shop.record_plan("a: 1", who="QL", when=make.when)
    shop.save_verdicts([verdict()], as_of=MAY, told=Grounds(make.when, "y"))
    assert [e.kind for e in shop.entries()] == ["verdict", "verdict", "plan", "verdict"]
    (told,) = shop.told()
    assert (told.plan, told.program) == (version, "y")
    assert shop.verify() == []


def test_judging_from_nothing_adds_and_never_drops(shop, make):
    for day, pieces in ((MAY, 5), (JUNE, 6)):
        shop.save_verdicts([verdict(pieces=pieces)], as_of=day)
    shop.save_verdicts([verdict(pieces=6)], as_of=JUNE, afresh=True)
    assert [v.plain["pieces"] for v in shop.verdicts()] == [6]
    assert asked(shop, "SELECT count(*) FROM told") == [(3,)]
    assert [e.note for e in shop.entries()] == ["judged", "judged", "afresh"]
    assert shop.verify() == []


def test_a_mark_that_moves_alone_is_an_entry_too(shop):
    shop.save_verdicts([], as_of=MAY, states={"judged up to": [1, 0]})
    shop.save_verdicts([], as_of=MAY, states={"judged up to": [1, 0]})
    shop.save_verdicts([verdict()], as_of=MAY)
    assert len(shop.entries()) == 2
    assert shop.verify() == []


def test_whatever_order_days_are_judged_in_all_is_as_told(shop):
    """An older day judged later, a day judged again, a signal that comes and goes: no false complaint."""
    steps = [
        (MAY, [verdict(pieces=5, signals=[shift(size=10)])]),
        (JULY, [verdict(pieces=5, signals=[shift(size=10)])]),
        (JUNE, [verdict(pieces=7, signals=[shift(size=11)]), verdict(OTHER)]),
        (JULY, [verdict(pieces=7, signals=[])]),
        (MAY, [verdict(pieces=4, signals=[shift("TB-1"), shift(size=9)])]),
        (JULY, [verdict(pieces=8, signals=[shift(size=13)]), verdict(OTHER, signals=[shift()])]),
    ]
    for number, (day, found) in enumerate(steps):
        states = {f"course {body['key']}": {"n": number} for body in found}
        shop.save_verdicts(found, as_of=day, states={**states, "judged up to": [number, 0]})
        assert shop.verify() == []
    shop.save_verdicts([verdict(pieces=8)], as_of=JULY, afresh=True, states={f"course {KEY}": 1})
    assert shop.verify() == []


ALTERED = [
    ("UPDATE verdict SET body = ?", "The verdict on slide/clearance/tenors of 2026-05-14 is not the one"),
    ("DELETE FROM verdict", "The verdict on slide/clearance/tenors of 2026-05-14 was told and is gone"),
    ("UPDATE verdict SET as_of = '2026-05-15'", "of 2026-05-15 was never told"),
    ("UPDATE verdict SET body = x'00'", "The verdict on slide/clearance/tenors of 2026-05-14 is not the one"),
    ("UPDATE signal SET body = '{}'", "of slide/clearance/tenors is not the one that was told"),
    ("UPDATE signal SET body = 'no json'", "of slide/clearance/tenors is not the one that was told"),
    ("UPDATE signal SET first_as_of = '2026-05-01'", "is not the one that was told"),
    ("UPDATE signal SET last_as_of = '2026-06-01'", "is not the one that was told"),
    ("UPDATE signal SET kind = 'spread'", "is not the one that was told"),
    ("UPDATE signal SET id = 'abc'", "The signal abc was never told"),
    ("UPDATE signal SET number = 7", "The numbers that signals are called by"),
    ("UPDATE signal SET number = NULL", "The numbers that signals are called by"),
    ("DELETE FROM signal", "of slide/clearance/tenors was told and is gone"),
    ("UPDATE state SET value = '[9, 9]' WHERE key = 'judged up to'", "The mark up to which everything"),
    ("DELETE FROM state WHERE key = 'judged up to'", "The mark up to which everything"),
    ("UPDATE state SET value = '{}' WHERE key LIKE 'course%'", "How far slide/clearance/tenors was judged"),
    ("DELETE FROM state WHERE key LIKE 'course%'", "How far slide/clearance/tenors was judged"),
    ("UPDATE state SET value = '{' WHERE key LIKE 'course%'", "A kept state cannot be read"),
]


@pytest.mark.parametrize(("statement", "said"), ALTERED, ids=[a[0][:45] for a in ALTERED])
def test_what_is_shown_and_was_altered_is_found_out(shop, statement, said):
    states = {f"course {KEY}": {"n": 3}, "judged up to": [3, 1]}
    shop.save_verdicts([verdict(signals=[shift()])], as_of=MAY, states=states)
    assert shop.verify() == []
    forged = zlib.compress(json.dumps(verdict(pieces=10)).encode())
    conn = sqlite3.connect(shop.folder / "qc.db")
    conn.execute(statement, (forged,) if "?" in statement else ())
    conn.commit()
    conn.close()
    found = shop.verify()
    assert any(said in sentence for sentence in found), found
    assert all("`qc re" in sentence for sentence in found)  # what to do


def test_an_altered_mark_does_not_become_the_accepted_one(shop):
    shop.save_verdicts([verdict()], as_of=MAY, states={"judged up to": [3, 1]})
    shop.set_state("judged up to", [9, 9])
    shop.save_verdicts([verdict(pieces=11)], as_of=MAY)
    assert [s[:38] for s in shop.verify()] == ["The mark up to which everything is jud"]
    shop.save_verdicts([], as_of=MAY, states={"judged up to": [4, 1]})
    assert shop.verify() == []


def test_told_rows_are_never_changed_or_deleted(shop):
    shop.save_verdicts([verdict()], as_of=MAY)
    conn = sqlite3.connect(shop.folder / "qc.db")
    for table in ("told", "judgement"):
        for statement in (f"UPDATE {table} SET id = id", f"DELETE FROM {table}"):
            with pytest.raises(sqlite3.IntegrityError, match="never changed or deleted"):
                conn.execute(statement)
    conn.close()
