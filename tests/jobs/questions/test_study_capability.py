"""Capability through the front door: fitted distributions, the gauge's share, nested readings, counts."""

import json

import numpy as np
import polars as pl
import pytest

from qc.jobs.questions.studies import study
from qc.stats import LimitRule, Setting, StatisticsUsageError, StudyQuestion, capability, study_frame
from qc.stats.studies.kinds import check_question

CONTRACT = {
    "cp", "cpk", "cpm", "pp", "ppk", "intervals", "confidence", "outside_ppm", "outside_interval", "reason",
    "method", "capable",
}  # fmt: skip


@pytest.fixture
def run_out(tmp_path):
    """Run-out readings above 0 of 60 pieces, three places a piece, in a csv file."""
    rng = np.random.default_rng(21)
    piece = np.repeat(np.arange(60), 3)
    values = rng.lognormal(-3.0, 0.2, 60)[piece] * rng.lognormal(0.0, 0.05, 180)
    path = tmp_path / "run-out.csv"
    pl.DataFrame({"piece": piece, "run_out": values, "faults": rng.poisson(3.0, 180)}).write_csv(path)
    return path


@pytest.fixture
def each_a_piece(run_out, tmp_path):
    """The same readings without a column that says which belong together."""
    path = tmp_path / "each-a-piece.csv"
    pl.read_csv(run_out).drop("piece").write_csv(path)
    return path


@pytest.fixture
def asked(command):
    """Ask the command; parse its JSON."""

    def ask(path, *words, code=0):
        result = command("study", str(path), *words, "--json")
        assert result.exit_code == code, result.output
        return json.loads(result.stdout) if code == 0 else result.stderr

    return ask


@pytest.mark.parametrize(
    "fitted, shape", [("lognormal", "positive"), ("weibull", "weibull"), ("half-normal", "half-normal")]
)
def test_the_command_fits_a_distribution(asked, each_a_piece, fitted, shape):
    run_out = each_a_piece
    values = pl.read_csv(run_out)["run_out"].to_numpy()
    found = asked(run_out, "--value", "run_out", "--upper", "0.12", "--fitted", fitted, "--rules", "none")
    direct = capability(values, upper=0.12, shape=shape)
    capable = found["capability"]
    assert set(capable) == CONTRACT
    assert capable["ppk"] == pytest.approx(direct.ppk)
    assert capable["intervals"]["ppk"] == pytest.approx(list(direct.ppk_interval))
    assert "bootstrap" in capable["method"]
    plain = asked(run_out, "--value", "run_out", "--upper", "0.12", "--rules", "none")
    assert plain["chart"]["upper"] == found["chart"]["upper"]
    assert plain["capability"]["method"].startswith("normal readings")


def test_unknown_distribution_and_missing_limit_are_wrong_usage(asked, run_out):
    said = asked(run_out, "--value", "run_out", "--upper", "0.12", "--fitted", "square", code=2)
    assert "'square' is not known" in said and "half-normal" in said
    said = asked(run_out, "--value", "run_out", "--fitted", "weibull", code=2)
    assert "give a lower or upper limit" in said
    assert "above 0" in asked(run_out, "--value", "run_out", "--upper", "1", "--gauge-sd", "-1", code=2)
    words = ["--value", "faults", "--chart", "defects", "--upper", "9", "--gauge-sd", "1"]
    assert "--gauge-sd" in asked(run_out, *words, code=2)


def test_the_gauge_stands_beside_the_figures(asked, command, each_a_piece):
    run_out = each_a_piece
    words = "--value run_out --upper 0.12 --lower 0 --gauge-sd 0.004 --rules none".split()
    capable = asked(run_out, *words)["capability"]
    assert set(capable) == CONTRACT | {"gauge"}
    values = pl.read_csv(run_out)["run_out"].to_numpy()
    assert capable["gauge"]["share_of_variance"] == pytest.approx(0.004**2 / values.var(ddof=1))
    assert capable["gauge"]["ppk"] > capable["ppk"]
    text = command("study", str(run_out), *words).stdout
    assert "with a perfect gauge Ppk would be" in " ".join(text.split())


