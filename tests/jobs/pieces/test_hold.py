"""Pieces to hold in the sample workshop: the list, what holds a piece, its release, its tag."""

import json
from dataclasses import replace
from datetime import date, timedelta

import polars as pl
import pypdfium2
import pytest

from qc.errors import UsageError
from qc.jobs.errors import JobError
from qc.jobs.pieces import HoldRow, hold_list, keep_back, release, write_tags
from qc.jobs.pieces.outside import STATE, figures_outside
from qc.jobs.pieces.reasons import doubts_of
from qc.jobs.rows import Decision, list_held, mend_held
from qc.jobs.signals import list_signals, say_of_signal
from qc.jobs.upload import upload
from qc.jobs.whole_piece import piece_record
from qc.jobs.workshop import open_workshop
from qc.plan import EVENT, Gauge
from qc.sayings import Saying, What
from qc.store import NewSheet, sheet_hash

KEYS = {"serial", "stage", "characteristic", "place", "value", "unit", "lower", "upper", "why"}
KEYS |= {"shipped", "where", "next_step", "released"}


def rows(shop, *, keep=True, **like):
    """Return the rows of the list that agree in what is named."""
    found = hold_list(shop, judge=False, keep=keep).rows
    return [row for row in found if all(getattr(row, name) == value for name, value in like.items())]


@pytest.fixture(scope="module")
def thin(demo_folder):
    """Return the row of an instrument in the house whose lacquer is thin at a spot."""
    shop = open_workshop(demo_folder)
    found = rows(shop, keep=False, characteristic="thickness", why="limit")
    shop.store.close()
    return next(r for r in found if r.in_house and r.waits)


def test_the_command_answers_by_the_contract(demo_copy, command):
    for words in (("hold",), ("hold", "list")):
        found = json.loads(command(*words, "--json", "--workshop", demo_copy).stdout)
        assert found["pieces"] and all(row.keys() >= KEYS for row in found["pieces"])
    keys = [(r["serial"], r["stage"], r["characteristic"], r["why"]) for r in found["pieces"]]
    assert len(set(keys)) == len(keys)
    assert {row["why"] for row in found["pieces"]} == {"limit", "signal", "gauge", "batch"}


def test_the_house_comes_before_what_has_left_and_text_folds_that(demo_copy, command):
    found = json.loads(command("hold", "--json", "--workshop", demo_copy).stdout)["pieces"]
    left = [row["shipped"] is not None for row in found]
    assert left == sorted(left) and any(left)
    text = command("hold", "--workshop", demo_copy).stdout
    by_then = {row["serial"] for row in found if row["left_held"]}
    gone = next(row["serial"] for row in found if row["shipped"] and row["serial"] not in by_then)
    assert f"\n{gone} " not in text and "Left while to be held: " in text
    assert "left before anybody released" in text
    assert f"\n{gone} " in command("hold", "--all", "--workshop", demo_copy).stdout


def test_a_limit_is_told_at_its_worst_place_with_what_was_read_there(shop, thin):
    spots = shop.store.readings(serials=[thin.serial], characteristics=["thickness"])
    assert thin.figure.value == pytest.approx(spots["value"].min()) and thin.figure.value < 10
    assert f"spot {spots.sort('value')['spot'][0]}" in thin.figure.place
    assert spots["value"].mean() > 10  # which the chart of means shows as clean


def test_no_body_thinner_by_design_is_held(shop):
    readings = shop.store.readings(characteristics=["inner_od"])
    assert readings.filter(pl.col("surface") == "body")["serial"].n_unique() > 90
    held = rows(shop, characteristic="inner_od", why="limit")
    assert all("held row" in row.because and "body" not in row.figure.place for row in held)


