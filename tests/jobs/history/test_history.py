"""A history from files of one's own: the same readings as from sheets, part by part, never twice."""

import json
import signal
import subprocess
import sys
from datetime import date, timedelta

import polars as pl
import pytest

from qc.errors import QcError, UsageError
from qc.ingest import SheetError
from qc.jobs.errors import JobError
from qc.jobs.export import ExportFormat, export_tables
from qc.jobs.history import bring_in, parts
from qc.jobs.judging import load_verdicts
from qc.jobs.then import known
from qc.jobs.upload import upload
from qc.jobs.workshop import open_workshop
from qc.plan import READING

PLAN = """
workshop: {name: Long Trial Works, serial_prefix: LT-, time_zone: UTC, today: 2026-11-24}
models: [{id: tenor, name: Tenor, family: tenor, pedal_midi: 34, length_mm: 2931.6}]
people: [{code: AB}, {code: CD}]
gauges: [{id: MIC-1, name: Micrometer, gauge_class: micrometer, resolution: 0.001, unit: mm}]
cards:
  - {id: bell-card, title: Bell card, source: bench, stage: bell, characteristics: [wall]}
  - {id: joint-card, title: Joint card, source: bench, stage: joints, characteristics: [leak, fault]}
stages:
  - id: bell
    name: Bell
    characteristics:
      - {id: wall, name: Bell wall, unit: mm, places: {station: ["1", "2"]}, gauge_class: micrometer,
         pool: all, resolution: 0.001, sensible: [0.2, 1.0], limits: [{target: 0.5, lower: 0.4, upper: 0.6}]}
  - id: joints
    name: Joints
    characteristics:
      - {id: leak, name: Joint leak, unit: cm3/min, pool: all, sensible: [0, 20], limits: [{upper: 4}]}
      - {id: fault, name: Joint fault, unit: fault, kind: pass-fail}
"""
HEADS = ("Serial", "Model", "Date", "Stage", "Characteristic", "Station", "Value", "Person", "Gauge", "Batch")
MEANT = [name for name in READING if name not in {"entered_at", "sheet", "row", "column", "tab"}]


def a_row(piece, day, stage, figure, station, value):
    gauge = "MIC-1" if stage == "bell" else ""
    person = "AB" if piece % 2 else "CD"
    return f"LT-{piece:04d}", "tenor", day, stage, figure, station, value, person, gauge, f"B{piece // 10}"


