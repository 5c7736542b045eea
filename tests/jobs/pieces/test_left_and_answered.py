"""What left while a signal held it stays on the list, whatever is answered, until dealt with by name."""

import random

import polars as pl
import pytest

from qc.jobs.errors import JobError
from qc.jobs.pieces import hold_list, release
from qc.jobs.signals import list_signals, say_of_signal, tick_off
from qc.plan import EVENT
from qc.sayings import CLOSED_STATES, Saying, What
from qc.store import NewSheet, sheet_hash

STEPS = 8
ANSWERS = ("mended", "stays", "false")


def told_of(rows):
    """Return serial, figure and reason of each row."""
    return {(r.serial, r.stage, r.characteristic, r.why) for r in rows}


def left_held(shop):
    """Return the rows whose piece left while it was to be held, and those of them whose signal was answered.

    An answer that leaves nothing to be done, no cause or a mend that the piece came after, stands beside it.
    """
    left = [r for r in hold_list(shop, judge=False).rows if r.left_held]
    listed = told_of(r for r in left if r.waits or r.next_step.startswith("Nothing is to be"))
    answered = [r for r in left if "closed on" in r.because or "mended on" in r.because]
    return listed, told_of(r for r in answered if r.waits)


def closing(answer, who, cause):
    if answer == "false":
        return Saying(What.CLOSED_FALSE, who, "looked at")
    return Saying(What.CLOSED, who, "looked at", cause=cause, action="looked after", outcome=answer)


def lead_of(shop):
    return shop.plan.people[0].code  # where nobody is on the list of people, every code of the plan may


@pytest.fixture
def gone(stranger):
    """Let out what open signals hold in the house: what leaves although a row holds it."""
    held = sorted(
        {r.serial for r in hold_list(stranger, judge=False).waiting if r.why in {"signal", "batch"}}
    )
    out = {"kind": "shipped", "day": stranger.today, "entered_at": stranger.now}
    rows = [{name: {**out, "serial": one}.get(name) for name in EVENT} for one in held[::2]]
    events = pl.DataFrame(rows, schema=stranger.store.events().drop("id").schema)
    data, none = b"let out", pl.DataFrame()
    sheet = NewSheet("list.csv", sheet_hash(data), data, "shipping", none, events, none)
    stranger.store.add_sheets([sheet], who=lead_of(stranger), when=stranger.now)
    return stranger


@pytest.mark.parametrize("seed", [6101])
def test_no_answer_takes_what_left_while_held_off_the_list(gone, seed):
    draw = random.Random(seed)
    lead, cause = lead_of(gone), gone.plan.causes[0]
    (before, _), dealt, told = left_held(gone), set(), []
    ever = before
    if not any(row[-1] == "signal" for row in before):
        pytest.skip("no signal of this workshop holds a piece in the house on its last day")
    for _ in range(STEPS):
        signal = draw.choice([s for s in list_signals(gone).signals if s.present or s.events])
        way = draw.choice((*ANSWERS, *ANSWERS, "release", "tick"))
        if way in ANSWERS and signal.state in CLOSED_STATES:
            way = "reopen"
        try:
            if way == "reopen":
                say_of_signal(gone, signal.id, Saying(What.REOPENED, lead, "once more"))
            elif way in ANSWERS:
                say_of_signal(gone, signal.id, closing(way, lead, cause))
            elif way == "release":
                serial = draw.choice(sorted(before))[0]
                release(gone, serial, who=lead, why="the player keeps it")
                dealt |= {row for row in before if row[0] == serial}
            else:
                serial = draw.choice(sorted(before))[0]
                tick_off(gone, signal.id, piece=serial, who=lead, text="asked")
                dealt |= {row for row in before if row[0] == serial and row[-1] == "signal"}
        except JobError as refused:
            way = f"{way}, refused: {refused}"
        told.append((way, signal.name))
        now, answered = left_held(gone)
        assert before - dealt <= now, (told, sorted(before - dealt - now))
        # an answer may let a finding be told anew that holds others; by itself it puts nothing on the list
        added = answered - ever
        assert not added, (told, sorted(added))
        ever = ever | now
