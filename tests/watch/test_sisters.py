from datetime import date, timedelta

import pytest

from qc.plan import Card, Characteristic
from qc.watch import Point, lots_of, lots_told_by, members_of, period_of, pool_of

FIRST = date(2026, 1, 20)


def made(n, **words):
    """Pieces a day apart; each word is one for all or a list."""
    each = {name: word if isinstance(word, list) else [word] * n for name, word in words.items()}
    return [
        Point(
            i + 1,
            f"A-{i}",
            FIRST + timedelta(days=i),
            "tenor",
            1.0,
            1.0,
            **{k: v[i] for k, v in each.items()},
        )
        for i in range(n)
    ]


@pytest.mark.parametrize(
    ("day", "begins"),
    [
        pytest.param(date(2026, 1, 20), date(2026, 1, 19), id="the Monday before the first piece"),
        pytest.param(date(2026, 2, 28), date(2026, 2, 23), id="a week in the second month"),
        pytest.param(date(2026, 3, 1), date(2026, 3, 1), id="the third month is one period"),
        pytest.param(date(2027, 1, 31), date(2027, 1, 1), id="a month, a year on"),
        pytest.param(date(2025, 12, 30), date(2025, 12, 29), id="late, before the first: a week"),
    ],
)
def test_periods_are_weeks_for_two_months_then_months(day, begins):
    assert period_of(day, FIRST) == begins


def test_every_day_lies_in_one_period_and_periods_do_not_overlap():
    days = [FIRST + timedelta(days=i) for i in range(200)]
    begins = [period_of(day, FIRST) for day in days]
    assert begins == sorted(begins)
    assert all(begin <= day for begin, day in zip(begins, days, strict=True))


def test_like_is_pooled_with_like(small_plan):
    plain = {"id": "x", "name": "X"}
    thick = Characteristic(**plain, unit="um", places={"area": ("flare", "stem")})
    same = Characteristic(id="y", name="Y", unit="um", places={"leg": ("upper", "lower")})
    pool = pool_of(small_plan, thick)
    assert pool == pool_of(small_plan, same) and pool.places == 2
    for other in (
        Characteristic(**plain, unit="mm", places={"area": ("flare", "stem")}),
        Characteristic(**plain, unit="um"),
        Characteristic(**plain, unit="um", derive={"what": "clearance"}),
    ):
        assert pool_of(small_plan, other) != pool
    stage = small_plan.stages[0]
    card = Card(id="c", title="C", source="lacquer", stage=stage.id, characteristics=("x",))
    with_it = stage.model_copy(update={"characteristics": (*stage.characteristics, thick)})
    coated = small_plan.model_copy(update={"cards": (card,), "stages": (with_it, *small_plan.stages[1:])})
    assert pool_of(coated, thick) != pool


@pytest.mark.parametrize("more", [{"kind": "count"}, {"kind": "pass-fail"}, {"wears_with": "die"}])
def test_what_scatters_about_no_one_level_takes_no_part(small_plan, more):
    assert pool_of(small_plan, Characteristic(id="x", name="X", unit="mm", **more)) is None


def test_members_are_the_series_of_all_stages_and_families(small_plan):
    clearance = small_plan.characteristic("slide", "clearance")
    own = members_of(small_plan, pool_of(small_plan, clearance))
    assert [(stage.id, figure.id, family) for stage, figure, family in own] == [("slide", "clearance", "all")]


BATCHES = [f"B-{i // 3}" for i in range(12)]
TOOLS = [f"T-{i // 4}" for i in range(12)]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        pytest.param({"batch": BATCHES, "tool": TOOLS}, "batch", id="the batch first"),
        pytest.param({"tool": TOOLS}, "tool", id="else the tool"),
        pytest.param({"batch": "B-1", "tool": TOOLS}, "tool", id="one batch tells nothing apart"),
        pytest.param({"batch": [f"B-{i}" for i in range(12)]}, "", id="a batch a piece"),
        pytest.param({"batch": BATCHES[:6] + [""] * 6}, "", id="half recorded"),
        pytest.param({"batch": BATCHES[:9] + [""] * 3}, "batch", id="three quarters recorded"),
        pytest.param({"tool": "T-1", "tool_count": [1, 2, 3, 4] * 3}, "tool", id="the count starts again"),
        pytest.param({}, "", id="nothing recorded"),
    ],
)
def test_the_word_that_tells_the_lots(words, told):
    assert lots_told_by(made(12, **words), {}) == told


def test_no_pieces_tell_no_lots():
    assert lots_told_by([], {}) == ""


def test_a_tool_fitted_anew_begins_a_lot():
    points = made(6, tool=["T-1", "T-1", "", "T-2", "T-1", "T-1"])
    again = {"T-1": [FIRST + timedelta(days=5)]}
    assert lots_of(points, "tool", {}) == ("T-1", "T-1", None, "T-2", "T-1", "T-1")
    assert lots_of(points, "tool", again) == ("T-1", "T-1", None, "T-2", "T-1", "T-1 (2)")
    assert lots_of(points, "", again) == (None,) * 6
