"""The scoring counts right: on verdicts made up with known answers, and on a short workshop lived through."""

from __future__ import annotations

import json
import math
import sys
from datetime import date, timedelta
from pathlib import Path

import pytest
from scipy import stats

sys.path.insert(0, str(Path(__file__).resolve().parent))

import score  # noqa: E402
from score_figures import Excess, Share, Spread  # noqa: E402
from score_replay import live_through, makers, plain_signal, set_beside  # noqa: E402
from score_tally import tally  # noqa: E402
from score_truth import changes_of, worse_side_ppk  # noqa: E402

from qc.watch import Point, SeriesKey, SeriesVerdict, SignalResult, Suspect  # noqa: E402

FIRST_DAY = date(2025, 3, 1)
RATE = 0.01
SHIFT = {
    "kind": "shift",
    "first_serial": "P31",
    "last_serial": None,
    "size_sd": 1.5,
    "cause": {"kind": "person", "value": "KB", "recorded": True},
}


def day_of(number):
    return FIRST_DAY + timedelta(days=number)


def truth_of(changes=(), *, noise="normal", ppk=1.2):
    named = {
        "stage": "tubes",
        "characteristic": "bore",
        "model": None,
        "noise": noise,
        "sd": 2.0,
        "pieces": 60,
    }
    limits = {"lower": None, "upper": 7.2, "mean": 0.0, "tails": None, "true_ppk": ppk}
    return {**named, **limits, "changes": list(changes)}


def signal(kind, side, raised, start, around, size=(None, None, None), suspects=(), unchanged=(), because=""):
    return SignalResult(
        kind=kind,
        side=side,
        raised=raised,
        raised_serial=f"P{raised}",
        raised_day=day_of(raised),
        start=start,
        start_serial=f"P{start}",
        start_day=day_of(start),
        start_low=around[0],
        start_high=around[1],
        size=size[1],
        size_low=size[0],
        size_high=size[2],
        size_sigma=None,
        unit="mm",
        rate=RATE,
        pieces=1,
        suspects=tuple(Suspect(what, name, "", f"P{n}", day_of(n), "") for what, name, n in suspects),
        unchanged=tuple(unchanged),
        because=because,
    )


def verdict(signals=(), *, pieces=60, behaviour="steady", answer="unproven", ppk=(0.9, 1.1, 1.3)):
    points = tuple(Point(n, f"P{n}", day_of(n), "", 0.0, 0.0) for n in range(1, pieces + 1))
    nothing = dict.fromkeys(
        ("outside_share", "outside_low", "outside_high", "target", "natural_lower", "natural_upper")
    )
    return SeriesVerdict(
        key=SeriesKey("tubes", "bore", "all"),
        stage_name="Tubes",
        name="Bore",
        unit="mm",
        kind="measured",
        pieces=pieces,
        behaviour=behaviour,
        capable=answer,
        ppk_low=ppk[0],
        ppk=ppk[1],
        ppk_high=ppk[2],
        ppk_reason="",
        lower=None,
        upper=7.2,
        present=tuple(range(1, pieces + 1)),
        sd_between=None,
        sd_within=None,
        centered=False,
        points=points,
        stretches=(),
        signals=tuple(signals),
        **nothing,
    )


def told(own, *signals):
    return [{**plain_signal(own, s), "day": "", "retold": again} for s, again in signals]


def counted(*series):
    rows = {"rows": 10, "accepted": 8, "already_known": 0, "held_rows": 2, "meant": 1, "refused": []}
    record = {
        "workshop": "made-up",
        "seed": 1,
        "wanted": 1.0,
        "seconds": {},
        "rows": rows,
        "series": list(series),
    }
    return {(section, what): figure for section, what, figure in tally([record])}


@pytest.fixture
def changed():
    """Told falsely at P10, told rightly at P34, and P20 told later only, when the past was judged again."""
    false = signal("single", "above", 10, 10, (10, 10), suspects=[("tool", "M-7", 9)])
    right = signal(
        "shift",
        "above",
        34,
        32,
        (30, 33),
        (2.0, 2.9, 3.8),
        [("person", "KB", 31), ("gauge", "G1", 42)],
        ["gauge"],
    )
    again = signal("shift", "below", 20, 19, (17, 20))
    climb = signal("trend", "above", 34, 33, (32, 34), suspects=[("gauge", "G1", 42)], unchanged=["person"])
    asked = []

    def look(day):
        asked.append(day)
        # the first 25 pieces, before the change, and the twentieth of the change
        return verdict(pieces=25, ppk=(0.8, 1.0, 1.1)) if day == day_of(25) else verdict([climb], pieces=50)

    end = verdict([again, right], behaviour="drifting")
    own = told(end, (false, False), (right, False), (again, True))
    record = set_beside(truth_of([SHIFT]), end, [RATE] * 60, own, look)
    assert asked == [day_of(50), day_of(25)]
    return record


