import pytest

from qc import trade
from qc.trade import TradeError


def test_temperature_and_rig_are_allowed_for():
    """A sealed part whose air cools by 0.1 K leaks nothing; the rig's own leak is not the part's."""
    fall = trade.temperature_pressure_mbar(1043.25, 0.1)
    sealed = trade.judge_leak(200, 30, 30 - fall, 30, warmer_by_k=-0.1)
    assert sealed.leak_cm3_per_min == pytest.approx(0, abs=1e-9)
    assert not sealed.clear
    rig = trade.judge_leak(200, 30, 25, 30, rig_cm3_per_min=trade.leak_rate(200, 5, 30))
    assert rig.leak_cm3_per_min == pytest.approx(0, abs=1e-9)


def test_warming_air_hides_a_leak():
    plain = trade.judge_leak(200, 30, 25, 30)
    warmed = trade.judge_leak(200, 30, 25, 30, warmer_by_k=0.2)
    assert warmed.leak_cm3_per_min > plain.leak_cm3_per_min
    assert plain.clear and plain.to_dict()["rig_cm3_per_min"] == 0


@pytest.mark.parametrize("call", [
    lambda: trade.leak_rate(0, 5, 30),
    lambda: trade.leak_rate(200, 5, 0),
    lambda: trade.decay_time_s(22, 30, 45),
    lambda: trade.decay_time_s(30, 0, 45),
])  # fmt: skip
def test_settings_that_cannot_be(call):
    with pytest.raises(TradeError):
        call()


def test_chances_of_faults():
    assert trade.chance_of_faults(0, 12, 0.03) == pytest.approx(1)
    assert trade.chance_of_faults(1, 12, 0.03) == pytest.approx(1 - 0.97**12)
    assert trade.chance_of_short_gap(0, 0.03) == pytest.approx(0.03)
    assert trade.good_between_faults([True, False, True, False]) == [0, 1]


def test_polishing_eats_the_wall():
    loss = trade.polish_loss(1200.0, 1191.47, 0.1, 0.28, least_wall_mm=0.26)
    assert loss.depth_um == pytest.approx(10.0, abs=0.01)
    assert loss.share_of_wall == pytest.approx(0.0357, abs=1e-4)
    assert loss.allowance_used == pytest.approx(0.5, abs=1e-3)
    assert loss.depth_step_um == pytest.approx(0.117, abs=1e-3), "trade note 5: about 0.1 um over 0.1 m2"
    assert trade.polish_loss(1200, 1199, 0.1, 0.28).to_dict()["allowance_used"] is None
    assert trade.wall_loss_share(0.28, 0.01) == pytest.approx(0.0357, abs=1e-4)


@pytest.mark.parametrize("call", [
    lambda: trade.polish_loss(1200, 1201, 0.1, 0.28),
    lambda: trade.polish_loss(1200, 1199, 0.0, 0.28),
    lambda: trade.polish_loss(1200, 1199, 0.1, 0.25, least_wall_mm=0.25),
    lambda: trade.wall_loss_share(0, 0.01),
])  # fmt: skip
def test_polishing_that_cannot_be(call):
    with pytest.raises(TradeError):
        call()


def test_cautions_name_the_hazards_and_never_say_safe():
    from qc.trade.cautions import CAUTIONS

    everything = " ".join(trade.cautions_for(*CAUTIONS)).casefold()
    for word in (
        "isocyanates",
        "solvents",
        "cadmium",
        "jam",
        "lacquer",
        "hearing",
        "competent",
        "local rules",
    ):
        assert word in everything
    words = everything.replace("safety data sheets", "").split()
    assert not {"safe", "safe.", "safe,", "safely", "harmless"} & set(words)


@pytest.mark.parametrize("stage", ["tuning", "adding", "drawing", "lacquer", "polishing"])
def test_every_list_ends_with_who_decides(stage):
    assert trade.cautions_for(stage)[-1] == trade.DEFER
    assert trade.cautions_for(stage, stage) == trade.cautions_for(stage)


def test_unknown_stage():
    with pytest.raises(TradeError, match="Known stages"):
        trade.cautions_for("moon")
