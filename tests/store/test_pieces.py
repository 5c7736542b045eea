"""What is asked about pieces in bulk, of both databases: news, first days, figures that stand."""

from datetime import timedelta

import polars as pl
import pytest
from sqlalchemy import event


@pytest.fixture
def wide(store, make):
    """Twelve readings of two pieces, the second measured a day later; one part and one check."""
    readings = make.readings(12).with_columns(
        day=pl.when(pl.col("serial") == "TB-0001").then(make.day + timedelta(days=1)).otherwise(make.day)
    )
    events = pl.concat(
        [
            make.events(kind="part", serial="TB-0000", subject="X-1"),
            make.events(kind="gauge-check", subject="G"),
        ],
        how="diagonal_relaxed",
    )
    store.add_sheets([make.sheet("a.csv", readings=readings, events=events)], who="AB", when=make.when)
    return store


def test_news_are_told_once(wide, make):
    news = wide.news()
    assert sorted(set(news.readings["serial"])) == ["TB-0000", "TB-0001"]
    assert sorted(news.events["kind"]) == ["gauge-check", "part"]
    again = wide.news(news.mark)
    assert again.readings.is_empty() and again.events.is_empty() and again.mark == news.mark


def test_news_name_the_day_of_what_was_replaced(wide, make):
    mark = wide.news().mark
    old = wide.readings(serials=["TB-0000"])
    row = old[:1].drop("id").with_columns(day=pl.lit(make.day + timedelta(days=5)), value=pl.lit(14.0))
    wide.replace_reading(old["id"][0], row, who="AB", when=make.when, why="typed wrong")
    assert set(wide.news(mark).readings["day"]) == {make.day, make.day + timedelta(days=5)}


def test_serials_measured_before_a_day(wide, make):
    both = ["TB-0000", "TB-0001"]
    later = make.day + timedelta(days=1)
    assert wide.serials_before("slide", ["inner_od"], both, later) == {"TB-0000"}
    assert wide.serials_before("slide", ["outer_bore"], both, later) == set()
    assert wide.serials_before("slide", ["inner_od"], [], later) == set()


def test_figures_of_some_pieces_are_found_by_their_serials(wide, make):
    """Else an upload walks all cards of a stage: twice as dear in a store of a million readings."""
    last = make.day + timedelta(days=40)
    every = wide.figures("slide", ["inner_od"], until=last)
    asked = []
    event.listen(wide._database.engine, "before_cursor_execute", lambda *a: asked.append((a[2], a[3])))
    some = wide.figures("slide", ["inner_od"], until=last, serials=["TB-0000"])
    assert some.rows() == every.filter(pl.col("serial") == "TB-0000").rows() != []
    if wide.on_server:  # of a few rows a server reads them all, whatever is asked
        return
    with wide._database.reading() as conn:
        for statement, values in [one for one in asked if "origin.day" in one[0]]:
            plan = conn.exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", values).all()
            assert any("origin_serial" in row[3] for row in plan), plan


def test_figures_are_those_of_the_readings_that_stand(wide, make):
    """Against the readings themselves, one of them put right and one taken back."""
    last = make.day + timedelta(days=40)
    old = wide.readings(serials=["TB-0000"])
    row = old[:1].drop("id").with_columns(value=pl.lit(14.25))
    wide.replace_reading(old["id"][0], row, who="AB", when=make.when, why="typed wrong")
    wide.withdraw_reading(old["id"][1], who="AB", when=make.when, why="wrong tube")
    found = wide.figures("slide", ["inner_od"], until=last)
    names = ["id", "serial", "day", "leg", "station", "value"]
    expected = wide.readings(stage="slide", characteristics=["inner_od"]).sort("id").select(names)
    assert found.select(names).rows() == expected.rows() and found.height == 11
    assert 14.25 in found["value"].to_list() and old["id"][1] not in found["id"].to_list()
    early = wide.figures("slide", ["inner_od"], until=make.day)
    assert set(early["serial"]) == {"TB-0000"} and early.height == 5
    for one in wide.figures("slide", ["inner_od"], until=last, serials=["TB-0001"])["id"]:
        wide.withdraw_reading(one, who="AB", when=make.when, why="another tube")
    models = [*{*wide.readings()["model"].to_list()}, None]
    assert wide.first_days("slide", ["inner_od"], models, until=last)["serial"].to_list() == ["TB-0000"]


def test_first_days_are_counted_by_the_database(wide, make):
    both = [*{*wide.readings()["model"].to_list()}, None]
    rows = wide.readings(stage="slide", characteristics=["inner_od"])
    named = rows.filter(pl.col("serial").is_not_null())
    expected = named.group_by("serial").agg(pl.col("day").min()).sort("day", "serial")
    last = make.day + timedelta(days=40)
    assert wide.first_days("slide", ["inner_od"], both, until=last).rows() == expected.rows() != []
    assert wide.first_days("slide", ["inner_od"], ["no such model"], until=last).is_empty()
    assert wide.first_days("slide", ["inner_od"], both, until=make.day - timedelta(days=40)).is_empty()


def test_serials_measured_with_a_gauge(wide, make):
    assert wide.serials_on("MIC-1", make.day) == {"TB-0000"}
    assert wide.serials_on("MIC-2", make.day) == set()


def test_what_was_recorded_around(wide, make):
    found = wide.around(["TB-0000", "TB-0001"], until=make.day)
    assert set(found["serial"]) == {"TB-0000"}
    assert set(found["gauge"]) == {"MIC-1"} and set(found["person"]) == {"AB"}


def test_means_are_those_of_the_readings_that_stand(wide, make):
    old = wide.readings(serials=["TB-0000"])
    row = old[:1].drop("id").with_columns(value=pl.lit(15.0))
    wide.replace_reading(old["id"][0], row, who="AB", when=make.when, why="typed wrong")
    (found,) = wide.means(["TB-0000"], until=make.day).to_dicts()
    assert found["mean"] == pytest.approx((old["value"].sum() - old["value"][0] + 15.0) / 6)


def test_recent_pieces(wide):
    assert sorted(wide.recent_pieces(100).rows()) == [("TB-0000", "tenor"), ("TB-0001", "tenor")]
    assert wide.recent_pieces(1)["serial"].to_list() == ["TB-0001"]