def test_false_signals_are_counted_before_the_change_on_what_the_budget_allows_there(changed):
    found = counted(changed)
    section = "False signals, as first told, on the budget's"
    expected = pytest.approx(27 * RATE)  # thirty pieces, of which the first three cannot raise anything
    assert found[section, "all"] == Excess(1, expected)
    assert found[section, "normal"] == Excess(1, expected)
    assert found[section, "lots"] == Excess(0, 0)
    assert found[section, "before a first change"] == Excess(1, expected)
    assert found[section, "in series without a change"] == Excess(0, 0)
    assert found[section, "later retellings beside them"] == Excess(1, expected)
    assert found[section, "no longer told at the end"] == Share(1, 1)
    assert found["Suspects, first told", "false signals: something named"] == Share(1, 1)


def test_a_true_change_is_scored_as_it_was_first_told_and_at_each_look(changed):
    found = counted(changed)
    section = "True changes: shift"
    assert found[section, "told at all"] == Share(1, 1)
    assert found[section, "delay [pieces]"] == Spread((3,))
    assert found[section, "start within the set, first told"] == Share(1, 1)
    assert found[section, "told after 20 pieces"] == Share(1, 1)
    assert found[section, "kind right after 20 pieces"] == Share(0, 1)  # told as a climb by then
    assert found[section, "told after 40 pieces"] == Share(0, 0)  # so many were never made
    assert found[section, "size within its interval, first told"] == Share(1, 1)  # 3.0 within 2.0 to 3.8
    assert found["True changes: trend", "told at all"] == Share(0, 0)


def test_suspects_are_right_by_kind_and_by_name(changed):
    found = counted(changed)
    assert found["Suspects, first told", "person: first suspect of the right kind"] == Share(1, 1)
    assert found["Suspects, first told", "person: and by its name"] == Share(1, 1)
    assert found["Suspects, first told", "person: said not to have changed"] == Share(0, 1)
    assert found["Suspects, first told", "days between suspect and true start"] == Spread((0, 11))
    assert found["Suspects, first told", "suspects over a week off"] == Share(1, 2)
    assert found["Suspects, after 20 pieces", "person: first suspect of the right kind"] == Share(0, 1)
    assert found["Suspects, after 20 pieces", "person: said not to have changed"] == Share(1, 1)
    assert found["Suspects, first told", "nothing recorded: something named"] == Share(0, 0)


@pytest.mark.parametrize(
    ("because", "day", "counts"),
    [
        ("Coincides with tool M-7. M-7 and KB began together: the record cannot tell them apart.", 31, 1),
        ("Coincides with tool M-7. M-7 and KB began together: the record cannot tell them apart.", 33, 0),
        ("Coincides with tool M-7.", 31, 0),
    ],
    ids=["said to be tied", "began on another day", "named second"],
)
def test_a_cause_named_in_a_tie_counts_apart(because, day, counts):
    """The cause, KB, stands second; only where both are said to have begun together does it count."""
    suspects = [("tool", "M-7", 31), ("person", "KB", day)]
    both = signal("shift", "above", 34, 32, (30, 33), suspects=suspects, because=because)
    end = verdict([both], behaviour="drifting")
    own = told(end, (both, False))
    found = counted(set_beside(truth_of([SHIFT]), end, [RATE] * 60, own, lambda _: None))
    section = "Suspects, first told"
    assert found[section, "person: by its name, or in a tie that is said"] == Share(counts, 1)
    assert found[section, "person: and by its name"] == Share(0, 1)
    assert found[section, "person: named at any place"] == Share(1, 1)


def test_a_signal_of_the_other_side_or_of_a_stretch_after_the_change_does_not_tell_it():
    change = {**SHIFT, "last_serial": "P38", "cause": {"kind": "none", "value": None, "recorded": False}}
    end = verdict()
    below = signal("shift", "below", 34, 32, (30, 33))
    later = signal("shift", "above", 50, 39, (39, 41))
    record = set_beside(
        truth_of([change]), end, [RATE] * 60, told(end, (below, False), (later, False)), lambda _: None
    )
    found = counted(record)
    assert found["True changes: shift", "told at all"] == Share(0, 1)
    assert found["False signals, as first told, on the budget's", "all"].told == 0
    assert found["Suspects, first told", "nothing recorded: something named"] == Share(0, 0)