def test_pieces_of_an_open_signal_are_held_until_it_is_answered(shop):
    wrap = next(s for s in list_signals(shop).signals if s.series == "tuning/wrap_f/all")
    held = rows(shop, characteristic="wrap_f", why="signal")
    assert wrap.found.start_serial in {row.serial for row in held}
    assert all(row.because.startswith(f"signal {wrap.name}: ") for row in held)
    say_of_signal(shop, wrap.id, Saying(What.CLOSED_FALSE, "IS", "counted twice"))
    left = rows(shop, characteristic="wrap_f", why="signal")
    # what left before the answer is still asked about, by name
    assert {row.serial for row in left} == {row.serial for row in held if row.left_held} != set()
    assert all(row.left_held and "closed on 24 Nov by IS: no cause" in row.because for row in left)


def test_what_was_closed_and_opened_again_is_not_said_to_be_answered_by_nobody(shop):
    signal = next(one for one in list_signals(shop).signals if one.found.over_since)
    rows = [row for row in hold_list(shop, judge=False).rows if row.why == "signal"]
    told = next(row.because for row in rows if f"signal {signal.name}:" in row.because)
    assert told.endswith("nobody has answered it.")
    closed = Saying(What.CLOSED_FALSE, "IS", "looked at")
    say_of_signal(shop, signal.id, closed)
    say_of_signal(shop, signal.id, Saying(What.REOPENED, "IS", "once more"))
    rows = [row for row in hold_list(shop, judge=False).rows if row.why == "signal"]
    told = next(row.because for row in rows if f"signal {signal.name}:" in row.because)
    assert told.endswith("; IS closed it on 24 Nov, and it was opened again.")


def test_what_gets_better_holds_nobody(shop):
    """Signals of the sample that lead towards the target or away from the only limit hold no piece."""
    for row in rows(shop, why="signal"):
        assert row.figure is None or row.figure.upper is not None or row.figure.lower is not None


def test_a_batch_first_suspected_holds_what_bears_it(shop):
    held = {row.serial for row in rows(shop, why="batch")}
    parts = shop.store.events("part").filter(pl.col("batch") == "LP-12")
    assert held >= set(parts["serial"]) and held


def checks(*days):
    return [{"kind": "gauge-check", "subject": "BG-1", "day": day, "value": off} for day, off in days]


def with_events(shop, found):
    """Take in events as a card would bring them."""
    full = [{name: row.get(name) for name in EVENT} for row in found]
    schema = shop.store.events().drop("id").schema
    events, data = pl.DataFrame(full, schema=schema), repr(found).encode()
    empty = pl.DataFrame()
    sheet = NewSheet("x.csv", sheet_hash(data), data, "gauge-checks", empty, events, empty)
    shop.store.add_sheets([sheet], who="IS", when=shop.now)


def test_a_gauge_without_its_check_holds_what_it_read_since(shop):
    held = rows(shop, why="gauge")
    assert {row.characteristic for row in held} == {"outer_bore"}
    read = shop.store.gauged("BG-1", date(2026, 11, 12), shop.today)
    assert {row.serial for row in held} == set(read["serial"])
    with_events(shop, checks((shop.today, 0.0)))
    assert rows(shop, why="gauge") == []  # a good check after them: all between two good ones is trusted


def test_a_check_that_was_off_puts_all_since_the_last_good_one_in_doubt(shop):
    with_events(shop, checks((shop.today, 0.02)))
    held = rows(shop, why="gauge")
    assert held and all("found 20 µm off on 24 Nov 2026" in row.because for row in held)
    # the page of the gauge says the same of that check
    assert all("stands apart from those before" in row.because for row in held)
    with_events(shop, checks((shop.today + timedelta(days=1), 0.0)))
    later = replace(shop, today=shop.today + timedelta(days=1))
    # zeroed since: what was read before it was known stays in doubt
    assert {row.serial for row in rows(later, why="gauge")} == {row.serial for row in held}


