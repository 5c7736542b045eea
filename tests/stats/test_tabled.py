"""Results as frames and as the plain tables of a notebook."""

from dataclasses import dataclass
from html.parser import HTMLParser

import numpy as np
import polars as pl
import pytest

from qc.stats import (
    Setting,
    StudyQuestion,
    Tabled,
    capability,
    cusum,
    estimated_limits,
    factors,
    frame_of,
    gauge_study,
    individuals,
    linearity,
    mean_sd,
    shewhart_run_length,
    study_checks,
    study_frame,
)
from qc.stats.tabled import SHOWN_ROWS

FLOW = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]


class Cells(HTMLParser):
    """Read the rows of a table back."""

    def __init__(self, page):
        super().__init__()
        self.rows, self.tags = [], []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, attrs))
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th"):
            self.rows[-1].append("")

    def handle_data(self, data):
        if self.rows and self.rows[-1]:
            self.rows[-1][-1] += data


@dataclass(frozen=True, slots=True)
class Found(Tabled):
    ROWS = "rows"
    rows: tuple
    said: str = "1 < 2 & so on\nmore"

    def to_dict(self):
        return {"rows": list(self.rows)}

    def to_text(self):
        return self.said


def test_mappings_within_a_row_become_joined_names_and_gaps_stay_gaps():
    frame = frame_of([{"a": 1, "b": {"c": 2.0, "d": {"e": "x"}}}, {"a": None, "f": [1.0, 2.0]}])
    assert frame.columns == ["a", "b_c", "b_d_e", "f"]
    assert frame.rows() == [(1, 2.0, "x", None), (None, None, None, [1.0, 2.0])]


def test_whole_and_broken_numbers_share_a_column():
    assert frame_of([{"a": 1}, {"a": 2.5}])["a"].to_list() == [1.0, 2.5]


def test_no_rows_give_an_empty_frame_and_an_empty_table():
    assert frame_of([]).shape == (0, 0)
    assert Cells(Found(())._repr_html_()).rows == [[]]


def test_what_a_notebook_shows_is_escaped_and_plain():
    page = Found(({"name": "<b>", "x": 1 / 3, "both": [1.0, None]},))._repr_html_()
    shown = Cells(page)
    assert shown.rows == [["name", "x", "both"], ["<b>", "0.333333", "1, "]]
    assert page.startswith("<p>1 &lt; 2 &amp; so on</p><table>")
    assert {tag for tag, _ in shown.tags} <= {"p", "table", "thead", "tbody", "tr", "th", "td"}
    assert all(not attrs for _, attrs in shown.tags)


def test_a_long_table_is_cut_and_says_so():
    long = Found(tuple({"n": n} for n in range(SHOWN_ROWS + 5)))
    assert long.to_frame().height == SHOWN_ROWS + 5
    page = long._repr_html_()
    assert len(Cells(page).rows) == SHOWN_ROWS + 1
    assert page.endswith("<p>and 5 more rows: to_frame() holds all</p>")


def test_a_chart_is_a_row_a_point():
    chart = individuals([*FLOW, 70.0], Setting(center=50.0, sigma=2.0))
    frame = chart.to_frame()
    assert frame.columns == ["point", "value", "center", "lower", "upper", "signal"]
    assert frame["value"].to_list() == [*FLOW, 70.0]
    assert set(frame["lower"]) == {44.0} and set(frame["upper"]) == {56.0}
    assert frame.filter("signal")["point"].to_list() == [s.point for s in chart.signals]


def test_limits_that_vary_and_two_sums_have_columns_of_their_own():
    sized = mean_sd([1.0, 2.0, 3.0, 2.0, 4.0, 3.0, 5.0], ["a", "a", "b", "b", "b", "c", "c"])
    assert sized.to_frame()["upper"].to_list() == pytest.approx(list(sized.uppers))
    assert cusum(FLOW).to_frame().columns[:3] == ["point", "high", "low"]


def test_a_study_and_its_checks():
    frame = pl.DataFrame({"value": [*FLOW, *FLOW]})
    answer = study_frame(frame, StudyQuestion("individuals"))[""]
    assert answer.to_frame().equals(answer.chart.to_frame())
    checks = study_checks(frame, StudyQuestion("individuals"))[""]
    table = checks.to_frame()
    assert table["check"].to_list() == [check.name for check in checks.checks]
    assert table.row(by_predicate=pl.col("check") == "runs", named=True)["p_value"] == checks["runs"].p_value


def test_a_gauge_study_is_a_row_a_component():
    rng = np.random.default_rng(4)
    parts, persons = np.repeat(np.arange(6), 4), np.tile(["x", "x", "y", "y"], 6)
    found = gauge_study(rng.normal(0, 0.2, 24) + parts, parts, persons)
    table = {row["component"]: row for row in found.to_frame().to_dicts()}
    assert list(table) == list(found.components)
    for name, row in table.items():
        assert row["variance"] == found.components[name] and row["sd"] == found.sd[name]
        assert (row["low"], row["high"]) == found.intervals.get(name, (None, None))
    assert table["gauge"]["share_of_variance"] + table["part"]["share_of_variance"] == pytest.approx(1)


def test_single_results_are_one_row_and_a_table_of_figures():
    found = capability([float(x) for x in range(30)], lower=-5, upper=40)
    assert found.to_frame().height == 1
    assert found.to_frame()["intervals_ppk"].to_list() == [list(found.ppk_interval)]
    shown = dict(Cells(found._repr_html_()).rows)
    assert shown["figure"] == "value" and shown["ppk"] == f"{found.ppk:.6g}" and shown["reason"] == ""


@pytest.mark.parametrize(
    ("found", "column", "value"),
    [
        (factors(5), "E2", factors(5).E2),
        (shewhart_run_length(), "mean", shewhart_run_length().mean),
        (estimated_limits(30), "signal_rate", estimated_limits(30).signal_rate),
        (linearity([10.1, 10.1, 20.3, 20.2], [10, 10, 20, 20]), "reference", 10.0),
    ],
    ids=["factors", "run length", "estimated limits", "linearity"],
)
def test_other_results(found, column, value):
    assert found.to_frame()[column][0] == value
    assert "<table>" in found._repr_html_()
