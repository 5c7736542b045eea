"""What is said of a piece that a signal holds and that its "since ..." seems not to be about."""

from dataclasses import replace
from pathlib import Path

from qc.jobs.judging import verdicts_of_day
from qc.jobs.pieces import hold_list, since_words
from qc.jobs.pieces.under_signals import by_signals, signals_that_hold
from qc.jobs.whole_piece import piece_record

RISES = Path(__file__).parents[2] / "golden" / "tables" / "force_rises.csv"


def held_by(shop, series):
    """Return a waiting signal of the sample and its verdict."""
    waiting, _, _ = signals_that_hold(shop, verdicts_of_day(shop))
    return next(one for one in waiting if one[0].series == series)


def kept_from(one, first, last, **changed):
    """Return a signal that was told of another stretch before."""
    signal, verdict = one
    return replace(signal, found=replace(signal.found, kept=(first, last), **changed)), verdict


def test_an_earlier_serial_that_was_measured_later_is_told_so(demo_copy, command, shop):
    assert command("upload", RISES, "--who", "FN", "--workshop", demo_copy).exit_code == 0
    rows = {r.serial: r for r in hold_list(shop).rows if r.characteristic == "force" and r.why == "signal"}
    plain = rows["QH-1222"].because
    assert plain.endswith("since QH-1221 (10 Nov).")  # a later serial, measured later: nothing to explain
    for serial in ("QH-1204", "QH-1205"):
        assert rows[serial].because == (
            f"{plain} It goes by the day of measuring, not by the serial: earlier serials that were measured"
            " on 10 Nov or later are among them."
        )
    assert "QH-1203" not in rows  # which was measured before
    [told] = [one for one in piece_record(shop, "QH-1204").signals if one.series == "slide/force/all"]
    assert rows["QH-1204"].because.endswith(told.sentence)


def test_what_was_held_before_the_beginning_moved_is_told_since_when_it_was(shop):
    one = held_by(shop, "tuning/wrap_f/all")
    before = one[1].points[one[0].found.start - 2]
    signal, verdict = kept_from(one, before.serial, "QH-1210")
    rows = {row.serial: row for row in by_signals(shop, [(signal, verdict)], None, {})}
    assert rows["QH-1200"].because.endswith("since QH-1191 (28 Oct).")
    since = f"{before.serial} ({before.day.day} {before.day:%b})"
    assert rows[before.serial].because == (
        f"{rows['QH-1200'].because} It was told of the pieces since {since} before; those"
        " made before QH-1191 it holds by that until it is answered."
    )


def test_what_was_held_before_the_end_was_known_is_told_so(shop):
    one = held_by(shop, "tuning/wrap_f/all")
    signal, verdict = kept_from(one, "QH-1191", "QH-1210", over_since="QH-1208", ended=10**6)
    words = since_words(shop, signal, verdict)
    assert set(words) == {"QH-1208", "QH-1210"}
    assert words["QH-1210"].startswith(" What was made from QH-1208 on it holds until it is answered")


def test_pieces_beside_a_single_one_are_told_of_which_stretch_they_were(shop):
    one = held_by(shop, "tuning/wrap_f/all")
    signal, verdict = kept_from(one, "QH-1191", "QH-1200", kind="single")
    words = since_words(shop, signal, verdict)
    assert signal.found.raised_serial not in words and "QH-1191" in words
    assert words["QH-1191"].startswith(" It was told of the pieces QH-1191 (28 Oct) to QH-1200 (")