@pytest.mark.parametrize(
    "days, doubtful",
    [
        ([], [(date.min, 9)]),
        ([(1, 0.0), (5, 0.0)], [(6, 9)]),
        ([(1, 0.0), (5, 0.01), (6, 0.0), (9, 0.0)], [(2, 5)]),
        ([(1, 0.0), (5, 0.01), (5, 0.0), (9, 0.0)], [(2, 4)]),
        ([(5, 0.01)], [(date.min, 9)]),
        ([(9, 0.0)], []),
    ],
    ids="never since-last off-then-good put-right-that-day off-at-once today".split(),
)
def test_days_on_which_a_gauge_is_not_to_be_trusted(shop, days, doubtful):
    gauge = Gauge(
        id="BX-1",
        name="B",
        gauge_class="b",
        resolution=0.001,
        unit="mm",
        daily_check=True,
        check_tolerance=0.004,
    )
    at = replace(shop, today=date(2026, 3, 9))

    def day(number):
        return number if isinstance(number, date) else date(2026, 3, number)

    events = [{**one, "subject": "BX-1"} for one in checks(*((day(n), off) for n, off in days))]
    if events:
        with_events(shop, events)
    assert [(d.first, d.last) for d in doubts_of(at, gauge)] == [(day(a), day(b)) for a, b in doubtful]


def test_a_release_stands_with_who_why_and_day(shop, thin):
    found = release(shop, thin.serial, who="IS", why="Measured  again, 10.4", figure="thickness")
    (row,) = [r for r in found.rows if r.characteristic == "thickness" and r.why == "limit"]
    assert row.released.to_dict() == {"who": "IS", "why": "Measured again, 10.4", "day": "2026-11-24"}
    assert any(other.waits for other in found.rows if other.characteristic != "thickness")
    again = release(shop, thin.serial, who="IS", why="Measured again, 10.4", figure="lacquer/thickness")
    assert again.already and len(shop.store.decided_of_pieces([thin.serial])) == len(
        [r for r in found.rows if r.characteristic == "thickness"]
    )
    with pytest.raises(JobError, match="is released already by IS"):
        release(shop, thin.serial, who="IS", why="again", figure="thickness")
    assert shop.store.verify() == []


def test_a_release_covers_nothing_that_comes_later(shop, thin):
    release(shop, thin.serial, who="IS", why="seen")
    assert all(not row.waits for row in rows(shop, serial=thin.serial))
    old = shop.store.readings(serials=[thin.serial], characteristics=["thickness"]).sort("value").head(1)
    worse = old.with_columns(value=pl.lit(7.1), text=pl.lit("7.1"))
    shop.store.replace_reading(old["id"][0], worse.drop("id"), who="IS", when=shop.now, why="misread")
    (row,) = rows(shop, serial=thin.serial, characteristic="thickness", why="limit")
    assert row.waits and row.figure.value == 7.1


def test_a_release_can_be_taken_back_and_a_piece_kept_back_by_hand(shop, thin):
    release(shop, thin.serial, who="IS", why="seen")
    keep_back(shop, thin.serial, who="IS", why="not so fast", figure="thickness")
    (row,) = rows(shop, serial=thin.serial, characteristic="thickness", why="limit")
    assert row.waits and row.kept_back.why == "not so fast"
    listed = {row.serial for row in rows(shop)}
    sound = next(s for s in shop.store.pieces()["serial"] if s not in listed and s.startswith("QH"))
    keep_back(shop, sound, who="IS", why="scratch on the bell")
    assert keep_back(shop, sound, who="IS", why="scratch on the bell").already
    (row,) = rows(shop, serial=sound)
    assert (row.why, row.because, row.figure) == ("hand", "scratch on the bell", None)
    assert release(shop, sound, who="IS", why="polished out").rows[0].released.who == "IS"
    assert shop.store.verify() == []


