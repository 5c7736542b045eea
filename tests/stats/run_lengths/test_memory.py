"""EWMA and CUSUM run lengths against printed tables, an independent computation and simulation."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.stats.errors import StatisticsError
from qc.stats.run_lengths.chain import shewhart_run_length
from qc.stats.run_lengths.memory import cusum_decision, cusum_run_length, ewma_run_length, ewma_width

TABLES = json.loads((Path(__file__).parents[2] / "published/runlength_memory.json").read_text("utf-8"))
SHIFTS = [0, 0.25, 0.5, 0.75, 1, 1.5, 2, 2.5, 3, 4]
SIMULATED = TABLES["C10"]["recomputed"]


@pytest.mark.parametrize("weight, width, shift, mean, sd", TABLES["C3"]["recomputed"]["rows"])
def test_ewma_agrees_with_an_independent_integral_equation(weight, width, shift, mean, sd):
    found = ewma_run_length(weight, width, shift)
    assert found.mean == pytest.approx(mean, rel=1e-6)
    assert found.sd == pytest.approx(sd, rel=2e-6)


@pytest.mark.parametrize("design", TABLES["C3"]["published"])
def test_ewma_agrees_with_the_printed_table(design):
    """Lucas and Saccucci 1990 as quoted in Montgomery, table 9.11 (from memory)."""
    weight, width = (float(part) for part in design.split("|"))
    for shift, printed in zip(SHIFTS, TABLES["C3"]["published"][design], strict=True):
        found = ewma_run_length(weight, width, shift).mean
        digits = 0 if printed >= 100 else (1 if printed >= 10 else len(str(printed).partition(".")[2]))
        assert found == pytest.approx(printed, abs=0.55 * 10**-digits)


@pytest.mark.parametrize("weight, mean, width", TABLES["C4"]["recomputed"]["rows"])
def test_ewma_width(weight, mean, width):
    assert ewma_width(weight, mean) == pytest.approx(width, abs=1e-6)


@pytest.mark.parametrize("k, h, shift, upper, both, fast, fast_upper", TABLES["C5"]["recomputed"]["rows"])
def test_cusum_agrees_with_an_independent_integral_equation(k, h, shift, upper, both, fast, fast_upper):
    assert cusum_run_length(k, h, shift, sides=1).mean == pytest.approx(upper, rel=1e-6)
    assert cusum_run_length(k, h, shift).mean == pytest.approx(both, rel=1e-6)
    assert cusum_run_length(k, h, shift, head_start=h / 2).mean == pytest.approx(fast, rel=1e-6)
    found = cusum_run_length(k, h, shift, sides=1, head_start=h / 2)
    assert found.mean == pytest.approx(fast_upper, rel=1e-6)


def test_cusum_agrees_with_the_printed_table():
    """Montgomery and Runger, table 16-9, p. 638 (read; two-sided); fast start h / 2 from memory.

    Printed 139 at shift 0.25 is 139.49 cut, not rounded wrongly.
    """
    for shift, plain, fast in zip(
        SHIFTS, TABLES["C5"]["published"]["h5"], TABLES["C5"]["published"]["FIR_h5_memory"], strict=True
    ):
        for printed, found in (
            (plain, cusum_run_length(0.5, 5, shift).mean),
            (fast, cusum_run_length(0.5, 5, shift, head_start=2.5).mean),
        ):
            digits = 0 if printed >= 100 else (1 if printed >= 10 else 2)
            assert found == pytest.approx(printed, abs=0.51 * 10**-digits)


@pytest.mark.parametrize("k, mean, h", TABLES["C6"]["recomputed"]["rows"])
def test_cusum_decision(k, mean, h):
    assert cusum_decision(k, mean) == pytest.approx(h, abs=1e-6)


def test_trade_values():
    """T100 and T101: CUSUM 0.5 and 5 gives 465.4; EWMA 0.2 and 2.86 gives 371."""
    assert cusum_run_length(0.5, 5).mean == pytest.approx(465.4, abs=0.05)
    assert ewma_run_length(0.2, 2.86).mean == pytest.approx(371, abs=0.5)


@pytest.mark.parametrize(
    "name, found",
    [
        ("ARL EWMA lam.1 L2.7 d0", lambda: ewma_run_length(0.1, 2.7)),
        (
            "ARL EWMA lam.2 L2.962 d0 time-varying limits",
            lambda: ewma_run_length(0.2, 2.962, time_varying=True),
        ),
        (
            "ARL EWMA lam.1 L2.814 d1 time-varying limits",
            lambda: ewma_run_length(0.1, 2.814, 1, time_varying=True),
        ),
        ("ARL CUSUM k.5 h5 d1", lambda: cusum_run_length(0.5, 5, 1)),
    ],
)
def test_agrees_with_the_shared_simulation(name, found):
    assert found().mean == pytest.approx(SIMULATED[name]["estimate"], abs=3 * SIMULATED[name]["se"])


def simulate_ewma(rng, weight, width, shift, ratio, time_varying, runs=20_000, most=400):
    """Run lengths of an EWMA by playing it."""
    z, alive, length = np.zeros(runs), np.ones(runs, bool), np.full(runs, most)
    fixed = width * math.sqrt(weight / (2 - weight))
    for t in range(1, most):
        z = (1 - weight) * z + weight * (shift + ratio * rng.standard_normal(runs))
        limit = fixed * math.sqrt(1 - (1 - weight) ** (2 * t)) if time_varying else fixed
        out = alive & (np.abs(z) > limit)
        length[out], alive = t, alive & ~out
    return length


def simulate_cusum(rng, k, h, shift, ratio, start, runs=20_000, most=2000):
    """Run lengths of the two sums by playing them."""
    up, low = np.full(runs, start), np.full(runs, start)
    alive, length = np.ones(runs, bool), np.full(runs, most)
    for t in range(1, most):
        x = shift + ratio * rng.standard_normal(runs)
        up, low = np.maximum(0, up + x - k), np.maximum(0, low - x - k)
        out = alive & ((up > h) | (low > h))
        length[out], alive = t, alive & ~out
        if not alive.any():
            break
    return length


def check_against(length, found):
    """Mean within 4 standard errors, sd within 5 %, quartiles where the distribution has them."""
    assert length.mean() == pytest.approx(found.mean, abs=4 * found.sd / math.sqrt(length.size))
    assert length.std() == pytest.approx(found.sd, rel=0.05)
    for share in (0.25, 0.5, 0.75):
        point = found.quantile(share)
        chance = np.mean(length > point)
        error = 4 * math.sqrt(0.25 / length.size)
        assert chance == pytest.approx(found.chance_beyond(point), abs=error)


@pytest.mark.parametrize(
    "weight, width, shift, ratio, time_varying",
    [(0.2, 2.5, 0.7, 1.0, False), (0.1, 2.4, 0.5, 1.2, True), (0.6, 2.6, 0.0, 1.3, True)],
)
def test_ewma_agrees_with_play(weight, width, shift, ratio, time_varying):
    rng = np.random.default_rng(31)
    length = simulate_ewma(rng, weight, width, shift, ratio, time_varying)
    check_against(length, ewma_run_length(weight, width, shift, sd_ratio=ratio, time_varying=time_varying))


@pytest.mark.parametrize(
    "k, h, shift, ratio, start",
    [(0.5, 2.5, 0.0, 1.0, 0.0), (0.25, 4.0, 0.4, 1.0, 2.0), (0.5, 3.0, 0.2, 1.3, 1.5)],
)
def test_two_sided_cusum_agrees_with_play(k, h, shift, ratio, start):
    """Second route for the joined series: mean, sd and quantiles with both sums running."""
    rng = np.random.default_rng(32)
    length = simulate_cusum(rng, k, h, shift, ratio, start)
    check_against(length, cusum_run_length(k, h, shift, sd_ratio=ratio, head_start=start))


def test_weight_one_is_the_chart_without_memory():
    for shift in (0.0, 0.8, 2.5):
        found, plain = ewma_run_length(1.0, 3.0, shift), shewhart_run_length(3.0, shift)
        assert found.mean == pytest.approx(plain.mean, rel=1e-9)
        assert found.sd == pytest.approx(plain.sd, rel=1e-9)
        assert found.quantile(0.9) == plain.quantile(0.9)


def test_nearly_no_interval_is_a_one_sided_chart():
    """h towards 0: a signal as soon as one point exceeds k."""
    found = cusum_run_length(2.0, 1e-9, 0.5, sides=1)
    assert found.mean == pytest.approx(1 / 0.0668072012688581, rel=1e-7)


@settings(max_examples=15, deadline=None)
@given(st.floats(0.05, 1.0), st.floats(30.0, 3000.0))
def test_ewma_design_is_the_inverse(weight, mean):
    assert ewma_run_length(weight, ewma_width(weight, mean)).mean == pytest.approx(mean, rel=1e-8)


@settings(max_examples=10, deadline=None)
@given(st.floats(0.1, 1.5), st.floats(30.0, 3000.0), st.sampled_from([0.0, 0.5]), st.sampled_from([1, 2]))
def test_cusum_design_is_the_inverse(k, mean, share, sides):
    h = cusum_decision(k, mean, sides=sides, head_start_share=share)
    assert cusum_run_length(k, h, sides=sides, head_start=share * h).mean == pytest.approx(mean, rel=1e-8)


@settings(max_examples=25, deadline=None)
@given(st.floats(0.05, 1.0), st.floats(0.0, 2.0))
def test_direction_of_the_shift_does_not_matter(weight, shift):
    assert ewma_run_length(weight, 2.7, shift).mean == pytest.approx(
        ewma_run_length(weight, 2.7, -shift).mean
    )
    assert cusum_run_length(0.5, 4, shift).mean == pytest.approx(cusum_run_length(0.5, 4, -shift).mean)


def test_large_shift_leaves_one_side_only():
    both, one = cusum_run_length(0.5, 5, 6), cusum_run_length(0.5, 5, 6, sides=1)
    assert both.mean == pytest.approx(one.mean, rel=1e-12)


def test_head_start_of_the_ewma_shortens_the_wait():
    assert ewma_run_length(0.1, 2.7, 1.0, start=0.4).mean < ewma_run_length(0.1, 2.7, 1.0).mean


@pytest.mark.parametrize("weight", [0.05, 0.4, 1.0])
def test_width_of_limits_that_open_up(weight):
    width = ewma_width(weight, 370.0, time_varying=True)
    assert ewma_run_length(weight, width, time_varying=True).mean == pytest.approx(370.0, rel=1e-7)
    assert width == pytest.approx(ewma_width(weight, 370.0), abs=0.06)
    assert width >= ewma_width(weight, 370.0) - 1e-8


@pytest.mark.parametrize(
    "call, said",
    [
        (lambda: ewma_run_length(0.0, 3), "weight is 0.0"),
        (lambda: ewma_run_length(0.2, -1), "width is -1"),
        (lambda: ewma_run_length(0.2, 3, start=2.0), "start 2.0 lies beyond"),
        (lambda: ewma_run_length(1e-6, 3), "memory is too long"),
        (lambda: cusum_run_length(-0.1, 3), "reference is -0.1"),
        (lambda: cusum_run_length(0.5, 0), "decision interval is 0"),
        (lambda: cusum_run_length(0.5, 4, head_start=5), "head start is 5"),
        (lambda: cusum_run_length(0.5, 4, head_start=3), "above half the decision"),
        (lambda: cusum_run_length(0.5, 4, sides=3), "sides is 3"),
        (lambda: cusum_run_length(9.0, 5), "never reached"),
        (lambda: ewma_width(0.2, 1.5), "wanted run length is 1.5"),
        (lambda: cusum_decision(0.5, math.inf), "wanted run length is inf"),
        (lambda: cusum_decision(0.5, 100, sides=0), "sides 0"),
        (lambda: cusum_decision(0.5, 100, head_start_share=0.9), "head start 0.9"),
    ],
)
def test_bad_questions_are_named(call, said):
    with pytest.raises(StatisticsError, match=said):
        call()
