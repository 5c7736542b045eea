"""What a reading is worth, asked of the sample workshop: costs counted by hand, one answer on every face."""

import json
from dataclasses import replace
from datetime import timedelta

import pytest

from qc.cli.main import main
from qc.errors import UsageError
from qc.jobs.board import SeriesKey, WeighedOnce
from qc.jobs.questions import worth_of_readings
from qc.jobs.workshop import open_workshop
from qc.plan import Characteristic, load_plan, template_text

MONTH = 365.25 / 12


@pytest.fixture(scope="module")
def shop(demo_folder):
    workshop = open_workshop(demo_folder)
    yield workshop
    workshop.store.close()


@pytest.fixture(scope="module")
def lacquer(shop):
    return worth_of_readings(shop, stage="lacquer", judge=False)


def test_readings_and_bench_time_are_those_of_the_last_quarter(shop, lacquer):
    found = next(one for one in lacquer.series if one.key.characteristic == "thickness")
    since = shop.today - timedelta(days=91)
    rows = shop.store.readings(stage="lacquer", characteristics=["thickness"], since=since, until=shop.today)
    assert found.cost.readings_a_month == pytest.approx(rows.height * MONTH / 92)
    assert found.cost.pieces_a_month == pytest.approx(rows["serial"].n_unique() * MONTH / 92)
    assert found.cost.hours_a_month == pytest.approx(rows.height * MONTH / 92 * 20 / 3600)
    assert not found.cost.seconds_in_plan and "common practice, no source" in lacquer.to_text()
    assert lacquer.hours_a_month == pytest.approx(sum(one.cost.hours_a_month for one in lacquer.series))


def test_the_plan_gives_the_bench_time_of_a_reading(shop):
    stages = [
        stage.model_copy(
            update={
                "characteristics": tuple(
                    c.model_copy(update={"reading_seconds": 45.0 if c.id == "leak" else None})
                    for c in stage.characteristics
                )
            }
        )
        for stage in shop.plan.stages
    ]
    own = replace(shop, plan=shop.plan.model_copy(update={"stages": tuple(stages)}))
    found = worth_of_readings(own, stage="joints", characteristic="leak", judge=False).series[0].cost
    assert (found.seconds_a_reading, found.seconds_in_plan) == (45.0, True)
    assert found.hours_a_month == pytest.approx(found.readings_a_month * 45 / 3600)


def test_readings_that_serve_several_figures_count_once(shop):
    found = worth_of_readings(shop, stage="tuning", judge=False)
    fifth = next(one for one in found.series if one.key.characteristic == "partial_5")
    assert fifth.cost.shared_with == ("Main length error", "F wrap length error", "Note scatter")
    # every tuned instrument is asked about its fifth partial: its notes are all the notes there are
    assert found.hours_a_month == pytest.approx(fifth.cost.hours_a_month)


def test_what_it_found_and_what_lay_outside(shop, lacquer):
    found = next(one for one in lacquer.series if one.key.characteristic == "thickness").found
    assert found.signals >= 1 and found.true == found.signals - found.false
    assert found.outside > 0 and found.expected == pytest.approx(found.pieces * lacquer.false_alarm_rate)


def test_what_hangs_on_the_gauge_alone_is_known_by_the_plan_or_by_checks(shop):
    leak = worth_of_readings(shop, stage="joints", characteristic="leak", judge=False).series[0]
    assert (
        leak.gauge.by_checks and leak.gauge.sd > 0
    )  # the rig is checked each morning, the plan says nothing
    lacquer = worth_of_readings(shop, stage="lacquer", characteristic="thickness", judge=False).series[0]
    assert not lacquer.gauge.by_checks and lacquer.told_twice is not None


def test_what_if_is_the_same_sentence_at_the_command_and_on_the_board(shop, demo_folder, capsys):
    words = ["worth", "--stage", "joints", "--characteristic", "leak", "--see", "1.5", "--within", "5"]
    assert main([*words, "--limit", "3", "--workshop", str(demo_folder), "--json"]) == 0
    plain = json.loads(capsys.readouterr().out)
    said = plain["asked"][0]
    board = WeighedOnce().asked(shop, SeriesKey("joints", "leak", "all"), "1,5", "5", "3")
    assert said["sentence"] == board
    assert said["see"]["within"] == 5 and said["limit"]["side"] == "upper" and said["limit"]["of"] == 100
    assert plain["series"] == []


@pytest.mark.parametrize(
    "typed, answer",
    [
        pytest.param(("", "", ""), "", id="nothing"),
        pytest.param(("1", "", ""), "type both", id="half a question"),
        pytest.param(("one", "5", ""), "“one” is no number; type it like 1.5.", id="no number"),
        pytest.param(("1", "2.5", ""), "a whole number is needed", id="half a piece"),
        pytest.param(("1", "400", ""), "between 1 and 60 pieces", id="too many pieces"),
        pytest.param(("-1", "5", ""), "above 0", id="no change"),
    ],
)
def test_the_board_says_what_cannot_be_asked(shop, typed, answer):
    said = WeighedOnce().asked(shop, SeriesKey("joints", "leak", "all"), *typed)
    assert answer in said and (said == "") == (answer == "")


@pytest.mark.parametrize(
    "asked, problem",
    [
        pytest.param({"stage": "slid"}, "Did you mean slide?", id="stage"),
        pytest.param(
            {"stage": "slide", "characteristic": "wall"}, "charts no characteristic 'wall'", id="figure"
        ),
        pytest.param({"see": 1.0}, "--within", id="see alone"),
        pytest.param({"see": 1.0, "within": 5}, "--characteristic", id="no figure"),
        pytest.param({"characteristic": "leak", "limit": float("nan")}, "number", id="no limit"),
    ],
)
def test_a_question_that_lacks_something_is_wrong_usage(shop, asked, problem):
    with pytest.raises(UsageError, match=problem):
        worth_of_readings(shop, judge=False, **asked)


def test_what_wears_says_why_there_is_no_answer(shop):
    found = worth_of_readings(shop, characteristic="tube_od", family="tenor", see=1.0, within=5, judge=False)
    assert "qc wear" in found.asked[0].sentence and found.asked[0].see is None


def test_a_workshop_without_readings_is_answered(tmp_path, capsys):
    assert main(["new", str(tmp_path / "new")]) == 0
    capsys.readouterr()
    assert main(["worth", "--workshop", str(tmp_path / "new")]) == 0
    said = capsys.readouterr().out
    assert "Nothing is charted yet." in said
    assert main(["worth", "--workshop", str(tmp_path / "new"), "--stage", "lacquer", "--characteristic"]) == 2


def test_a_bench_time_of_nothing_is_refused_in_the_plan():
    text = template_text().replace("resolution: 0.1\n", "resolution: 0.1\n        reading_seconds: 30\n", 1)
    assert load_plan(text).characteristic("lacquer", "thickness").reading_seconds == 30
    with pytest.raises(ValueError):
        Characteristic(id="a", name="A", unit="mm", reading_seconds=0)
