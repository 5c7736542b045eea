from datetime import date
from types import SimpleNamespace

import numpy as np
import polars as pl
import pytest

from qc.jobs.remedies import RemedyError, pair_rack, rack_models
from qc.plan import Characteristic, DatedLimits

LIMITS = ("--target-um", 150, "--lower-um", 100, "--upper-um", 200)


def rack(column, means, prefix, surface=None, legs=("",), extra=""):
    head = f"tube,station,direction,{column},leg" + (",surface" if surface else "") + "\n"
    lines = [
        f"{prefix}{i},{station},{direction},{mean:.3f},{leg}" + (f",{surface}" if surface else "")
        for i, mean in enumerate(means)
        for leg in legs
        for station in ("a", "b")
        for direction in (0, 90)
    ]
    return head + "\n".join(lines) + "\n" + extra


@pytest.fixture
def files(write):
    rng = np.random.default_rng(3)
    inner, outer = np.round(rng.normal(13.90, 0.01, 5), 3), np.round(rng.normal(14.05, 0.01, 6), 3)
    return (
        write("in.csv", rack("od_mm", inner, "I", "stocking")),
        write("out.csv", rack("id_mm", outer, "O")),
        inner,
        outer,
    )


def test_the_agreed_shape(answer, files):
    inner, outer, ods, ids = files
    result = answer("pair", "--inner", inner, "--outer", outer, *LIMITS)
    assert set(result) == {"pairs", "left", "inside", "cost"}
    assert set(result["pairs"][0]) == {"inner", "outer", "least_um", "mean_um", "greatest_um", "inside"}
    assert len(result["pairs"]) == 5 and result["left"]["inner"] == [] and len(result["left"]["outer"]) == 1
    assert result["inside"] == sum(pair["inside"] for pair in result["pairs"])
    assert result["cost"] == pytest.approx(sum((pair["mean_um"] - 150) ** 2 for pair in result["pairs"]))
    for pair in result["pairs"]:
        expected = 1000 * (ids[int(pair["outer"][1])] - ods[int(pair["inner"][1])])
        assert pair["mean_um"] == pytest.approx(expected, abs=1e-6)


def test_body_readings_take_no_part(answer, write, files):
    inner, outer, *_ = files
    plain = answer("pair", "--inner", inner, "--outer", outer, *LIMITS)
    more = inner.read_text() + "I0,body,0,13.790,,body\n"
    assert answer("pair", "--inner", write("m.csv", more), "--outer", outer, *LIMITS) == plain


def test_body_taken_for_the_stocking_is_refused(fault, write, files):
    bodies = rack("od_mm", [13.90, 13.80], "I")
    line = fault("pair", "--inner", write("b.csv", bodies), "--outer", files[1], *LIMITS)
    assert "I1" in line and "Measure the stocking" in line


def test_body_only_and_unknown_surface(fault, write, files):
    only = write("o.csv", rack("od_mm", [13.80], "I", "body"))
    assert "only body readings" in fault("pair", "--inner", only, "--outer", files[1], *LIMITS)
    odd = write("p.csv", rack("od_mm", [13.90], "I", "neck"))
    assert "Write stocking or body" in fault("pair", "--inner", odd, "--outer", files[1], *LIMITS)


@pytest.mark.parametrize(("value", "mend"), [
    ("0.5472", "13.899"), ("13899", "13.899"), ("-1", "millimetres"), ("thick", "not a number"),
])  # fmt: skip
def test_units_are_asked_back(fault, write, files, value, mend):
    rows = f"tube,station,direction,od_mm\nI1,a,0,{value}\n"
    assert mend in fault("pair", "--inner", write("x.csv", rows), "--outer", files[1], *LIMITS)


def test_negative_clearance_and_swapped_files(fault, files, write):
    large = write("l.csv", rack("od_mm", [14.30], "I"))
    assert "clearance below 0" in fault("pair", "--inner", large, "--outer", files[1], *LIMITS)
    assert "swap the files" in fault("pair", "--inner", files[1], "--outer", files[0], *LIMITS)


@pytest.mark.parametrize("words", [
    ("--target-um", 75, "--lower-um", 100, "--upper-um", 200),
    ("--target-um", 150, "--lower-um", 200, "--upper-um", 100),
    ("--target-um", 150),
    (*LIMITS, "--cost", "cheapest"),
])  # fmt: skip
def test_wrong_usage(fault, files, words):
    fault("pair", "--inner", files[0], "--outer", files[1], *words, code=2)


def test_one_side_only_is_wrong_usage(fault, files):
    fault("pair", "--inner", files[0], *LIMITS, code=2)


def test_both_legs(answer, write):
    inner = write("i.csv", rack("od_mm", [13.90, 13.91], "I", None, ("upper", "lower")))
    outer = write("o.csv", rack("id_mm", [14.06, 14.05], "O", None, ("upper", "lower")))
    result = answer("pair", "--inner", inner, "--outer", outer, *LIMITS)
    assert [(pair["inner"], pair["outer"]) for pair in result["pairs"]] == [("I0", "O1"), ("I1", "O0")]


def test_text_warns_of_the_drift_that_pairing_hides(run, write):
    means = [13.90 + 0.004 * i for i in range(8)]
    inner = write("i.csv", rack("od_mm", means, "I", "stocking"))
    outer = write("o.csv", rack("id_mm", [m + 0.15 for m in means] + [14.60], "O"))
    code, out, _ = run("pair", "--inner", inner, "--outer", outer, *LIMITS)
    assert code == 0
    assert "Pairing hides a drifting die" in out and "DRIFTING" in out
    assert "wants a stocking of" in out and "paired" in out


def test_plot(run, files, tmp_path):
    run("pair", "--inner", files[0], "--outer", files[1], *LIMITS, "--plot", tmp_path / "p.png")
    assert (tmp_path / "p.png").stat().st_size > 3000


