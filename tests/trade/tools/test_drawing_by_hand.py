"""Drawing against geometry, integration and simulation: volume, force, spring-back, spinning."""

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from qc import trade
from qc.trade import TradeError

many = settings(max_examples=60, deadline=None)
outers = st.floats(8.0, 30.0)
walls = st.floats(0.15, 2.0)
BEFORE, AFTER = trade.section_mm2(15.40, 14.25), trade.section_mm2(14.90, 14.05)


@many
@given(outers, walls)
def test_a_section_is_wall_times_middle_circumference(outer, wall):
    """Pappus: the ring's area is its thickness times the path of its middle; and the integral of 2 pi r."""
    area = trade.section_mm2(outer, outer - 2 * wall)
    assert area == pytest.approx(wall * math.pi * (outer - wall))
    assert trade.wall_mm(outer, outer - 2 * wall) == pytest.approx(wall)
    ring, _ = integrate.quad(lambda r: 2 * math.pi * r, outer / 2 - wall, outer / 2)
    assert area == pytest.approx(ring)


@many
@given(outers, walls, st.floats(0.05, 0.45), st.floats(200.0, 1500.0))
def test_length_reduction_and_volume_say_the_same(outer, wall, reduction, length):
    before = trade.section_mm2(outer, outer - 2 * wall)
    after = before * (1 - reduction)
    assert trade.area_reduction(before, after) == pytest.approx(reduction)
    drawn = trade.length_after_mm(length, before, after)
    assert drawn == pytest.approx(length / (1 - reduction))
    assert drawn * after == pytest.approx(length * before)


@many
@given(st.floats(0.05, 0.4), st.floats(0.05, 0.4))
def test_two_passes_are_the_product_of_what_they_leave(first, second):
    """Reductions do not add: 30 % and 30 % leave 49 %, a reduction of 51 %."""
    middle = 30.0 * (1 - first)
    end = middle * (1 - second)
    assert trade.area_reduction(30.0, end) == pytest.approx(1 - (1 - first) * (1 - second))
    through = trade.length_after_mm(trade.length_after_mm(500.0, 30.0, middle), middle, end)
    assert through == pytest.approx(trade.length_after_mm(500.0, 30.0, end))


@many
@given(outers, walls, st.floats(0.97, 1.03), st.floats(0.005, 0.05))
def test_the_balance_opens_exactly_beyond_its_limit(outer, wall, share, limit):
    """The same tube, only its length off by a share: the error is that share, the verdict its size."""
    assume(abs(abs(share - 1.0) - limit) > 1e-9)
    tube = (outer, outer - 2 * wall)
    balance = trade.volume_balance((*tube, 500.0), (*tube, 500.0 * share), limit)
    assert balance.error == pytest.approx(share - 1.0, abs=1e-12)
    assert balance.closes is (abs(share - 1.0) <= limit)
    assert bool(balance.suspect) is not balance.closes


def test_the_wall_is_the_figure_a_slip_moves_most():
    """A tenth of a millimetre in any one of six figures: only the bores and outsides open the balance."""
    good = [15.40, 14.25, 500.0, 14.90, 14.05, 692.83]
    errors = []
    for index in range(6):
        slipped = list(good)
        slipped[index] += 0.1
        errors.append(abs(trade.volume_balance(tuple(slipped[:3]), tuple(slipped[3:])).error))
    assert min(errors[0], errors[1], errors[3], errors[4]) > trade.VOLUME_BALANCE_LIMIT
    assert max(errors[2], errors[5]) < 0.001
    assert max(errors) == max(errors[3], errors[4]), "the thinner wall, after the pass, is the touchiest"


@pytest.mark.parametrize("efficiency", [0.6, 0.65, 0.7])
def test_force_is_the_work_of_deformation_by_integration(efficiency):
    """Second route: the stress times the growth of strain, integrated along the pass, over the efficiency."""
    work, _ = integrate.quad(lambda section: 400.0 / section, AFTER, BEFORE)
    force = trade.draw_force_kn(400.0, BEFORE, AFTER, efficiency)
    assert force == pytest.approx(work * AFTER / efficiency / 1000.0)


@many
@given(st.floats(100.0, 600.0), st.floats(5.0, 60.0), st.floats(0.01, 0.9), st.floats(0.3, 1.0))
def test_force_scales_with_stress_and_size_and_falls_with_efficiency(stress, section, reduction, efficiency):
    after = section * (1 - reduction)
    force = trade.draw_force_kn(stress, section, after, efficiency)
    assert trade.draw_force_kn(2 * stress, section, after, efficiency) == pytest.approx(2 * force)
    assert trade.draw_force_kn(stress, 3 * section, 3 * after, efficiency) == pytest.approx(3 * force)
    assert trade.draw_force_kn(stress, section, after, efficiency / 2) == pytest.approx(2 * force)


def test_without_friction_a_pass_parts_the_tube_at_the_classical_63_percent():
    """Ideal work in a metal that does not harden: the limit is a reduction of 1 - 1/e (textbook)."""
    for reduction, parts in ((0.62, False), (0.64, True)):
        after = BEFORE * (1 - reduction)
        force = trade.draw_force_kn(400.0, BEFORE, after, 1.0)
        assert (force > trade.tube_parts_at_kn(400.0, after)) is parts


