import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc import trade
from qc.trade import TradeError

walls = st.tuples(st.floats(14, 16), st.floats(0.2, 1.0))


@given(walls, walls, st.floats(200, 900))
def test_volume_balance_closes_for_the_computed_length(first, second, length):
    before = (first[0], first[0] - 2 * first[1])
    after = (second[0], second[0] - 2 * second[1])
    drawn = trade.length_after_mm(length, trade.section_mm2(*before), trade.section_mm2(*after))
    balance = trade.volume_balance((*before, length), (*after, drawn))
    assert balance.error == pytest.approx(0, abs=1e-12)
    assert balance.closes and not balance.suspect


def test_a_slip_of_a_tenth_in_the_bore_opens_the_balance():
    balance = trade.volume_balance((15.40, 14.25, 500.0), (14.90, 14.15, 692.8))
    assert not balance.closes
    assert "measure" in balance.suspect
    assert balance.to_dict()["closes"] is False


@pytest.mark.parametrize(("outer", "inner"), [(14.0, 14.0), (13.9, 14.0), (14.0, -1.0)])
def test_no_wall(outer, inner):
    with pytest.raises(TradeError, match="no wall"):
        trade.section_mm2(outer, inner)


def test_no_length():
    with pytest.raises(TradeError, match="without length"):
        trade.volume_balance((15.4, 14.25, 0.0), (14.9, 14.05, 692.8))


def test_force_stays_below_the_parting_force_for_a_usual_pass():
    before, after = trade.section_mm2(15.40, 14.25), trade.section_mm2(14.90, 14.05)
    assert trade.draw_force_kn(400, before, after) < trade.tube_parts_at_kn(480, after)
    with pytest.raises(TradeError):
        trade.draw_force_kn(400, after, before)


def test_spring_back_is_learned_with_its_error():
    learned = trade.spring_back([14.602, 14.604, 14.603, 14.603], [14.575] * 4)
    assert learned.offset_um == pytest.approx(28.0)
    assert learned.standard_error_um == pytest.approx(learned.sd_um / 2)
    assert 0.1 < learned.offset_um / 14575 * 100 < 0.3, "trade note 3: 0.1 to 0.3 %"
    assert learned.to_dict()["n"] == 4
    with pytest.raises(TradeError):
        trade.spring_back([14.6], [14.5])
    with pytest.raises(TradeError):
        trade.spring_back([14.6, 14.6], [14.5])


def test_eccentricity_and_wall():
    assert trade.eccentricity([0.4, 0.4]) == 0
    assert trade.wall_mm(14.90, 14.05) == pytest.approx(0.425)
    with pytest.raises(TradeError):
        trade.eccentricity([0.4])


def test_modified_limit_lies_inside_the_limit_and_widens_with_fewer_pieces():
    one, four = (trade.modified_upper_limit(14.64, 0.004, n=n) for n in (1, 4))
    assert four < 14.64 < one


def test_spinning_bound():
    assert trade.spun_wall_mm(0.5, 90) == pytest.approx(0.5)
    assert trade.spun_wall_mm(0.5, 30) == pytest.approx(0.5 * math.sin(math.pi / 6))
