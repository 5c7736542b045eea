"""Everything known of one piece: the contract of the command, and what it must answer."""

import json
import re
import shutil
from dataclasses import replace
from datetime import date, timedelta
from functools import cache, partial
from statistics import fmean
from types import SimpleNamespace

import polars as pl
import pytest
from scipy.stats import fisher_exact

from qc.jobs.also import also
from qc.jobs.board import StoreBoardData
from qc.jobs.errors import JobError
from qc.jobs.pieces import hold_list
from qc.jobs.signals import say_of_signal
from qc.jobs.whole_piece import form_lines, piece_record
from qc.jobs.whole_piece.leaving import _worked
from qc.jobs.whole_piece.life import chance_of_returns, returns_of
from qc.jobs.whole_piece.saying import figure_line
from qc.jobs.whole_piece.serials import nearest_serials, unknown_piece
from qc.jobs.workshop import open_workshop
from qc.plan import EVENT
from qc.sayings import Saying, What
from qc.store import NewSheet, sheet_hash

CONTRACT = {"serial", "model", "where", "shipped", "known", "hold", "figures", "parts", "events", "signals"}
FIGURE = {
    "stage",
    "characteristic",
    "value",
    "unit",
    "worst",
    "lower",
    "upper",
    "inside",
    "behaviour",
    "gauge",
}


@pytest.fixture(scope="module")
def sample(demo_folder, tmp_path_factory):
    """Open a copy of the sample workshop of which the tests here only ask."""
    workshop = open_workshop(shutil.copytree(demo_folder, tmp_path_factory.mktemp("asked") / "demo"))
    yield workshop
    workshop.store.close()


@pytest.fixture(scope="module")
def told(sample):
    """Return a function that gives what is known of a piece, put together once for all who read it."""
    return cache(partial(piece_record, sample, judge=False))


@pytest.fixture(scope="module")
def listed(sample):
    """Return the list of pieces to hold."""
    return hold_list(sample, judge=False, keep=False)


def figure(record, name):
    return next(one for one in record.figures if one.characteristic == name)


def test_the_command_answers_by_the_contract(demo_copy, command):
    done = command("piece", "QH-1195", "--workshop", demo_copy, "--json")
    assert done.exit_code == 0, done.output
    found = json.loads(done.stdout)
    assert set(found) >= CONTRACT
    assert (found["serial"], found["model"], found["known"]) == ("QH-1195", "contrabass", None)
    for one in found["figures"]:
        assert set(one) >= FIGURE | {"gauge", "gauge_checked"}
        assert set(one["worst"]) == {"place", "value"}
    assert all(set(one) >= {"part", "serial", "batch", "tool"} for one in found["parts"])
    lacquer = next(one for one in found["figures"] if one["characteristic"] == "thickness")
    assert lacquer["worst"] == {"place": "slide, spot 2", "value": 9.1}
    assert (lacquer["inside"], lacquer["lower"], lacquer["upper"]) == (False, 10.0, None)
    assert {row["serial"] for row in found["hold"]} == {"QH-1195"}


def test_text_begins_with_the_judgement(demo_copy, command):
    done = command("piece", "QH-1195", "--workshop", demo_copy)
    first, second, *_ = done.stdout.splitlines()
    assert first == "QH-1195, Contrabass in low B-flat: left 19 Nov 2026"
    assert "9.1 µm at slide, spot 2, under 10 µm" in second


def test_a_serial_may_be_typed_in_small_letters_or_in_part(demo_copy, command):
    whole = command("piece", "QH-1195", "--workshop", demo_copy).stdout
    for typed in ("qh-1195", "1195"):
        assert command("piece", typed, "--workshop", demo_copy).stdout == whole
    then = command("piece", "qh-1195", "--known", "shipped", "--workshop", demo_copy)
    assert then.stdout.startswith("QH-1195,")
    several = command("piece", "119", "--workshop", demo_copy)
    assert several.exit_code == 1 and "pieces have '119' in the serial: " in several.stderr


def test_a_serial_nobody_knows_is_answered_with_the_nearest(demo_copy, command):
    done = command("piece", "qh 1l95", "--workshop", demo_copy)
    assert done.exit_code == 1
    assert "QH-1195" in done.stderr


