"""The page of rework: what it says of a month, and how its figures add up."""

from datetime import date

import pytest
from scipy import stats

from dashboard.figures import draw_pareto
from dashboard.pages import rework
from qc.watch import ReworkCause


@pytest.fixture
def said(in_app, texts):
    """Return a function that gives the words of the page for an address."""
    return lambda stretch="": texts(rework.layout(stretch))


def test_a_month_is_told_in_words(said):
    page = said("2026-10")
    assert "6.00 h from 2 causes, 75 % of them bent slide (3 pieces). They cost 300 EUR." in page
    assert "no cause given" in page and "20 of 21" in page
    assert "Too few pieces to tell a good stage from a poor one: Lacquer." in page
    # 20 of 21 and 6 of 6: the interval is that of 5.71 of 6 (scipy's beta distribution)
    low = stats.beta.ppf(0.025, 6 * 20 / 21, 2 / 7 + 1)
    assert f"95 % ({100 * low:.0f} to 99.9 %) go through all 2 stages" in page


def test_the_pieces_that_did_not_pass_are_named(said):
    page = said("all")
    assert "Slide: 1 piece did not pass at the first go" in page
    assert "TQ-0410" in page and "reworked: bent slide" in page


def test_what_goes_with_a_result_or_that_pieces_are_too_few(said):
    page = said()
    assert "Failures: more where the running force is higher" in page
    assert "Too few pieces: 9 pieces with this result" in page
    assert "November 2026 so far" in page


@pytest.mark.parametrize("stretch", ["2027-01", "2026-13", "soon", "2026-1"])
def test_a_month_that_is_none_is_said(said, stretch):
    assert f"'{stretch}' is no month that has begun" in said(stretch)


def test_february_ends_where_it_ends():
    assert rework._days("2028-02", date(2028, 5, 1)) == (date(2028, 2, 1), date(2028, 2, 29))
    assert rework._days("", date(2028, 5, 3)) == (date(2028, 5, 1), date(2028, 5, 3))


def test_the_line_of_the_chart_ends_at_all_hours():
    hours, share = [3.0, 2.0, 2.0], [3 / 7, 2 / 7, 2 / 7]
    causes = [ReworkCause(f"c{n}", hours[n], 1, share[n], sum(share[: n + 1])) for n in range(3)]
    bars, line = draw_pareto(causes)["data"]
    assert bars["x"] == hours and line["x"] == [43, 72, 100]
    assert draw_pareto(()) is None
    assert draw_pareto(causes)["layout"]["yaxis"]["ticktext"][0] == "c0, 3.00 h"