def test_spring_back_is_covered_by_its_standard_error():
    """1,000 dies of 8 draws each, true offset 28 um, sd 3 um: t intervals hold it in 95 % (2.1 %)."""
    rng = np.random.default_rng(90)
    t, hits = stats.t.ppf(0.975, 7), 0
    for _ in range(1000):
        tubes = 14.575 + (28.0 + rng.normal(0, 3.0, 8)) / 1000.0
        learned = trade.spring_back(list(tubes), [14.575] * 8)
        hits += abs(learned.offset_um - 28.0) <= t * learned.standard_error_um
    assert hits / 1000 == pytest.approx(0.95, abs=0.021)


@many
@given(st.lists(st.floats(5.0, 60.0), min_size=2, max_size=12), st.floats(13.0, 16.0))
def test_spring_back_is_mean_and_spread_of_the_differences(offsets, die):
    """Each draw against the die it came through, whatever dies they were."""
    dies = [die + 0.1 * (i % 3) for i in range(len(offsets))]
    tubes = [d + um / 1000.0 for d, um in zip(dies, offsets, strict=True)]
    learned = trade.spring_back(tubes, dies)
    assert learned.offset_um == pytest.approx(np.mean(offsets), abs=1e-6)
    assert learned.sd_um == pytest.approx(np.std(offsets, ddof=1), abs=1e-6)
    assert learned.standard_error_um == pytest.approx(learned.sd_um / math.sqrt(len(offsets)), abs=1e-9)


@pytest.mark.parametrize(("n", "share"), [(1, 0.01), (4, 0.01), (4, 0.001), (9, 0.0027)])
def test_the_modified_limit_keeps_both_its_promises(n, share):
    """At the highest mean allowed the wanted share lies outside; a mean of n exceeds the limit in 0.135 %."""
    upper, sigma = 14.64, 0.004
    limit = trade.modified_upper_limit(upper, sigma, share, n)
    mean = limit - 3.0 * sigma / math.sqrt(n)
    assert stats.norm(mean, sigma).sf(upper) == pytest.approx(share)
    assert stats.norm(mean, sigma / math.sqrt(n)).sf(limit) == pytest.approx(0.00135, abs=1e-6)


@many
@given(st.lists(st.floats(0.2, 1.0), min_size=2, max_size=8), st.floats(0.5, 3.0))
def test_eccentricity_is_a_share_that_no_unit_changes(readings, unit):
    value = trade.eccentricity(readings)
    assert 0.0 <= value < 1.0
    assert trade.eccentricity([unit * wall for wall in readings]) == pytest.approx(value, abs=1e-12)
    assert trade.eccentricity(readings[::-1]) == value


def test_eccentricity_of_a_bore_out_of_the_middle():
    """A bore 0.03 mm off the middle of a 0.43 mm wall: 0.40 to 0.46, eccentricity 0.03 / 0.43."""
    around = [0.43 + 0.03 * math.cos(math.radians(angle)) for angle in range(0, 360, 45)]
    assert trade.eccentricity(around) == pytest.approx(0.03 / 0.43)


@many
@given(st.floats(0.3, 1.0), st.floats(1.0, 89.0))
def test_spinning_keeps_the_volume_of_a_ring_of_the_sheet(sheet, half_cone):
    """Sine law from constant volume: a ring of the disc keeps its radius and stands up along the cone."""
    wall = trade.spun_wall_mm(sheet, half_cone)
    along = 1.0 / math.sin(math.radians(half_cone))  # length on the cone of a ring 1 mm wide
    assert wall * along == pytest.approx(sheet)
    assert 0 < wall < sheet


@pytest.mark.parametrize(("call", "problem", "mend"), [
    (lambda: trade.section_mm2(14.05, 14.90), "leave no wall", "Check which diameter is which"),
    (lambda: trade.wall_mm(14.0, 14.0), "leave no wall", "Check which diameter is which"),
    (lambda: trade.section_mm2(math.nan, 14.0), "leave no wall", "Check which diameter is which"),
    (lambda: trade.eccentricity([0.4, 0.0]), "two wall readings above 0", "around the tube"),
    (lambda: trade.volume_balance((15.4, 14.25, 5.0), (14.9, 14.05, 0)), "without length", "both lengths"),
    (lambda: trade.draw_force_kn(400.0, AFTER, BEFORE), "no force for such a pass", "The section must fall"),
    (lambda: trade.draw_force_kn(400.0, BEFORE, AFTER, 1.2), "no force", "efficiency lie in 0 to 1"),
    (lambda: trade.draw_force_kn(0.0, BEFORE, AFTER), "no force", "The section must fall"),
    (lambda: trade.spring_back([14.6, 14.6], [14.57]), "two or more draws", "Record both diameters"),
])  # fmt: skip
def test_what_cannot_be_drawn_says_what_and_what_to_do(call, problem, mend):
    with pytest.raises(TradeError, match=problem) as caught:
        call()
    assert mend in caught.value.hint