@pytest.mark.parametrize(
    "typed, nearest",
    [("QH1195", "QH-1195"), ("qh-1195", "QH-1195"), ("QH-1159", "QH-1195"), ("QH-I195", "QH-1195")],
)
def test_a_mistyped_serial_finds_its_own(typed, nearest):
    assert nearest in nearest_serials(typed, ["QH-1020", "QH-1195", "T-0421"])


def test_nothing_like_it_is_said(told):
    with pytest.raises(JobError, match="No known serial looks like it"):
        told("zzz")


def test_value_is_the_mean_of_its_places_and_worst_the_nearest_to_a_limit(sample, told):
    record = told("QH-1195")
    wall = figure(record, "wall")
    read = sample.store.readings(stage="bell", serials=["QH-1195"])["value"]
    assert wall.value == pytest.approx(fmean(read), rel=1e-12)
    assert wall.worst.value == max(read) and wall.inside


def test_a_body_thinner_by_design_has_no_limits(told):
    inner = figure(told("QH-1195"), "inner_od")
    body = [one for one in inner.places if one.at["surface"] == "body"]
    assert body and all(one.inside is None for one in body)
    assert inner.inside is True and "stocking" in inner.worst.place


def test_a_figure_without_limits_says_neither_inside_nor_outside(told):
    assert figure(told("QH-1195"), "verdict").inside is None


def test_gauges_are_checked_in_doubt_or_not_known(told):
    record = told("QH-1205")
    clearance = figure(record, "clearance")
    assert clearance.gauge_checked is False and "BG-1" in clearance.gauge_doubt
    assert figure(record, "wall").gauge_checked is None  # its gauge has no checks
    assert figure(told("QH-1150"), "clearance").gauge_checked is True


def test_a_piece_lies_among_those_made_before_it(told):
    among = figure(told("QH-1205"), "clearance").among
    assert among.of == among.below and among.above == 0


def test_parts_bear_batch_and_tool_of_their_own_making(sample, told):
    record = told("QH-1195")
    tube = next(one for one in record.parts if one.part == "outer-upper")
    drawn = sample.store.readings(stage="draw", serials=[tube.serial])
    assert (tube.tool, tube.batch) == (drawn["tool"][0], drawn["batch"][0])


def test_a_part_says_what_it_is_in_and_where_that_is(told):
    record = told("T-0424")
    assert [one.serial for one in record.stays] == ["QH-1196"]
    assert record.where.startswith("in QH-1196")


def test_an_instrument_tells_that_a_part_of_it_is_to_be_held(told, listed):
    record = told("QH-1196")
    said = [one for one in record.judgement if one.startswith("Its part ")]
    held = {row.serial: row for row in (*listed.waiting, *listed.shipped)}
    own = [one.serial for one in record.parts if one.serial in held]
    assert own and [line.split()[2] for line in said] == own
    assert all(held[one].name in line for one, line in zip(own, said, strict=True))
    assert all(row.serial == "QH-1196" for row in record.hold), "the rows of its parts are theirs"


def test_a_suspect_batch_is_followed_to_what_else_bears_it(sample, told):
    record = told("QH-1205")
    batch = next(one for one in record.shared if one.name == "LP-12")
    fitted = sample.store.events("part").filter(pl.col("batch") == "LP-12")["serial"].unique().to_list()
    assert {serial for serial, _ in batch.pieces} == set(fitted) - {"QH-1205"}


def test_a_return_is_told_beside_the_others(sample, told):
    returned = told("QH-1071").returns[-1]
    back = sample.store.events("returned").filter(pl.col("code") == "lacquer-run")["serial"].to_list()
    assert {serial for serial, _ in returned.alike} == set(back) - {"QH-1071"}
    assert returned.said.startswith("Not a one-off")
    assert told("QH-1066").returns[-1].said.startswith("By its cause a one-off so far")