@pytest.mark.parametrize(
    "who, why, error, said",
    [
        ("", "seen", UsageError, "--who"),
        ("IS", "  ", UsageError, "--why"),
        ("BK", "seen", JobError, "quality lead, IS"),
        ("XX", "seen", JobError, "'XX'"),
    ],
)
@pytest.mark.parametrize("way", [release, keep_back])
def test_who_may_not_or_says_not_why_changes_nothing(shop, thin, way, who, why, error, said):
    before = shop.store.head()
    with pytest.raises(error, match=said):
        way(shop, thin.serial, who=who, why=why)
    assert shop.store.head() == before


def test_what_is_not_on_the_list_or_was_never_made_is_said(shop):
    with pytest.raises(JobError, match="QH-9999 is not on the list"):
        release(shop, "QH-9999", who="IS", why="seen")
    with pytest.raises(JobError, match="There is no piece 'QH-9999'"):
        keep_back(shop, "QH-9999", who="IS", why="seen")
    with pytest.raises(JobError, match="not on the list of pieces to hold for weight"):
        keep_back(shop, "QH-1200", who="IS", why="seen", figure="weight")


def test_on_a_past_day_neither_later_readings_nor_later_words_count(shop, thin):
    release(shop, thin.serial, who="IS", why="seen")
    past = replace(shop, today=date(2026, 10, 1))
    found = hold_list(past, judge=False)
    assert all(row.waits for row in found.rows)
    assert all(row.figure is None or row.figure.day <= past.today for row in found.rows)
    assert thin.serial not in {row.serial for row in found.rows}


def test_a_returned_instrument_is_in_the_house_again(shop):
    back = shop.store.events("returned")["serial"][0]
    keep_back(shop, back, who="IS", why="look at it")
    (row,) = [r for r in rows(shop, serial=back) if r.why == "hand"]
    assert row.in_house and row.whereabouts.words.startswith("came back")


def test_a_part_is_where_its_instrument_is(shop):
    tubes = [
        row for row in rows(shop, characteristic="tube_od", why="signal") if "in QH-" in row.whereabouts.words
    ]
    built = dict(shop.store.events("part").select("subject", "serial").iter_rows())
    assert tubes and all(f"in {built[row.serial]}, " in row.whereabouts.words for row in tubes)


def test_what_is_kept_gives_the_same_as_all_worked_out_anew(shop, thin):
    first = figures_outside(shop)
    kept = shop.store.state(STATE)
    assert figures_outside(shop) == first and shop.store.state(STATE) == kept
    old = shop.store.readings(serials=[thin.serial], characteristics=["thickness"]).sort("value").head(1)
    shop.store.withdraw_reading(old["id"][0], who="IS", when=shop.now, why="not of this piece")
    brought_up = figures_outside(shop)
    assert shop.store.state(STATE) != kept
    shop.store.set_state(STATE, None)
    assert figures_outside(shop) == brought_up != first


def test_of_a_day_lately_what_is_kept_gives_the_same_as_all_worked_out_anew(shop):
    newest = shop.store.newest_day()
    days = [newest - timedelta(days=back) for back in (1, 10, 24, 61, 63)]
    figures_outside(shop)
    kept = shop.store.state(STATE)
    assert kept is not None
    by_what_is_kept = [figures_outside(replace(shop, today=day)) for day in days]
    assert shop.store.state(STATE) == kept
    for day, told in zip(days, by_what_is_kept, strict=True):
        shop.store.set_state(STATE, None)
        assert figures_outside(replace(shop, today=day)) == told
        assert shop.store.state(STATE) is None, "nothing of a past day is kept"
    assert len({len(told) for told in by_what_is_kept}) > 1