def a_history(pieces=20, first=date(2026, 3, 2)):
    """Three readings a piece, two pieces a day."""
    rows = []
    for piece in range(1, pieces + 1):
        day = (first + timedelta(days=piece // 2)).isoformat()
        for station in "12":
            rows.append(a_row(piece, day, "bell", "wall", station, f"{0.5 + piece % 7 / 100 + 0.001:.3f}"))
        rows.append(a_row(piece, day, "joints", "Joint leak", "", f"{1 + piece % 5 / 10:.1f}"))
    return rows


def as_csv(rows, heads=HEADS):
    return "\r\n".join(";".join(cells) for cells in (heads, *rows)) + "\r\n"


@pytest.fixture
def a_shop(tmp_path):
    """Make empty workshops of the same plan."""
    opened = []

    def make(name="shop", plan=PLAN):
        folder = tmp_path / name
        folder.mkdir(exist_ok=True)
        (folder / "plan.yaml").write_text(plan, "utf-8")
        opened.append(open_workshop(folder))
        return opened[-1]

    yield make
    for workshop in opened:
        workshop.store.close()


@pytest.fixture
def write(tmp_path):
    """Write a history as csv."""

    def written(rows, name="history.csv", heads=HEADS, encoding="utf-8"):
        file = tmp_path / name
        file.write_bytes(as_csv(rows, heads).encode(encoding))
        return file

    return written


def content(workshop, columns=tuple(MEANT)):
    """What is on record, whatever sheet it came from."""
    frame = workshop.store.readings().select(columns)
    return frame.sort("serial", "characteristic", "station", "value").to_dicts()


def test_the_readings_are_those_of_the_same_table_as_a_sheet(a_shop, write):
    rows = [*a_history(), a_row(21, "2026-03-20", "bell", "wall", "1", "5.1")]
    by_sheet, by_history = a_shop("sheet"), a_shop("history")
    (sheet,) = upload(by_sheet, [("history.csv", as_csv(rows).encode())], who="AB").sheets
    found = bring_in(by_history, [write(rows)], who="AB")
    assert (found.rows, found.accepted, found.held) == (61, sheet.count.accepted, sheet.count.held)
    assert found.reasons == sheet.count.reasons == {"decimal-slip": 1}
    assert content(by_history) == content(by_sheet)
    kept = [workshop.store.held()[0] for workshop in (by_sheet, by_history)]
    assert kept[0].text == kept[1].text == "5.1" and "line 62, Value" in kept[1].cell


def test_parquet_and_old_windows_text_give_what_csv_gives(a_shop, write, tmp_path):
    rows = [*a_history(), a_row(20, "2026-03-12", "joints", "fault", "", "1")]
    table = pl.DataFrame(rows, schema=[name.lower() for name in HEADS], orient="row")
    table = table.with_columns(pl.col("date").str.to_date(), pl.col("value").cast(pl.Float64))
    table = table.with_columns(reading=pl.int_range(pl.len()))  # as an export numbers them
    folder = tmp_path / "archive" / "early"
    folder.mkdir(parents=True)
    table[:30].write_parquet(folder / "a.parquet")
    table[30:].write_parquet(folder.parent / "late.parquet")
    by_csv, by_parquet, by_text = a_shop("csv"), a_shop("parquet"), a_shop("text")
    bring_in(by_csv, [write(rows)])
    found = bring_in(by_parquet, [tmp_path / "archive"])
    assert (found.files, found.accepted, found.beside) == (2, 61, ("reading",))
    names = [name for name in MEANT if name != "text"]  # 0.510 is 0.51 where a figure is kept as a number
    assert content(by_parquet, names) == content(by_csv, names)
    noted = [(*cells, "Größe") for cells in rows]
    bring_in(by_text, [write(noted, "old.csv", (*HEADS, "Note"), "cp1252")])
    assert set(by_text.store.readings()["note"]) == {"Größe"}


def test_what_was_interrupted_goes_on_and_stores_nothing_twice(a_shop, write, monkeypatch):
    monkeypatch.setattr(parts, "PART_ROWS", 12)
    whole, broken, file = a_shop("whole"), a_shop("broken"), write(a_history())
    bring_in(whole, [file])

    def stop(done, total, what):
        if done >= 24:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        bring_in(broken, [file], progress=stop)
    assert broken.store.readings().height == 24
    told = []
    found = bring_in(broken, [file], progress=lambda *step: told.append(step))
    assert (found.parts, found.passed, found.accepted) == (3, 2, 36)
    assert [done for done, _, _ in told] == [12, 24, 36, 48, 60] and told[0][1:] == (60, "Taking in row")
    assert content(broken) == content(whole)
    assert [v.to_dict() for v in load_verdicts(broken)] == [v.to_dict() for v in load_verdicts(whole)]
    third = bring_in(broken, [file])
    assert (third.parts, third.passed, third.rows) == (0, 5, 0) and "on record" in third.to_text()
    assert broken.store.verify() == []


KILLED = """
import os, signal, sys
from qc.cli.main import main
from qc.jobs.history import bringing_in, parts
parts.PART_ROWS = 12
taken, take_in = [], bringing_in._take_in
def third_is_cut_off(workshop, part, *rest):
    if len(taken) == 2:
        add = workshop.store.add_sheets
        def add_sheets(*args, **more):
            with workshop.store.writing():
                add(*args, **more)
                os.kill(os.getpid(), signal.SIGKILL)
        workshop.store.add_sheets = add_sheets
    taken.append(part)
    return take_in(workshop, part, *rest)
bringing_in._take_in = third_is_cut_off
main(sys.argv[1:])
"""
"""Killed inside the transaction of the third part."""


@pytest.mark.slow
def test_a_kill_costs_the_part_in_hand_and_no_more(a_shop, write, monkeypatch):
    monkeypatch.setattr(parts, "PART_ROWS", 12)
    whole, killed, file = a_shop("whole"), a_shop("killed"), write(a_history())
    words = ["import", str(file), "--workshop", str(killed.folder)]
    done = subprocess.run([sys.executable, "-c", KILLED, *words], capture_output=True, check=False)
    assert done.returncode == -signal.SIGKILL, done.stderr
    assert killed.store.readings().height == 24
    found = bring_in(killed, [file])
    assert (found.passed, found.parts, found.accepted) == (2, 3, 36)
    bring_in(whole, [file])
    assert content(killed) == content(whole) and killed.store.verify() == []


def test_parts_are_checked_again_where_the_plan_was_wrong(a_shop, write):
    narrow = PLAN.replace("sensible: [0.2, 1.0]", "sensible: [0.2, 0.53]").replace(
        "upper: 0.6", "upper: 0.53"
    )
    file = write(a_history())
    found = bring_in(a_shop(plan=narrow), [file])
    assert found.held and found.reasons == {"outside-sensible": found.held}
    again = bring_in(a_shop(), [file], again=True)
    assert (again.accepted, again.held) == (found.held, 0)
    assert a_shop().store.held() == []


def test_what_cannot_be_meant_is_refused_before_anything_is_stored(a_shop, write, monkeypatch):
    monkeypatch.setattr(parts, "PART_ROWS", 12)
    workshop = a_shop()
    strange = [*a_history(), a_row(21, "2026-03-20", "bell", "rim", "1", "0.5")]
    with pytest.raises(JobError, match="no figures on a card of the plan: rim of stage bell"):
        bring_in(workshop, [write(strange)])
    two_ways = [*a_history(), a_row(21, "10/11/2026", "bell", "wall", "1", "0.5")]
    with pytest.raises(SheetError, match="10/11/2026 leaves open"):
        bring_in(workshop, [write(two_ways)])
    with pytest.raises(SheetError, match="needs the heading Value"):
        bring_in(workshop, [write(a_history(), heads=[*HEADS[:6], "Weight", *HEADS[7:]])])
    with pytest.raises(SheetError, match="Person and By mean the same"):
        bring_in(workshop, [write(a_history(), heads=[*HEADS[:9], "By"])])
    with pytest.raises(SheetError, match="Battch is nearly batch"):
        bring_in(workshop, [write(a_history(), heads=[*HEADS[:9], "Battch"])])
    with pytest.raises(UsageError, match="no such file"):
        bring_in(workshop, [workshop.folder / "none.csv"])
    with pytest.raises(UsageError, match="day-first"):
        bring_in(workshop, [write(two_ways)], dates="sideways")
    assert workshop.store.sheets() == []
    found = bring_in(workshop, [write(two_ways)], dates="month-first")
    assert found.accepted == 61
    assert workshop.store.readings(serials=["LT-0021"])["day"].to_list() == [date(2026, 10, 11)]


def test_columns_that_say_nothing_here_are_named(a_shop, write):
    rows = [(*cells, "wet") for cells in a_history(2)]
    found = bring_in(a_shop(), [write(rows, heads=(*HEADS, "Weather"))])
    assert found.beside == ("Weather",) and "not read: Weather" in found.to_text()
    json.dumps(found.to_dict(), allow_nan=False)


def test_a_line_that_is_none_stops_with_what_is_stored(a_shop, tmp_path):
    file = tmp_path / "broken.csv"
    file.write_text(as_csv(a_history(2)) + '"LT-0003;tenor\r\n', "utf-8")
    with pytest.raises(SheetError, match="line 8"):
        bring_in(a_shop(), [file])


def test_nothing_of_it_was_known_on_its_days(a_shop, write):
    workshop = a_shop()
    bring_in(workshop, [write(a_history())], who="AB")
    then = known(workshop, date(2026, 3, 10))
    assert then.store.readings().height == 0
    assert any("was known here then" in note or "nothing" in note.casefold() for note in then.then.notes)


@pytest.mark.parametrize("form", ["csv", "parquet"])
def test_an_export_comes_back_with_the_times_that_were_typed(a_shop, write, tmp_path, form):
    """Across the night on which clocks are set back, east of Greenwich, some rows without a time."""
    plan = PLAN.replace("time_zone: UTC", "time_zone: Europe/Helsinki")
    first, again = a_shop("first", plan), a_shop(f"again {form}", plan)
    times = ("00:40", "", "23:55", "07:05", "14:30", "")
    rows = [(*cells, times[at % 6]) for at, cells in enumerate(a_history(20, date(2025, 10, 20)))]
    upload(first, [("history.csv", as_csv(rows, (*HEADS, "Time")).encode())], who="AB")
    export_tables(first, tmp_path / "out", ExportFormat(form))
    found = bring_in(again, [tmp_path / "out" / f"readings.{form}"], who="AB")
    assert (found.accepted, found.held) == (60, 0)
    assert "measured_at" not in found.beside and "has_time" not in found.beside
    names = [name for name in MEANT if name != "text"]
    assert content(again, names) == content(first, names)
    assert again.store.readings()["has_time"].sum() == 40


def test_a_moment_on_another_day_than_the_row_says_is_held_and_both_are_shown(a_shop, write):
    heads = (*HEADS, "measured_at", "has_time")
    rows = [(*cells, f"{cells[2]}T09:30:00.000000Z", "true") for cells in a_history(4)]
    rows[2] = (*rows[2][:-2], "2026-03-09T09:30:00.000000Z", "true")
    found = bring_in(a_shop(), [write(rows, heads=heads)], who="AB")
    assert (found.accepted, found.held) == (11, 1)
    kept = a_shop().store.held()[0]
    assert "2026-03-02, but measured_at 2026-03-09T09:30:00.000000Z" in str(kept)


def test_a_column_of_that_name_alone_is_the_day_as_ever(a_shop, write):
    heads = tuple("measured_at" if name == "Date" else name for name in HEADS)
    found = bring_in(a_shop(), [write(a_history(4), heads=heads)], who="AB")
    assert (found.accepted, found.held, found.beside) == (12, 0, ())


@pytest.mark.parametrize(
    ("name", "bad"),
    [
        ("m.parquet", b"PAR1 cut off before its foot"),
        ("m.csv", b'Date;Serial\r\n"LT-0003;tenor\r\n'),
        ("m.csv", b"\x00\xff\x00\xfe" * 50),
        ("m.csv", b""),
    ],
    ids=["damaged parquet", "an open quotation mark", "no text", "empty"],
)
def test_between_two_good_files_a_bad_one_is_named_and_costs_nothing_else(a_shop, write, tmp_path, name, bad):
    """A history is looked through whole before anything of it is stored; without the bad file it comes in."""
    rows = a_history()
    good = [write(rows[:30], "a.csv"), write(rows[30:], "z.csv")]
    (tmp_path / name).write_bytes(bad)
    workshop = a_shop()
    with pytest.raises(QcError, match=name.replace(".", r"\.")):
        bring_in(workshop, [good[0], tmp_path / name, good[1]])
    assert workshop.store.sheets() == [] and workshop.store.entries()[-1].kind == "plan"
    found = bring_in(workshop, good)
    assert (found.files, found.rows) == (2, len(rows))
    assert (tmp_path / name).read_bytes() == bad
