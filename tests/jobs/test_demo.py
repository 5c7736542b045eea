"""The sample workshop from its sheets: planted troubles found, few others, planted mishaps held."""

from dataclasses import replace
from datetime import date

import pytest
import yaml

from qc import clock
from qc.errors import QcError
from qc.jobs.demo import make_demo, sample_sheets
from qc.jobs.judging.kept import load_verdicts
from qc.jobs.judging.verdicts import judge_now
from qc.jobs.status import status
from qc.jobs.then import known
from qc.jobs.workshop import open_workshop
from qc.watch import SeriesKey
from sample_measurements import folder as sample_folder

PLANTED = yaml.safe_load((sample_folder() / "planted.yaml").read_text("utf-8"))


@pytest.fixture(scope="module")
def shop(demo_folder):
    workshop = open_workshop(demo_folder)
    yield workshop
    workshop.store.close()


@pytest.fixture(scope="module")
def verdicts(shop):
    return {str(v.key): v for v in load_verdicts(shop)}


@pytest.mark.parametrize("planted", PLANTED["changes"], ids=lambda p: p["series"])
def test_a_planted_change_is_found_with_start_size_and_suspect(verdicts, planted):
    verdict = verdicts[planted["series"]]
    assert verdict.behaviour == "drifting"
    signal = verdict.current
    serials = [p.serial for p in verdict.points]
    away = abs(serials.index(signal.start_serial) - serials.index(planted["first_serial"]))
    assert away <= 2, f"{away} pieces off"
    assert (signal.size > 0) == (planted["size"] > 0)
    assert signal.kind == planted["kind"]
    assert 0.6 * abs(planted["size"]) < abs(signal.size) < 1.4 * abs(planted["size"])
    first = signal.suspects[0]
    assert (first.kind, first.name) == (planted["suspect"]["kind"], planted["suspect"]["name"])


def test_few_others_are_drifting(verdicts):
    planted = {p["series"] for p in PLANTED["changes"]}
    others = {key for key, v in verdicts.items() if v.behaviour == "drifting"} - planted
    assert len(others) <= 2, others


def test_the_quiet_stage_that_looks_bad_is_not_flagged(verdicts):
    quiet = verdicts[PLANTED["quiet"]["series"]]
    assert quiet.behaviour == "steady"
    assert quiet.capable != "proven"


def test_the_die_change_begins_a_new_fitting(verdicts):
    change = PLANTED["die_change"]
    verdict = verdicts[change["series"]]
    point = next(p for p in verdict.points if p.serial == change["first_serial"])
    assert point.tool == change["now"]
    assert point.ordinal in {s.first for s in verdict.stretches}
    assert verdict.forecast.tool == change["now"]
    assert verdict.forecast.change_by_count > verdict.forecast.count_now


def test_planted_mishaps_are_held(shop):
    held = shop.store.held()
    missed = []
    for mishap in PLANTED["mishaps"]:
        if not mishap["held"]:  # a decimal comma that can only mean one thing is read as meant
            continue
        rows = [row for row in held if row.file == mishap["file"].rsplit("/", 1)[-1]]
        if mishap.get("line"):
            rows = [row for row in rows if abs(row.row - mishap["line"]) <= mishap.get("cells", 1)]
        if not rows:
            missed.append((mishap["kind"], mishap["file"], mishap.get("cell")))
    assert missed == []


def test_at_least_eight_kinds_and_about_forty_mishaps_are_planted():
    assert len({m["kind"] for m in PLANTED["mishaps"]}) >= 8
    assert 35 <= len(PLANTED["mishaps"]) <= 50


def test_hardly_anything_else_is_held(shop):
    """Fewer than one clean row in two thousand may be held without a planted mishap in its sheet."""
    files = {m["file"].rsplit("/", 1)[-1] for m in PLANTED["mishaps"]}
    stray = [row for row in shop.store.held() if row.file not in files]
    assert len(stray) <= shop.store.readings().height / 2000


def test_status_follows_the_contract(shop):
    plain = status(shop).to_dict()
    assert plain["as_of"] == "2026-11-24"
    keys = {
        *("stage", "characteristic", "family", "pieces", "behaviour", "since_serial", "since_date", "size"),
        *("unit", "suspects", "capable", "ppk", "ppk_interval", "open_signals"),
    }
    for row in plain["series"]:
        assert keys <= set(row)
        assert row["behaviour"] in {"learning", "steady", "drifting"}
        assert row["capable"] in {"proven", "unproven", "no"}
        assert (row["since_serial"] is None) == (row["behaviour"] != "drifting")
    assert [r["behaviour"] for r in plain["series"]][: len(PLANTED["changes"])] == ["drifting"] * len(
        PLANTED["changes"]
    )