def test_limits_are_asked_of_what_is_settled_and_of_both_ways_to_tell_the_true_index(changed):
    found = counted(changed)
    assert found["Limits: under 40 pieces", "an interval is given"] == Share(1, 1)
    assert found["Limits: all", "it covers the true Ppk (whole share)"] == Share(0, 1)  # 1.2 in 0.8 to 1.1
    steady = set_beside(truth_of(ppk=0.95), verdict(), [RATE] * 60, [], lambda _: verdict(answer="proven"))
    found = counted(steady)
    assert found["Limits: 40 pieces and more", "it covers the true Ppk (whole share)"] == Share(2, 2)
    assert found["Limits: all", "proven although below what is wanted"] == Share(2, 2)
    assert found["Limits: all", "proven where truly 1.67 or more"] == Share(0, 0)


def test_untouched_series_that_drift_and_rows_that_were_not_meant_to_be_held_are_counted():
    moved = set_beside(truth_of(noise="lots"), verdict(behaviour="drifting"), [RATE] * 60, [], lambda _: None)
    still = set_beside(truth_of(noise="t5"), verdict(), [RATE] * 60, [], lambda _: None)
    found = counted(moved, still)
    assert found["Untouched series that drift at the end", "all"] == Share(1, 2)
    assert found["Untouched series that drift at the end", "lots"] == Share(1, 1)
    assert found["Rows", "held, not meant to be"] == Share(1, 10)
    assert counted(set_beside(truth_of(), None, [], [], lambda _: None))[
        "Rows", "series charted, of all true ones"
    ] == Share(0, 1)


def test_the_pieces_of_a_change_are_those_listed_else_all_from_first_to_last():
    serials = [f"P{n}" for n in range(1, 61)]
    listed = {**SHIFT, "touched": ["P31", "P33", "P35", "P36"]}
    gone = {**SHIFT, "first_serial": "P99"}
    (one, two), lost = changes_of(truth_of([listed, {**SHIFT, "last_serial": "P40"}, gone]), serials)
    assert (one.first, one.last, one.share) == (31, 36, round(4 / 6, 3))
    assert (two.first, two.last, two.share) == (31, 40, 1.0)
    assert lost == 1


def test_the_worse_side_of_a_normal_figure_is_its_nearer_limit_in_thirds_of_its_spread():
    lower, upper, mean, sd = -6.0, 5.0, 0.5, 2.0
    share = stats.norm.cdf(lower, mean, sd) + stats.norm.sf(upper, mean, sd)
    truth = {"lower": lower, "upper": upper, "mean": mean, "sd": sd, "tails": None}
    found = worse_side_ppk({**truth, "true_ppk": -stats.norm.ppf(share) / 3})
    assert found == pytest.approx((upper - mean) / sd / 3, abs=1e-4)
    told_there = worse_side_ppk({**truth, "true_ppk": 0.6, "true_ppk_worse_side": 0.7})
    assert told_there == 0.7
    assert worse_side_ppk({**truth, "true_ppk": None}) is None


def test_errors_are_binomial_and_poisson():
    assert Share(20, 80).text() == f"20/80: 25 ±{100 * math.sqrt(0.25 * 0.75 / 80):.0f} %"
    assert Excess(16, 8.0).text() == "16 on 8.0: 2.0 ±0.5"
    assert Spread((1, 2, 3, 4, 5)).text() == "3 (2 to 4), n 5"
    assert Share(0, 0).text() == Excess(0, 0.0).text() == Spread(()).text() == "-"


@pytest.mark.slow
def test_a_short_workshop_is_lived_through_and_gives_a_table(tmp_path):
    record = live_through("tolvast", 5, 2, tmp_path / "tolvast")
    kept = json.loads(json.dumps(record))
    assert kept == record
    rows = record["rows"]
    assert rows["rows"] == rows["accepted"] + rows["held"] + rows["already_known"] > 100
    assert rows["refused"] == [] and rows["held_rows"] == rows["meant"]
    assert all(one["points"] and one["key"] for one in record["series"])
    lines = score.table([record])
    assert lines[0][2] == ["tolvast 5", "all"]
    assert all(cells[0] == cells[1] for _, _, cells in lines[1:])
    assert "False signals" in score.plain_text(lines) and "| **Rows** |" in score.markdown_text(lines)


def test_every_stranger_is_found():
    assert set(makers()) >= {"tolvast", "pelderwick", "querlohn"}