def came_back(suspected):
    """Return what is told of W-1 of batch K-1: of six others of it two came back for its cause, of 55."""
    serials = [f"W-{n}" for n in range(1, 57)]
    back = {"W-1": "worn", "W-2": "worn", "W-3": "worn", "W-40": "stiff"}
    day = date(2026, 5, 4)
    tables = {
        "returned": pl.DataFrame([(one, day, code) for one, code in back.items()], orient="row",
                                 schema=["serial", "day", "code"]),
        "shipped": pl.DataFrame({"serial": serials}),
    }  # fmt: skip
    store = SimpleNamespace(events=lambda kind, until: tables[kind])
    bears = {("batch", "K-1"): serials[1:7], ("batch", "L-1"): serials[1:30], ("tool", "M-1"): serials[20:]}
    tree = SimpleNamespace(own=lambda _: bears, others=lambda _, kind, name: bears[kind, name])
    (told,) = returns_of(SimpleNamespace(store=store, today=day), "W-1", tree, suspected)
    return told


def test_a_batch_that_a_signal_suspected_is_asked_about_by_itself():
    told = came_back({})
    assert told.shares[0] == ("batch", "K-1", 6, 2), "what came back for another cause is another matter"
    # scipy's own Fisher test, one-sided: 2 of 6 against 0 of the other 49
    chance = fisher_exact([[2, 4], [0, 49]], alternative="greater").pvalue
    assert f"{chance:.1%}" == "1.0%"
    assert (
        "More than chance: batch K-1: 2 of 6 others came back for this cause, by chance alone in 1.0%"
        in told.said
    )
    said = came_back({("batch", "K-1"): "4"}).said
    assert "batch K-1, which signal 4 coincides with: 2 of 6 others came back" in said


@pytest.mark.parametrize(
    "back, left, returned, gone", [(3, 20, 6, 197), (1, 5, 2, 9), (4, 4, 4, 60), (2, 39, 5, 80)]
)
def test_chance_of_returns_agrees_with_the_exact_test(back, left, returned, gone):
    rest = [[back, left - back], [returned - back, gone - left - returned + back]]
    # scipy's own Fisher test, one-sided
    assert chance_of_returns(back, left, returned, gone) == pytest.approx(
        fisher_exact(rest, alternative="greater").pvalue, rel=1e-9
    )


def test_a_day_too_early_cannot_hold_and_a_late_one_should(sample, told):
    early = told("QH-1205", due=sample.today + timedelta(1))
    assert "cannot hold" in early.leaving.said and early.leaving.in_time == 0
    late = told("QH-1205", due=sample.today + timedelta(60))
    assert "should hold" in late.leaving.said and late.leaving.in_time == 1
    assert sample.today <= early.leaving.likely <= early.leaving.late
    assert {early.leaving.likely.weekday(), early.leaving.late.weekday()} <= set(range(5))
    # the exact lower end where all of 40 were: 0.025 ** (1 / 40) = 0.9119
    assert "were so quick from here; 91 to 100 % of such pieces may be" in late.leaving.said


def test_nothing_is_told_to_leave_on_a_day_off_and_the_share_says_of_how_many(sample, told):
    """A Saturday was named in a workshop that works from Monday to Friday, and 100% of an unsaid number."""
    own = told("QH-1205", due=date(2027, 1, 23)).leaving
    assert not {own.likely.weekday(), own.late.weekday()} & {5, 6}
    number = re.search(r"should hold: (\d+) of the (\d+) of its like", own.said)
    assert number and number[1] == number[2] and int(number[1]) > 0
    assert "That is a day off: ask for the working day before it." in own.said
    saturday = date(2026, 11, 28)
    assert _worked(sample, saturday) == date(2026, 11, 30) and _worked(sample, date(2026, 11, 27)).day == 27


def test_the_days_of_its_like_are_those_of_the_cards(sample, told):
    leaving = told("QH-1205").leaving
    left = dict(sample.store.events("shipped").sort("day").select("serial", "day").iter_rows())
    models = dict(sample.store.pieces().select("serial", "model").iter_rows())
    own = [one for one in sorted(left, key=lambda s: (left[s], s))[::-1] if models[one] == "tenor-bass"][:40]
    rows = sample.store.readings(stage="tuning", serials=own)
    last = dict(rows.group_by("serial").agg(pl.col("day").max()).iter_rows())
    days = sorted((left[one] - last[one]).days for one in own if one in last and last[one] <= left[one])
    assert leaving.ahead[-1].median == pytest.approx(pl.Series(days).median())
    assert leaving.ahead[-1].pieces == len(days)