def test_status_says_one_line_a_series(shop):
    said = status(shop).to_text().splitlines()
    assert "have moved" in said[0] and said[1] == ""
    waiting = said[2 : said.index("", 2)]
    assert waiting[0].endswith("wait for an answer: qc signals")
    told = [line for line in waiting[1:] if "over by themselves" not in line]
    assert len(told) == int(waiting[0].split()[0]) and len(waiting) <= len(told) + 2
    said = said[:2] + said[3 + len(waiting) :]
    series = said[2 : said.index("", 2)]
    assert len(series) == len(shop.plan.charted())
    # below them what is to be known of some series, and the budget last
    assert all(": " in line and line.endswith((".", "qc hold")) for line in said[3 + len(series) :])
    assert said[-1] == "At this setting: about one false signal in 30 days over 27 series."


def test_verdicts_can_be_had_again_from_nothing(shop):
    """All but what moves on with the day: each series was judged on the day of its last card."""
    kept = {str(v.key): replace(v, forecast=None, worst=0.0) for v in load_verdicts(shop)}
    fresh = {str(v.key): replace(v, forecast=None, worst=0.0) for v in judge_now(shop).verdicts}
    assert fresh == kept


def test_the_sheets_were_handed_in_on_the_day_of_the_last_row_of_their_lot(shop):
    entries = [entry for entry in shop.store.entries() if entry.kind == "sheet"]
    days = sorted({clock.day_of(entry.when, "CET") for entry in entries})
    assert days[:3] == [date(2025, 7, 31), date(2025, 8, 29), date(2025, 9, 30)]
    assert days[-1] == date(2026, 11, 23)
    assert len(days) == len({(d.year, d.month) for d in days}) + sum(d >= date(2026, 11, 1) for d in days) - 1
    moments = [entry.when for entry in shop.store.entries()]
    assert moments == sorted(moments)


def test_what_was_known_before_the_mandrel_was_changed_is_told_so(shop):
    """The F wrap grew from 28 October on: known with the cards of that month, and not a day sooner."""
    told = {}
    for day in (date(2026, 9, 30), date(2026, 11, 24)):
        then = known(shop, day)
        told[day] = {f"{row['characteristic']}": row for row in status(then).to_dict()["series"]}
        then.store.close()
    assert [own["wrap_f"]["behaviour"] for own in told.values()] == ["steady", "drifting"]
    assert told[date(2026, 9, 30)]["wrap_f"]["pieces"] < told[date(2026, 11, 24)]["wrap_f"]["pieces"]


def test_as_of_an_earlier_day_nothing_later_is_known(demo_folder):
    early = open_workshop(demo_folder, as_of=date(2026, 10, 1))
    verdicts = {str(v.key): v for v in judge_now(early).verdicts}
    early.store.close()
    assert max(p.day for v in verdicts.values() for p in v.points) <= date(2026, 10, 1)
    assert verdicts["tuning/wrap_f/all"].behaviour == "steady"


def test_a_second_demo_uses_what_is_there(demo_copy):
    again = make_demo(demo_copy)
    assert again.total is None
    assert "Using the sample workshop" in again.to_text()


def test_a_folder_with_something_else_is_refused(tmp_path):
    (tmp_path / "letter.txt").write_text("dear")
    with pytest.raises(QcError, match="is not empty"):
        make_demo(tmp_path)


def test_another_workshop_is_not_touched(tmp_path):
    (tmp_path / "plan.yaml").write_text("workshop: {name: Other}\n")
    with pytest.raises(QcError, match="another workshop"):
        make_demo(tmp_path)
    assert (tmp_path / "plan.yaml").read_text() == "workshop: {name: Other}\n"


def test_there_are_at_most_three_hundred_sheets():
    assert 100 < len(sample_sheets()) <= 300


def test_every_series_has_its_key_in_the_plan(shop, verdicts):
    assert {str(SeriesKey(s.id, c.id, f)) for s, c, f in shop.plan.charted()} == set(verdicts)