@pytest.mark.parametrize("chart", ["three-way", "mean-range", "mean-sd"])
def test_spread_within_and_between_are_kept_apart(asked, command, run_out, chart):
    words = f"--value run_out --subgroup piece --chart {chart} --upper 0.12 --rules none".split()
    found = asked(run_out, *words)
    capable = found["capability"]
    assert set(capable) == CONTRACT | {"spread"}
    spread = capable["spread"]
    assert spread["between"] > spread["within"] > 0
    assert spread["total"] == pytest.approx(np.hypot(spread["within"], spread["between"]))
    assert set(spread["cpk"]) == set(spread["cp"]) == {"within", "between", "total"}
    assert spread["cp"]["total"] is None  # one limit
    text = " ".join(command("study", str(run_out), *words).stdout.split())
    assert "of the variance lies between" in text


def test_series_share_one_pass_and_keep_their_own_answers(tmp_path):
    rng = np.random.default_rng(4)
    names, values = np.repeat([f"s{i}" for i in range(30)], 40), rng.normal(10.0, 1.0, 1200)
    path = tmp_path / "many.parquet"
    pl.DataFrame({"s": names, "x": values}).write_parquet(path)
    found = study(path, "x", series="s", lower=6.0, upper=14.0, rules="none").to_dict()["series"]
    for name in ("s0", "s17"):
        alone = tmp_path / f"{name}.parquet"
        pl.DataFrame({"x": values[names == name]}).write_parquet(alone)
        single = study(alone, "x", lower=6.0, upper=14.0, rules="none").to_dict()
        assert found[name]["capability"]["intervals"]["ppk"] == pytest.approx(
            single["capability"]["intervals"]["ppk"], rel=1e-9
        )
        assert found[name]["capability"]["outside_interval"] == pytest.approx(
            single["capability"]["outside_interval"], rel=1e-9
        )
        assert found[name]["distribution"]["p_value"] == pytest.approx(
            single["distribution"]["p_value"], rel=1e-9
        )


@pytest.mark.parametrize("chart", ["defects", "proportion", "number-defective", "defects-per-unit"])
@pytest.mark.parametrize("limits", ["guaranteed", "prediction"])
def test_count_charts_have_one_kind_of_limits_and_say_so(run_out, chart, limits):
    """A person is told that the option does nothing; a program that asks `qc.stats` is refused."""
    size = {} if chart == "defects" else {"size": "40"}
    found = study(run_out, "faults", chart, limits=limits, **size).to_dict()
    assert any(one.startswith(f"--limits has no effect on chart {chart}") for one in found["warnings"])
    assert found["chart"]["upper"] == study(run_out, "faults", chart, **size).to_dict()["chart"]["upper"]
    with pytest.raises(StatisticsUsageError, match="one kind of limits"):
        check_question(StudyQuestion(chart, Setting(limits=LimitRule.parse(limits))))


def test_time_between_predicts_and_does_not_guarantee(run_out):
    wide = study(run_out, "faults", "time-between", limits="prediction").to_dict()["chart"]
    assert wide["upper"] > study(run_out, "faults", "time-between").to_dict()["chart"]["upper"]
    found = study(run_out, "faults", "time-between", limits="guaranteed").to_dict()
    assert any(one.startswith("--limits has no effect on chart time-between") for one in found["warnings"])
    with pytest.raises(StatisticsUsageError, match="textbook or prediction"):
        study_frame(
            pl.DataFrame({"value": [3.0, 5.0]}),
            StudyQuestion("time-between", Setting(limits=LimitRule.parse("guaranteed"))),
        )


def test_text_of_many_series_counts_the_verdicts(tmp_path):
    rng = np.random.default_rng(6)
    parts = {"good": rng.normal(10.0, 0.5, 60), "poor": rng.normal(10.0, 4.0, 60)}
    parts["few"] = rng.normal(10.0, 1.0, 9)
    path = tmp_path / "three.csv"
    names = np.repeat(list(parts), [part.size for part in parts.values()])
    pl.DataFrame({"s": names, "x": np.concatenate(list(parts.values()))}).write_csv(path)
    text = study(path, "x", series="s", lower=6.0, upper=14.0, rules="none").to_text()
    assert "Capability: 1 proven, 0 unproven, 1 not capable, 1 withheld; the least Ppk is 0." in text
    assert "(poor)." in text
    assert "Capability" not in study(path, "x", series="s").to_text()