def test_what_left_or_came_back_is_not_forecast_and_the_answer_says_so(told):
    for serial, why in (("QH-1195", "it left on"), ("QH-1071", "it came back"), ("T-0450", "it is a part")):
        record = told(serial, due=date(2026, 12, 24))
        assert record.leaving is None
        assert why in record.notes[-1]


def test_what_the_list_holds_the_judgement_says(told, listed):
    held = {row.serial for row in listed.waiting}
    for serial in sorted(held)[:3]:
        record = told(serial)
        assert record.judgement[0].startswith("Keep it back")


def test_what_left_while_it_was_to_be_held_says_so_first(told, listed):
    """Only the receipt of that evening and the list said it; the piece said that it has left."""
    held = {row.serial for row in listed.rows if row.waits and row.left_held}
    others = {row.serial for row in listed.shipped} - {row.serial for row in listed.rows if row.left_held}
    for serial in (sorted(held)[0], sorted(held)[-1]):
        assert told(serial).judgement[0].startswith("It left while it was to be held, and is on the list")
    assert told(sorted(others)[0]).judgement[0].startswith("It has left, and is on the list")


def test_a_piece_lies_in_every_signal_that_the_list_holds_it_for(told, listed):
    """One source of truth: no page denies a signal for which another one holds the piece."""
    rows = [row for row in listed.rows if row.why == "signal"]
    names = {row.serial: set() for row in rows}
    for row in rows:
        names[row.serial].add(row.because.partition(": ")[0].removeprefix("signal "))
    assert len(names) > 10
    for serial in sorted(names)[::4]:
        record = told(serial)
        assert {one.name for one in record.signals} >= names[serial]
        said = " ".join(record.judgement)
        assert "lies in no signal of them" not in said or not names[serial]


def test_a_computed_figure_is_written_no_finer_than_its_gauge_leaves_it(told):
    """Notes are read to a cent: what is fitted to a sitting is good to a tenth; a difference is not."""
    record = told("QH-1198")
    lines = {one.title: figure_line(one)[1] for one in record.figures}
    assert lines["Tuning: Fifth partial"] == "−15.4 cents"
    assert lines["Tuning: F wrap length error"] == "28.2 mm"
    assert lines["Slide: Slide clearance"] == "149 µm"


def test_on_a_past_day_nothing_later_is_told(shop):
    day = date(2026, 4, 1)
    record = piece_record(replace(shop, today=day), "QH-1071", judge=False)
    assert record.returns == () and all(one.day <= day for one in record.events)
    assert all(one.day <= day for one in record.figures)


def test_the_passport_is_written_and_named(demo_copy, command, tmp_path):
    out = tmp_path / "passport.pdf"
    done = command("piece", "QH-1195", "--workshop", demo_copy, "--pdf", out, "--json")
    assert out.read_bytes().startswith(b"%PDF") and json.loads(done.stdout)["pdf"] == str(out)
    nowhere = command("piece", "QH-1195", "--workshop", demo_copy, "--pdf", tmp_path / "none" / "p.pdf")
    assert nowhere.exit_code == 3 and "Name another file with --pdf" in nowhere.stderr


def test_a_person_is_followed_like_a_batch(sample):
    found = also(sample, "person", "BK")
    own = sample.store.readings().filter(pl.col("person") == "BK")["serial"].unique()
    fitted = sample.store.events("part").filter(pl.col("person") == "BK")["serial"].unique()
    assert {one.serial for one in found.pieces if not one.held} == {*own, *fitted} - {None}


def test_the_board_says_what_the_command_says(shop, demo_copy):
    board = StoreBoardData(demo_copy)
    told = board.instrument("QH-1205").record.to_dict()
    assert told == piece_record(shop, "QH-1205").to_dict()
    assert "cannot hold" in board.leaving("QH-1205", "25 Nov 2026")
    assert "it left on" in board.leaving("QH-1195", "25 Nov 2026")
    assert "is not a day" in board.leaving("QH-1205", "soon")
    assert "QH-1205" in board.nearest("qh1205")
    assert len(board.also("batch", "LP-12").pieces) == 17 and board.also("moon", "LP-12") is None


