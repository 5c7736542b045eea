"""Verdicts by day, signals and their life."""

from datetime import date

import pytest

from qc.store import signal_id

KEY = "slide/clearance/tenors"
MAY, JUNE, JULY = date(2026, 5, 14), date(2026, 6, 14), date(2026, 7, 14)


def verdict(series=KEY, pieces=10, signals=()):
    return {"key": series, "pieces": pieces, "behaviour": "steady", "signals": list(signals)}


def shift(kind="shift", raised="TB-0042", size=12.5):
    return {"kind": kind, "raised_serial": raised, "start_serial": "TB-0039", "size": size}


def test_the_newest_verdict_of_each_series_is_given(store):
    store.save_verdicts([verdict(pieces=1), verdict("s/c/b", 2)], as_of=MAY)
    store.save_verdicts([verdict(pieces=3)], as_of=JUNE)
    newest = [(v.series, v.as_of, v.plain["pieces"]) for v in store.verdicts()]
    assert newest == [("s/c/b", MAY, 2), (KEY, JUNE, 3)]
    assert [v.plain["pieces"] for v in store.verdicts(MAY)] == [2, 1]
    assert [v.plain["pieces"] for v in store.verdicts(series=["s/c/b"])] == [2]
    assert store.verdicts(date(2026, 1, 1)) == []


def test_judging_a_day_again_replaces_its_verdict(store):
    for pieces in (1, 2, 3):
        store.save_verdicts([verdict(pieces=pieces)], as_of=MAY)
    assert [v.plain["pieces"] for v in store.verdicts()] == [3]


def test_a_verdict_that_did_not_change_takes_no_room(store):
    for day in (MAY, JUNE, JULY):
        store.save_verdicts([verdict()], as_of=day)
    from sqlalchemy import func, select

    from qc.store.tables import verdict as table

    with store._database.reading() as conn:
        assert conn.execute(select(func.count()).select_from(table)).scalar_one() == 1
    (kept,) = store.verdicts()
    assert store.verdicts(JUNE) == [kept]
    assert (kept.series, kept.as_of, kept.plain) == (KEY, MAY, verdict())


def test_an_older_day_judged_later_leaves_the_newest_alone(store):
    store.save_verdicts([verdict(pieces=9, signals=[shift(size=20)])], as_of=JUNE)
    store.save_verdicts([verdict(pieces=5, signals=[shift(size=10)])], as_of=MAY)
    assert store.verdicts()[0].plain["pieces"] == 9
    (signal,) = store.signals()
    assert (signal.plain["size"], signal.first_as_of, signal.last_as_of) == (20, MAY, JUNE)


def test_a_signal_stays_itself_while_it_is_judged_again(store):
    store.save_verdicts([verdict(signals=[shift("single", size=30.0)])], as_of=MAY)
    store.save_verdicts([verdict(signals=[shift("shift", size=14.0)])], as_of=JUNE)
    (signal,) = store.signals()
    assert signal.id == signal_id(KEY, "shift", "TB-0042")
    assert (signal.plain["kind"], signal.plain["size"], signal.state) == ("shift", 14.0, "open")


def test_level_and_spread_and_other_pieces_are_signals_of_their_own(store):
    found = [shift(), shift("spread"), shift(raised="TB-0099")]
    store.save_verdicts([verdict(signals=found), verdict("s/c/b", signals=[shift()])], as_of=MAY)
    assert len({signal.id for signal in store.signals()}) == 4
    assert len(store.signals(series="s/c/b")) == 1


def test_the_pulse_moves_with_every_change_and_only_then(store, make):
    beats = [store.pulse()]
    for change in (
        lambda: store.save_verdicts([verdict()], as_of=MAY),
        lambda: store.add_sheets([make.sheet(readings=make.readings(1))], who="AB", when=make.when),
        lambda: store.save_verdicts([], as_of=MAY, afresh=True),
        lambda: store.record_plan("a: 1", who="QL", when=make.when),
    ):
        change()
        beats.append(store.pulse())
    assert len(set(beats)) == 5
    store.record_plan("a: 1", who="QL", when=make.when)
    store.add_sheets([make.sheet(readings=make.readings(1))], who="AB", when=make.when)
    assert store.pulse() == beats[-1]


def test_a_verdict_names_its_pieces(store):
    quiet = {**verdict(), "points": [{"serial": "TB-1"}, {"serial": "TB-2"}]}
    store.save_verdicts([quiet, {**quiet, "key": "s/c/b", "signals": [shift()]}], as_of=MAY)
    loud, still = store.verdicts()
    assert (len(loud.plain["signals"]), still.plain["signals"]) == (1, [])
    assert loud.serials == still.serials == ["TB-1", "TB-2"]


def test_small_values_are_kept_along_with_verdicts_or_not_at_all(store):
    store.save_verdicts([verdict()], as_of=MAY, states={"mark": [1, 2], "pace": 0.5})
    assert store.states(["mark", "pace", "never"]) == {"mark": [1, 2], "pace": 0.5}
    with pytest.raises(ValueError, match="not JSON compliant"):
        store.save_verdicts([verdict("s/c/b")], as_of=JUNE, states={"mark": float("nan")}, afresh=True)
    assert store.state("mark") == [1, 2]
    assert [v.series for v in store.verdicts()] == [KEY]


def test_small_values_are_kept_by_name(store):
    assert store.state("rate") is None
    assert store.state("rate", 0.5) == 0.5
    for value in ({"2026-05": [1, 2.5, "x"]}, None, 7):
        store.set_state("rate", value)
        assert store.state("rate", "default") == value
    with pytest.raises(ValueError, match="Out of range"):
        store.set_state("rate", float("nan"))
    assert store.state("rate") == 7