@pytest.fixture
def along_tubes(tmp_path):
    """Write six places along each of some tubes that differ more than their places, in the order asked."""

    def write(tubes, *, mixed=False, name="Tube no"):
        rng = np.random.default_rng(3)
        mm = 10.0 + 0.02 * (np.repeat(rng.standard_normal(tubes), 6) + 0.2 * rng.standard_normal(6 * tubes))
        names = np.repeat([f"R{1001 + tube}" for tube in range(tubes)], 6)
        frame = pl.DataFrame({name: names, "station": list(range(1, 7)) * tubes, "mm": mm.round(4)})
        path = tmp_path / "tubes.csv"
        (frame.sort("station", maintain_order=True) if mixed else frame).write_csv(path)
        return path

    return write


MM = ("--value", "mm", "--lower", "9.9", "--upper", "10.1", "--rules", "none")


@pytest.mark.parametrize("mixed", [False, True])
def test_readings_of_one_piece_are_not_as_many_pieces(asked, along_tubes, mixed):
    """72 readings of 12 tubes were called proven or not "from 72 pieces" where no subgroup was named."""
    few = asked(along_tubes(12, mixed=mixed), *MM)
    assert few["capability"]["reason"] == "12 pieces are too few: at least 20 are needed"
    (said,) = [line for line in few["warnings"] if "by the column" in line]
    assert (
        said.startswith("72 readings of 12 pieces by the column 'Tube no'") and "--subgroup Tube no" in said
    )


def test_unnamed_pieces_give_the_interval_that_named_ones_give(asked, along_tubes):
    """The interval of a Ppk of 40 tubes, six readings each, is that of some 40 readings and not of 240."""
    path = along_tubes(40)
    plain = asked(path, *MM)["capability"]
    named = asked(path, *MM, "--subgroup", "Tube no")["capability"]
    assert plain["ppk"] == named["ppk"]
    assert plain["intervals"]["ppk"] == pytest.approx(named["intervals"]["ppk"])
    assert plain["intervals"]["ppk"][1] - plain["intervals"]["ppk"][0] > 0.4


def test_a_serial_for_every_reading_changes_nothing(asked, tmp_path):
    rng = np.random.default_rng(8)
    frame = pl.DataFrame({"serial": [f"R{n}" for n in range(30)], "mm": rng.normal(10.0, 0.02, 30)})
    frame.write_csv(tmp_path / "with.csv")
    frame.drop("serial").write_csv(tmp_path / "without.csv")
    assert asked(tmp_path / "with.csv", *MM) == asked(tmp_path / "without.csv", *MM)
    # in a long table a serial comes again in every series, which is no reading twice
    long = pl.concat([frame.with_columns(what=pl.lit(name)) for name in ("bore", "wall")])
    long.write_csv(tmp_path / "long.csv")
    both = asked(tmp_path / "long.csv", *MM, "--series", "what")["series"]
    assert not any("by the column" in line for one in both.values() for line in one["warnings"])


def test_a_fitted_shape_of_repeated_places_counts_the_pieces(asked, run_out, each_a_piece):
    words = ("--value", "run_out", "--upper", "0.12", "--fitted", "lognormal", "--rules", "none")
    naive = asked(each_a_piece, *words)["capability"]
    for more in ((), ("--subgroup", "piece")):
        told = asked(run_out, *words, *more)
        assert not any("fitted shape" in line for line in told["warnings"])
        found = told["capability"]
        assert found["ppk"] == pytest.approx(naive["ppk"])
        wide, narrow = (one["intervals"]["ppk"][1] - one["intervals"]["ppk"][0] for one in (found, naive))
        assert wide > 1.1 * narrow
