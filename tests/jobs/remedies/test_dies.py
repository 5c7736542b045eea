"""Dies of a workshop: told by the series that is judged, on the day asked about, alike on every face."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from qc.jobs.remedies import wear_of
from qc.jobs.remedies.errors import RemedyUsageError
from qc.jobs.status import status
from qc.jobs.upload import upload
from qc.jobs.workshop import open_workshop
from qc.plan import template_text

FIRST = date(2026, 3, 2)
LIMITS = "          - {target: 14.600, lower: 14.590, upper: 14.612}\n        pool: all\n"
TWO_TARGETS = """\
          - {models: [tenor], target: 14.600, lower: 14.590, upper: 14.612}
          - {models: [tenor-f], target: 15.100, lower: 15.090, upper: 15.112}
        models: [tenor, tenor-f]
"""


def log(seed, days, *, begin=0, die="D-14A", slope=2e-5):
    """Return a drawing log: a tube of each of two models a day on one die, five draws apart."""
    rng = np.random.default_rng(seed)
    rows = []
    for day in range(begin, begin + days):
        for model, target, part in (("tenor", 14.6, 0), ("tenor-f", 15.1, 5)):
            draws = 10 * day + part
            od = target + slope * draws + 5e-4 * rng.standard_normal()
            when = (FIRST + timedelta(days=day)).isoformat()
            rows.append(f"T{day:03}{model[-1].upper()};{model};{when};{die};{draws};{od:.4f}\n")
    return "Card;Drawing log\nPerson;B1\n\nSerial;Model;Date;Die;Draws;Outside diameter [mm]\n" + "".join(
        rows
    )


@pytest.fixture
def shop(tmp_path):
    text = template_text()
    assert LIMITS in text
    (tmp_path / "plan.yaml").write_text(text.replace(LIMITS, TWO_TARGETS), "utf-8")
    workshop = open_workshop(tmp_path, as_of=FIRST + timedelta(days=29))
    upload(workshop, [("log.csv", log(1501, 30).encode())])
    yield workshop
    workshop.store.close()


def at(shop, day):
    """Stand on a day of the workshop."""
    return open_workshop(shop.folder, as_of=FIRST + timedelta(days=day))


def told_by_status(shop):
    (series,) = [one for one in status(shop).series if one.key.characteristic == "od"]
    return series


def test_two_models_on_one_die_are_one_line_of_what_each_is_off_its_own_target(shop):
    """The slope is the one the log was made with: raw diameters of both models have none that is proven."""
    (die,) = wear_of(shop).tools
    low, high = die.line.slope_interval
    assert die.n == 60 and low < 2e-5 < high and die.line.proven
    assert die.line.limit == pytest.approx(0.012)
    verdict = told_by_status(shop)
    assert verdict.centered and verdict.forecast.change_by_count == die.line.change_by_count
    assert die.change_by_date == verdict.forecast.change_by_day is not None
    assert "off its own model's target" in wear_of(shop).to_text()


def test_a_past_day_is_answered_by_what_was_drawn_until_then(shop, command):
    then = at(shop, 19)
    (die,) = wear_of(then).tools
    assert (die.n, die.line.last_count) == (40, 195)
    verdict = told_by_status(then)
    assert verdict.forecast.change_by_count == die.line.change_by_count
    assert verdict.forecast.change_by_day == die.change_by_date
    words = ("wear", "--workshop", shop.folder, "--as-of", then.today)
    assert f"draw {die.line.change_by_count}" in command(*words).stdout
    then.store.close()


def test_the_day_moves_only_when_something_was_drawn(shop):
    """Evening after evening without a draw the day stays; a draw moves it, and the new pace is said."""
    (die,) = wear_of(shop).tools
    told = {told_by_status(shop).forecast.sentence}
    for later in (30, 34, 40):
        evening = at(shop, later)
        # a card of another die of the shop, so that the series is judged anew that evening
        (same,) = [one for one in wear_of(evening).tools if one.tool == "D-14A"]
        assert same.change_by_date == die.change_by_date
        told.add(told_by_status(evening).forecast.sentence)
        evening.store.close()
    assert len(told) == 1 and "at 70 draws a week" in told.pop()
    evening = at(shop, 43)
    upload(evening, [("log-2.csv", log(1502, 1, begin=43).encode())])
    (moved,) = wear_of(evening).tools
    sentence = told_by_status(evening).forecast.sentence
    assert moved.change_by_date != die.change_by_date and moved.n == 62
    assert "at 70 draws a week" in sentence  # 430 draws in 43 days
    evening.store.close()


def test_a_day_that_passed_without_draws_is_no_overdue_change_and_every_face_says_so(shop, command):
    (die,) = wear_of(shop).tools
    late = open_workshop(shop.folder, as_of=die.change_by_date + timedelta(days=3))
    left = int(die.line.change_by_count - die.line.last_count)
    said = f"That day has passed with {left} draws left: nothing was drawn on it since Tue 31 Mar."
    (die,) = wear_of(late).tools
    assert said in die.warnings
    assert said in status(late).to_text()
    assert said in status(late).to_dict()["series"][0]["forecast"]
    assert said in command("wear", "--workshop", shop.folder, "--as-of", late.today).stdout
    late.store.close()


def test_limits_of_one_figure_are_refused_for_a_die_of_two_targets(shop):
    with pytest.raises(RemedyUsageError, match=r"D-14A makes pieces of different targets \(tenor, tenor-f\)"):
        wear_of(shop, upper=14.612)