def test_the_cost_is_chosen_in_the_plan(tmp_path):
    """Without --cost the workshop's plan says what is made least; the option wins over it."""
    from qc.jobs.remedies.source import pair_from
    from qc.jobs.workshop import open_workshop

    folder = tmp_path / "shop"
    open_workshop(folder, create=True).store.close()
    plan = folder / "plan.yaml"
    text = plan.read_text("utf-8")
    wanted = "  wanted_ppk: 1.0"
    assert wanted in text
    plan.write_text(text.replace(wanted, f"  pairing_cost: mean-absolute\n{wanted}"), "utf-8")
    inner, outer = tmp_path / "inner.csv", tmp_path / "outer.csv"
    inner.write_text("tube,station,direction,od_mm\nI1,1,0,13.846\nI2,1,0,13.861\n", "utf-8")
    outer.write_text("tube,station,direction,id_mm\nO1,1,0,14.013\nO2,1,0,14.000\n", "utf-8")
    limits = {"target_um": 150.0, "lower_um": 100.0, "upper_um": 200.0}

    def cost(workshop, asked=""):
        return pair_from(inner, outer, workshop=workshop, cost=asked, **limits).to_dict()["cost"]

    assert cost(folder) == pytest.approx(6.0)  # |154 - 150| + |152 - 150|, by hand
    assert cost(None) == pytest.approx(20.0)  # 4 squared and 2 squared
    assert cost(folder, "mean-squares") == pytest.approx(20.0)


def test_a_locked_pair_stays_and_the_rest_goes_around_it(answer, files):
    inner, outer, *_ = files
    free = answer("pair", "--inner", inner, "--outer", outer, *LIMITS)["pairs"]
    mates = {pair["inner"]: pair["outer"] for pair in free}
    other = next(mate for name, mate in mates.items() if name != "I0")
    kept = answer("pair", "--inner", inner, "--outer", outer, *LIMITS, "--lock", f"I0={other}")["pairs"]
    now = {pair["inner"]: pair["outer"] for pair in kept}
    assert now["I0"] == other and sorted(now) == sorted(mates)
    assert len(set(now.values())) == len(now)


@pytest.mark.parametrize(("lock", "code", "said"), [
    ("I0", 2, "write INNER=OUTER"),
    ("I9=O0", 1, "I9 is no inner tube of the rack. There are: I0"),
    ("I0=O9", 1, "O9 is no outer tube of the rack"),
])  # fmt: skip
def test_a_pair_that_cannot_be_locked_is_refused(fault, files, lock, code, said):
    inner, outer, *_ = files
    assert said in fault("pair", "--inner", inner, "--outer", outer, *LIMITS, "--lock", lock, code=code)


def test_two_locks_of_one_tube_and_one_that_does_not_go_in(fault, write, files):
    inner, outer, *_ = files
    words = ("pair", "--inner", inner, "--outer", outer, *LIMITS, "--lock", "I0=O0", "--lock")
    assert "I0 is locked to two tubes" in fault(*words, "I0=O1")
    wide = write("wide.csv", rack("od_mm", [13.90, 14.10], "I", "stocking"))
    tight = write("tight.csv", rack("id_mm", [14.05, 14.25], "O"))
    refused = fault("pair", "--inner", wide, "--outer", tight, *LIMITS, "--lock", "I1=O0")
    assert "I1 does not go into O0: at its tightest there is no clearance" in refused


def test_the_tight_end_of_each_pair_is_named(run, write):
    bores = "tube,station,leg,id_mm\nO0,mouth,upper,14.060\nO0,crook,upper,14.041\n"
    inner = write("i.csv", "tube,station,leg,od_mm\nI0,mouth,upper,13.900\n")
    _, out, _ = run("pair", "--inner", inner, "--outer", write("o.csv", bores), *LIMITS)
    assert "tight at upper leg, crook: 141 µm, 19 µm looser elsewhere" in out


def test_each_model_of_the_rack_is_paired_by_itself():
    """A tenor's inner would go into the bass' outer with room to spare, and is not put there."""
    readings = pl.DataFrame(
        [("T-I", "tenor", "inner_od", 13.90), ("T-O", "tenor", "outer_bore", 14.05),
         ("B-I", "bass", "inner_od", 14.20), ("S", "tenor", "inner_od", 13.9),
         ("S", "tenor", "outer_bore", 14.0), ("F", "tenor", "inner_od", 13.9)],
        schema=["serial", "model", "characteristic", "value"], orient="row",
    ).with_columns(
        leg=pl.lit("upper"), station=pl.lit("mouth"), direction=pl.lit("0"), surface=pl.lit("")
    )  # fmt: skip
    fitted = pl.DataFrame({"serial": ["Q-1"], "subject": ["F"]})
    events = {"part": fitted, "shipped": fitted.clear()}
    store = SimpleNamespace(readings=lambda **_: readings, events=lambda kind, **_: events[kind])
    limits = DatedLimits(target=150.0, lower=100.0, upper=200.0)
    figure = Characteristic(id="clearance", name="Clearance", unit="um", limits=(limits,))
    plan = SimpleNamespace(
        stages=[SimpleNamespace(characteristics=[figure])], workshop=SimpleNamespace(pairing_cost="")
    )
    shop = SimpleNamespace(store=store, plan=plan, today=date(2026, 11, 3))
    assert rack_models(shop) == ["tenor", "bass"]
    found = pair_rack(shop, model="tenor")
    assert [(pair.inner, pair.outer) for pair in found.pairing.pairs] == [("T-I", "T-O")]
    with pytest.raises(RemedyError, match="loose inners of model bass, and no loose outers"):
        pair_rack(shop, model="bass")
