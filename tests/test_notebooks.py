"""The face in Python takes what a notebook holds: text for paths and days, any number, lists of names."""

import json
from decimal import Decimal

import numpy as np
import polars as pl
import pytest

import qc
from qc.stats import StatisticsUsageError


@pytest.fixture
def table(rng):
    return pl.DataFrame({name: rng.normal(10, 1, 40) for name in ("x", "y")} | {"bad": [1, 2] * 20})


@pytest.mark.parametrize(
    ("loose", "strict"),
    [
        ({"baseline": 20}, {"baseline": "20"}),
        ({"baseline": np.int64(20)}, {"baseline": "20"}),
        ({"baseline": (5, 24)}, {"baseline": "5:24"}),
        ({"rules": ["same-side", "zigzag(10)"]}, {"rules": "same-side,zigzag(10)"}),
        ({"rules": None, "limits": None, "wanted": None}, {}),
        (
            {"lower": Decimal("5.5"), "upper": np.float32(14), "resolution": Decimal("0.01")},
            {"lower": 5.5, "upper": 14.0, "resolution": 0.01},
        ),
        (
            {"value": "bad", "chart": "proportion", "size": 20},
            {"value": "bad", "chart": "proportion", "size": "20"},
        ),
        ({"value": ["x", "y"], "chart": "t2"}, {"value": "x,y", "chart": "t2"}),
        ({"value": ["x"]}, {}),
        (
            {"chart": "ewma", "weight": np.float32(0.25), "width": np.int64(3)},
            {"chart": "ewma", "weight": 0.25, "width": 3.0},
        ),
    ],
)
def test_a_study_takes_them(table, loose, strict):
    got = qc.study(table, **({"value": "x"} | loose)).to_dict()
    assert got == qc.study(table, **({"value": "x"} | strict)).to_dict()
    json.dumps(got)


@pytest.mark.parametrize("option", ["lower", "sigma", "resolution"])
def test_text_for_a_number_is_refused_by_its_option(table, option):
    with pytest.raises(StatisticsUsageError, match=f"--{option} is '5': a number is needed"):
        qc.study(table, "x", **{option: "5"})


def test_a_gauge_study_and_a_coat_answer_in_plain_numbers(rng):
    table = pl.DataFrame({"part": [1, 1, 2, 2, 3, 3], "um": rng.normal(150, 1, 6)})
    loose = qc.gauge_study(table, "um", "part", lower=Decimal(100), upper=np.float32(200)).to_dict()
    assert loose == qc.gauge_study(table, "um", "part", lower=100, upper=200).to_dict()
    spots = pl.DataFrame({"area": ["bell"] * 6, "spot": list("abcdef"), "um": rng.normal(15, 1, 6)})
    coat = qc.coat(spots, nominal_um=Decimal(15), lower_um=np.float32(12)).to_dict()
    assert coat == qc.coat(spots, nominal_um=15, lower_um=12).to_dict()
    json.dumps([loose, coat])


def test_wear_and_a_rack_answer_in_plain_numbers(rng):
    tube = pl.DataFrame({"draws": range(0, 200, 10), "od": 14.6 + 2e-5 * np.arange(0, 200, 10)})
    tube = tube.with_columns(pl.col("od") + rng.normal(0, 1e-4, 20))
    asked = {"value": "od", "against": "draws"}
    loose = qc.wear(tube, **asked, upper=Decimal("14.612"), per_week=np.int64(40), as_of="2026-05-04")
    assert loose.to_dict()["tools"][0]["change_by_date"] > "2026-05-04"
    inner = pl.DataFrame({"tube": ["I"], "station": ["a"], "direction": ["0"], "od_mm": [13.85]})
    outer = pl.DataFrame({"tube": ["O"], "station": ["a"], "direction": ["0"], "id_mm": [14.0]})
    pair = qc.pair(inner, outer, target_um=np.int64(150), lower_um=Decimal(100), upper_um=np.int64(200))
    json.dumps([loose.to_dict(), pair.to_dict()])


def test_a_workshop_is_opened_and_fed_by_names_of_files(tmp_path):
    folder = str(tmp_path / "shop")
    qc.new_workshop(folder, as_of="2026-03-02")
    card = tmp_path / "log.csv"
    card.write_text(
        "date,serial,model,od,gauge,person,tool,tool_count\n2026-03-03,TB1,tenor,14.6,MIC-1,B1,D-14A,1\n"
    )
    shop = qc.open_workshop(folder, as_of="2026-03-04", writes=True)
    missing = str(tmp_path / "none.csv")
    receipt = qc.upload(shop, [str(card), missing]).to_dict()
    assert [sheet["rows"] for sheet in receipt["sheets"]] == [1]
    assert len(receipt["refused"]) == 1, "the file that is not there costs only itself"
    assert qc.upload(shop, card).to_dict()["sheets"][0]["already_known"] == 1
    assert qc.status(shop, since="2026-03-01").to_dict()["compared_with"] == "2026-03-01"
    assert qc.status(qc.known(shop, "2026-03-04")).to_dict()["known"] == "2026-03-04"
    assert qc.rework(shop, first="2026-03-01").to_dict()["from"] == "2026-03-01"


def test_the_statistics_themselves_take_any_number(rng):
    values = rng.normal(10, 1, 40)
    asked = {"lower": Decimal(5), "upper": Decimal(15), "target": np.float32(10)}
    assert qc.capability(values, **asked) == qc.capability(values, lower=5, upper=15, target=10)
    assert qc.cusum_run_length(Decimal("0.5"), np.int64(5)).mean == pytest.approx(465.44, abs=0.005)
    assert qc.ewma_run_length(Decimal("0.1"), Decimal("2.814")).mean == qc.ewma_run_length(0.1, 2.814).mean
