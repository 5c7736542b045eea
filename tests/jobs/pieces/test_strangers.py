"""No piece outside a limit at any place is missing from the list, in workshops that strangers made."""

from math import inf

import polars as pl

from qc.jobs.pieces import hold_list
from qc.plan import EVENT, PLACE
from qc.store import NewSheet, sheet_hash


def outside(workshop):
    """Go over every reading one by one, as somebody with the plan and the cards in hand would."""
    now = {}
    for row in workshop.store.readings(until=workshop.today).iter_rows(named=True):
        figure = workshop.plan.characteristic(row["stage"], row["characteristic"])
        if row["serial"] and figure is not None and figure.kind == "measured":
            key = (row["serial"], row["stage"], figure.id, *(row[part] for part in PLACE))
            now.setdefault(key, {}).setdefault(row["day"], []).append((row["value"], row["model"] or ""))
    for (serial, stage, name, *_), days in now.items():
        figure = workshop.plan.characteristic(stage, name)
        newest = days[max(days)]
        value = sum(one for one, _ in newest) / len(newest)
        limits = workshop.plan.limits(figure, newest[0][1], max(days))
        below = limits.lower is not None and value < limits.lower - 1e-9 * abs(limits.lower)
        if below or (limits.upper is not None and value > limits.upper + 1e-9 * abs(limits.upper)):
            yield serial, stage, name


def waiting(workshop):
    """Go over the rows set aside, too: those of figures with limits that nobody read anew since."""
    read = {}
    for row in workshop.store.readings(until=workshop.today).iter_rows(named=True):
        key = (row["serial"], row["stage"], row["characteristic"], *(row[part] for part in PLACE))
        read.setdefault(key, []).append((row["day"].isoformat(), row["value"]))
    for held in workshop.store.held():
        row = held.as_typed()
        figure = workshop.plan.characteristic(row.get("stage") or "", row.get("characteristic") or "")
        if held.table != "reading" or figure is None or not row.get("serial") or figure.kind != "measured":
            continue
        key = (row["serial"], row["stage"], figure.id, *(row.get(part) for part in PLACE))
        dated = not {"no-date", "future-date", "old-date", "wrong-day", "day-month-date"} & {
            reason.id for reason in held.reasons
        }
        day = row["day"] if dated else held.entered.date().isoformat()
        there = read.get(key, [])
        if any(newer > day for newer, _ in there) or (day, row["value"]) in there:
            continue
        model = row.get("model") or ""
        limits = workshop.plan.limits(figure, model, min(held.day, held.entered.date()))
        if limits.lower is None and limits.upper is None:
            continue
        value = row["value"]
        low = limits.lower if limits.lower is not None else -inf
        high = limits.upper if limits.upper is not None else inf
        if value is None or not low - 1e-9 * abs(low) <= value <= high + 1e-9 * abs(high):
            yield row["serial"], row["stage"], figure.id


def test_no_piece_outside_at_any_place_is_missing(stranger):
    found = hold_list(stranger, judge=False)
    listed = {(row.serial, row.stage, row.characteristic) for row in found.rows if row.why == "limit"}
    wrong = set(outside(stranger)) | set(waiting(stranger))
    assert wrong - listed == set()
    # and of the figures that are read, none is there without being outside
    derived = {(s.id, c.id) for s in stranger.plan.stages for c in s.characteristics if c.derive}
    assert {key for key in listed if key[1:] not in derived} == wrong

    serials = {*stranger.store.pieces()["serial"], *stranger.store.events("part")["subject"]}
    serials |= {held.as_typed().get("serial") for held in stranger.store.held()}
    assert {row.serial for row in found.rows} <= serials
    assert all(row.name and row.because and row.next_step and row.whereabouts.words for row in found.rows)


def let_out(workshop, serials):
    """Ship pieces on the workshop's day, whatever holds them."""
    out = {"kind": "shipped", "day": workshop.today, "entered_at": workshop.now}
    rows = [{name: {**out, "serial": one}.get(name) for name in EVENT} for one in serials]
    events = pl.DataFrame(rows, schema=workshop.store.events().drop("id").schema)
    data, none = b"let out", pl.DataFrame()
    sheet = NewSheet("list.csv", sheet_hash(data), data, "shipping", none, events, none)
    workshop.store.add_sheets([sheet], who=workshop.plan.people[0].code, when=workshop.now)


def test_nothing_that_has_left_is_to_be_measured_or_kept_back(stranger):
    here = hold_list(stranger, judge=False).waiting
    let_out(stranger, sorted({row.serial for row in here})[::2])
    rows = [row for row in hold_list(stranger, judge=False).rows if row.waits]
    out = {row.next_step for row in rows if not row.in_house}
    assert out and not any("easure it" in said or "Keep it back" in said for said in out)
    here = {row.next_step for row in rows if row.in_house}
    assert any("easure it" in said or "Keep it back" in said for said in here)