def test_a_piece_of_which_nothing_was_accepted_is_known_by_its_held_rows():
    held = [SimpleNamespace(id=n, as_typed=lambda: {"serial": "A-9"}) for n in (4, 5)]
    workshop = SimpleNamespace(store=SimpleNamespace(held=lambda: held))
    assert unknown_piece(workshop, "A-9") == (
        "Nothing of 'A-9' was accepted yet: held rows 4-5 name it and wait for a decision. "
        "See what is asked: qc held list"
    )


def test_its_cards_say_who_measured_it_when_with_what_and_from_which_batch(sample, told):
    record = told("QH-1195")
    rows = sample.store.readings(serials=["QH-1195"])
    read = {
        (stage, day): {name: set(own[name].drop_nulls()) for name in ("person", "gauge", "batch", "tool")}
        for (stage, day), own in rows.group_by("stage", "day")
    }
    carded = {
        (one.stage, one.day): {
            name: set(filter(None, getattr(one, name).split(" + ")))
            for name in ("person", "gauge", "batch", "tool")
        }
        for one in record.cards
    }
    assert carded == read
    assert record.life[0] == (min(rows["day"]), "Bell measured, by EL")
    assert [day for day, _ in record.life] == sorted(day for day, _ in record.life)
    assert record.life[-1][1].startswith("shipped")


def test_the_table_of_its_cards_fits_eighty_columns(told):
    lines = told("QH-1195").to_text().splitlines()
    start = next(number for number, line in enumerate(lines) if line.startswith("Card "))
    table = lines[start : lines.index("", start)]
    assert len(table) == 8 and max(map(len, table)) <= 80
    assert any("LK-12" in line and "BN-3" in line for line in table)


def test_a_form_is_told_in_one_unit_and_no_finer_than_a_tenth_of_the_gauge(told):
    one = figure(told("QH-1195"), "wall")
    form = replace(one.forms[0], levels=(("front", 0.0, -0.0001), ("back", 0.0, 0.000056)))
    fine = replace(one, step=0.001, unit="mm", forms=(form,))
    assert form_lines(fine)[0].endswith("front 0 (usual −0.1 µm), back 0 (usual +0.1 µm) from its own mean")
    coarse = replace(one, step=0.01, unit="mm", forms=(replace(form, levels=(("1", 0.0174, 0.0052),)),))
    assert "1 +17 µm (usual +5 µm)" in form_lines(coarse)[0]


def test_of_a_return_it_is_told_what_its_batch_went_into_once_the_signal_is_answered(shop):
    def batches(serial):
        return [(one.name, one.why) for one in piece_record(shop, serial).shared if one.kind == "batch"]

    assert batches("QH-1198") == [("LP-12", "suspect of signal 7, Tuning: Fifth partial")]
    row = {"kind": "returned", "serial": "QH-1198", "day": shop.today, "code": "intonation"}
    schema, empty = shop.store.events().drop("id").schema, pl.DataFrame()
    events = pl.DataFrame([{name: row.get(name) for name in EVENT}], schema=schema)
    data = b"a return"
    sheet = NewSheet("x.csv", sheet_hash(data), data, "returns", empty, events, empty)
    shop.store.add_sheets([sheet], who="IS", when=shop.now)
    closed = Saying(What.CLOSED, "IS", cause="unknown", action="leadpipes swapped", outcome="mended")
    say_of_signal(shop, "7", closed)
    told = "suspect of signal 7 (closed, cause mended), Tuning: Fifth partial"
    assert batches("QH-1198") == [("LP-12", told)]
    [shared] = [one for one in piece_record(shop, "QH-1198").shared if one.name == "LP-12"]
    assert ("QH-1204", None) in shared.pieces and "QH-1198" not in dict(shared.pieces)
    assert batches("QH-1204") == []  # which did not come back, and of which nothing is suspected now