def test_figures_near_a_limit_are_told_and_held_where_the_plan_says_so(shop):
    near = hold_list(shop, judge=False).near
    assert near and all(row.figure.inside and row.figure.near for row in near)
    assert all("inside, but not proven" in row.because for row in near)
    plan = shop.plan
    stages = [
        s.model_copy(
            update={
                "characteristics": tuple(
                    c.model_copy(update={"near_limit": "held"}) for c in s.characteristics
                )
            }
        )
        for s in plan.stages
    ]
    strict = replace(shop, plan=plan.model_copy(update={"stages": tuple(stages)}))
    found = hold_list(strict, judge=False)
    assert found.near == () and {row.serial for row in near} <= {row.serial for row in found.rows}


def test_a_tag_for_each_piece_in_the_house(shop, tmp_path):
    found = hold_list(shop, judge=False)
    here = list(dict.fromkeys(row.serial for row in found.waiting))
    made = write_tags(shop, tmp_path / "tags.pdf")
    assert list(made.serials) == here
    pages = pypdfium2.PdfDocument(tmp_path / "tags.pdf")
    assert len(pages) == -(-len(here) // 8)
    text = "".join(page.get_textpage().get_text_range() for page in pages)
    assert all(serial in text for serial in here)
    assert text.count("Released by") == len(here)
    first = found.waiting[0]
    assert isinstance(first, HoldRow) and first.figure.place in " ".join(text.split())
    one = write_tags(shop, tmp_path / "one.pdf", serials=[here[0]])
    assert one.serials == (here[0],)


def test_no_tag_without_a_piece(shop, tmp_path):
    with pytest.raises(JobError, match="no tag to print"):
        write_tags(shop, tmp_path / "tags.pdf", serials=["QH-1001x"])
    assert not (tmp_path / "tags.pdf").exists()


def test_status_and_receipt_tell_the_worst(demo_copy, command, shop):
    text = command("status", "--workshop", demo_copy).stdout
    assert "To hold: " in text and "See: qc hold" in text


SPOT = {"area": "slide", "spot": 3}


@pytest.fixture
def clean(shop):
    """Return an instrument with a lacquer card that nothing holds, and hand in a spot nobody believes."""
    serials = {row.serial for row in hold_list(shop, judge=False).rows}
    spots = shop.store.readings(characteristics=["thickness"])
    serial = next(
        s for s in reversed(spots["serial"].unique(maintain_order=True).to_list()) if s not in serials
    )
    own = spots.filter(pl.col("serial") == serial)
    head = "Card,Lacquer card\n\nDate,Serial,Model,Area,Spot,Thickness,Gauge,Person\n"
    day = shop.today.isoformat()
    line = f"{day},{serial},{own['model'][0]},slide,3,1.2,EC-1,{own['person'][0]}\n"
    receipt = upload(shop, [("thin.csv", (head + line).encode())])
    assert receipt.to_dict()["sheets"][0]["held"]
    return serial


def test_a_held_row_that_would_be_outside_holds_its_piece_until_it_is_answered(shop, clean, command):
    (row,) = rows(shop, serial=clean)
    (waits,) = [one for one in list_held(shop).rows if one.serial == clean]
    assert (row.why, row.figure.value, row.figure.lower) == ("limit", 1.2, 10.0)
    assert "1.2 µm at slide, spot 3, under 10 µm as typed" in row.because
    assert f"Answer held row {waits.id}" in row.next_step
    record = piece_record(shop, clean, judge=False)
    (figure,) = [one for one in record.figures if one.characteristic == "thickness"]
    assert figure.inside is None and figure.state == "a held row waits"
    assert not any("Inside its limits" in line or "Nothing holds" in line for line in record.judgement)
    before = replace(shop, today=shop.today - timedelta(days=1))
    assert rows(before, serial=clean) == []  # of a day before it was measured it is not told

    release(shop, clean, who="IS", why="Read again on the bare twin.")
    assert [r.waits for r in rows(shop, serial=clean)] == [False]
    mend_held(shop, waits.id, Decision.DROP, who="IS")
    assert rows(shop, serial=clean) == []
    assert piece_record(shop, clean, judge=False).judgement[0].startswith("Nothing holds it back")
