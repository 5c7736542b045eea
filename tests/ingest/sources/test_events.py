from datetime import date

import pytest

from qc.ingest import SheetError


def events(unfolded, title, headings, *rows, head=()):
    return unfolded(
        [["Card", title], *head, [], list(headings), *[list(row) for row in rows]]
    ).events.to_dicts()


def test_parts(unfolded):
    (row,) = events(
        unfolded,
        "Assembly card",
        ["Date", "Serial", "Part", "Role", "Batch", "Tool"],
        ["2026-05-12", "TH-1", "T-0001", "Outer upper", "AN-1", "D-1"],
    )
    assert (row["kind"], row["serial"], row["subject"], row["code"]) == (
        "part",
        "TH-1",
        "T-0001",
        "outer-upper",
    )
    assert (row["batch"], row["tool"], row["day"]) == ("AN-1", "D-1", date(2026, 5, 12))


def test_a_shipping_date_is_the_day_of_the_event(unfolded):
    (row,) = events(
        unfolded,
        "Shipping list",
        ["Serial", "Model", "Shipped", "Person"],
        ["TH-1", "tenor", "14.05.2026", "AB"],
    )
    assert (row["kind"], row["day"], row["text"]) == ("shipped", date(2026, 5, 14), "14.05.2026")


def test_a_yes_under_shipped_leaves_the_date_of_the_row(unfolded):
    (row,) = events(unfolded, "Shipping list", ["Date", "Serial", "Shipped"], ["2026-05-14", "TH-1", "yes"])
    assert row["day"] == date(2026, 5, 14)


def test_returns_rework_and_causes(unfolded):
    (row,) = events(
        unfolded, "Returns list", ["Serial", "Returned", "Cause"], ["TH-1", "2026-05-14", "Transport"]
    )
    assert (row["kind"], row["code"]) == ("returned", "transport")
    (row,) = events(
        unfolded,
        "Rework list",
        ["Date", "Serial", "Stage", "Hours", "Cause"],
        ["2026-05-14", "TH-1", "Joints", "1,5", "joint gap"],
    )
    assert (row["value"], row["unit"], row["stage"], row["code"]) == (1.5, "h", "joints", "joint-gap")


def test_minutes_are_turned_into_hours(unfolded):
    (row,) = events(
        unfolded,
        "Rework list",
        ["Date", "Serial", "Hours [min]", "Cause"],
        ["2026-05-14", "TH-1", "90", "dent"],
    )
    assert row["value"] == 1.5


@pytest.mark.parametrize(
    ("typed", "code"), [("pass", "pass"), ("OK", "pass"), ("Rework", "rework"), ("failed", "reject")]
)
def test_a_play_test_is_an_event_and_a_reading(unfolded, typed, code):
    sheet = unfolded(
        [["Card", "Play-test list"], [], ["Date", "Serial", "Verdict"], ["2026-05-14", "TH-1", typed]]
    )
    assert sheet.rows == 2
    assert sheet.events["code"].to_list() == [code]
    assert sheet.readings["value"].to_list() == [0.0 if code == "pass" else 1.0]


@pytest.mark.parametrize(
    ("typed", "code"), [("yes", "zeroed"), ("x", "zeroed"), ("no", "as-found"), ("", "as-found")]
)
def test_gauge_checks(unfolded, typed, code):
    (row,) = events(
        unfolded,
        "Gauge checks",
        ["Date", "Gauge", "Deviation", "Zeroed"],
        ["2026-05-14", "bg-1", "-0.002", typed],
    )
    assert (row["subject"], row["value"], row["unit"], row["code"]) == ("BG-1", -0.002, "mm", code)


def test_a_deviation_in_um_is_kept_in_the_gauges_unit(unfolded):
    (row,) = events(
        unfolded,
        "Gauge checks",
        ["Date", "Gauge", "Deviation [um]", "Zeroed"],
        ["2026-05-14", "BG-1", "2", "yes"],
    )
    assert row["value"] == 0.002


def test_tools_fitted_and_days_without_a_card(unfolded):
    (row,) = events(unfolded, "Tools fitted", ["Date", "Tool", "Class"], ["2026-05-14", "D-1", "die"])
    assert (row["kind"], row["subject"], row["code"]) == ("tool-fitted", "D-1", "die")
    (row,) = events(
        unfolded, "Days without a card", ["Date", "Stage", "Note"], ["2026-05-14", "Lacquer", "booth cleaned"]
    )
    assert (row["kind"], row["stage"], row["note"]) == ("no-card", "lacquer", "booth cleaned")


@pytest.mark.parametrize(
    ("title", "headings", "row", "reason"),
    [
        ("Play-test list", ["Date", "Serial", "Verdict"], ["2026-05-14", "TH-1", "perhaps"], "unknown-code"),
        ("Returns list", ["Serial", "Returned", "Cause"], ["TH-1", "2026-05-14", "boredom"], "unknown-code"),
        (
            "Rework list",
            ["Date", "Serial", "Stage", "Hours", "Cause"],
            ["2026-05-14", "TH-1", "cellar", "1", "dent"],
            "unknown-code",
        ),
        (
            "Rework list",
            ["Date", "Serial", "Stage", "Hours", "Cause"],
            ["2026-05-14", "TH-1", "joints", "-1", "dent"],
            "out-of-range",
        ),
        (
            "Rework list",
            ["Date", "Serial", "Stage", "Hours", "Cause"],
            ["2026-05-14", "TH-1", "joints", "long", "dent"],
            "not-a-number",
        ),
        (
            "Rework list",
            ["Date", "Serial", "Stage", "Hours", "Cause"],
            ["2026-05-14", "TH-1", "joints", "", "dent"],
            "missing-value",
        ),
        (
            "Gauge checks",
            ["Date", "Gauge", "Deviation", "Zeroed"],
            ["2026-05-14", "BG-7", "0.001", "yes"],
            "unknown-gauge",
        ),
        (
            "Gauge checks",
            ["Date", "Gauge", "Deviation", "Zeroed"],
            ["2026-05-14", "BG-1", "0.001", "perhaps"],
            "not-a-number",
        ),
        ("Tools fitted", ["Date", "Tool", "Class"], ["2026-05-14", "D-7", "die"], "unknown-tool"),
        (
            "Assembly card",
            ["Date", "Serial", "Part", "Role"],
            ["2026-05-14", "TH-1", "", "bell"],
            "missing-serial",
        ),
        (
            "Assembly card",
            ["Date", "Serial", "Part", "Role"],
            ["2026-05-14", "", "B-1", "bell"],
            "missing-serial",
        ),
        ("Shipping list", ["Serial", "Model", "Shipped"], ["TH-1", "tuba", "2026-05-14"], "unknown-model"),
        ("Shipping list", ["Serial", "Model", "Shipped"], ["TH-1", "tenor", "2027-05-14"], "future-date"),
        ("Shipping list", ["Serial", "Model", "Shipped"], ["TH-1", "tenor", "soon"], "no-date"),
    ],
)
def test_events_that_cannot_be_true_are_held(judge, title, headings, row, reason):
    checked = judge([["Card", title], [], headings, row])
    assert reason in checked.reasons()
    assert checked.events.height == 0
    assert checked.rows == len(checked.held) + len(checked.readings)


def test_what_an_event_card_must_say(unfolded):
    with pytest.raises(SheetError, match="does not say Role"):
        events(unfolded, "Assembly card", ["Date", "Serial", "Part"], ["2026-05-14", "TH-1", "B-1"])
