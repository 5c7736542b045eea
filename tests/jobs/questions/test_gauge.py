"""`qc gauge` end to end: the agreed JSON, text, other questions, bad tables."""

import json
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from qc.jobs.questions.gauge import gauge_agreement, gauge_linearity, gauge_study
from qc.stats import StatisticsError, StatisticsUsageError

PUBLISHED = json.loads((Path(__file__).parents[2] / "published/gauge_studies.json").read_text("utf-8"))
E2 = PUBLISHED["E2"]
CONTRACT = {
    "anova", "components", "sd", "share_of_variation", "share_of_tolerance", "categories", "intervals",
    "good_for",
}  # fmt: skip


def columns(readings):
    parts, persons, _ = np.indices(readings.shape)
    return {
        "tube": [f"T{i + 1}" for i in parts.ravel()],
        "who": [f"P{i + 1}" for i in persons.ravel()],
        "mm": readings.ravel().tolist(),
    }


@pytest.fixture
def thermal(table):
    return table(columns(np.array(E2["data"]["rows"])))


@pytest.fixture
def qc(command):
    return partial(command, "gauge")


ASK = ("--value", "mm", "--part", "tube", "--person", "who")


def test_published_study_from_every_kind_of_file(table):
    expected = E2["recomputed"]["summary_full"]
    for name in ("a.csv", "a.parquet", "a.xlsx"):
        path = table(columns(np.array(E2["data"]["rows"])), name)
        plain = gauge_study(path, "mm", "tube", "who", lower=10, upper=60).to_dict()
        assert plain["components"]["gauge"] == pytest.approx(expected["var_grr"], abs=1e-8)
        assert plain["share_of_variation"] == pytest.approx(expected["pct_study_var_grr"] / 100, abs=1e-9)
        assert plain["categories"] == expected["ndc"]
        assert plain["good_for"] == ["charting"]
        assert plain["intervals"]["gauge"] == pytest.approx(
            PUBLISHED["E7"]["recomputed"]["grr_var_CI_MLS"], rel=1e-6
        )


def test_json_is_one_strict_object_and_nothing_else(qc, thermal):
    answer = qc(thermal, *ASK, "--lower", 10, "--upper", 60, "--json")
    assert answer.exit_code == 0 and answer.stderr == ""
    assert answer.stdout.count("\n") == 1
    found = json.loads(answer.stdout, parse_constant=lambda word: pytest.fail(f"{word} is not strict JSON"))
    assert set(found) >= CONTRACT
    assert set(found["components"]) == {"repeatability", "person", "person_part", "part", "gauge", "total"}
    assert found["guard_band"]["accept"] == pytest.approx(
        [10 + 2 * found["sd"]["gauge"], 60 - 2 * found["sd"]["gauge"]]
    )


def test_text_says_the_verdict_first(qc, thermal):
    answer = qc(thermal, *ASK, "--lower", 10, "--upper", 60, "--by-hand")
    first, *rest = answer.stdout.splitlines()
    assert first.startswith("Good for charting: it tells 7 groups of parts apart; marginal for release")
    text = "\n".join(rest)
    for word in (
        "between persons",
        "of the tolerance: 16.1 %",
        "guard band",
        "By averages and ranges",
    ):
        assert word in text
    assert text.count("  person and part together") == 2  # among the spreads and in the table of variance
    assert "nan" not in text and "None" not in text


def test_interaction_is_pooled_and_said(qc, table):
    rng = np.random.default_rng(1)
    path = table(columns(rng.normal(size=(6, 1, 1)) + 0.1 * rng.normal(size=(6, 3, 2))))
    pooled = json.loads(qc(path, *ASK, "--json").stdout)
    kept = json.loads(qc(path, *ASK, "--keep-interaction", "--json").stdout)
    assert pooled["pooled"] and any("--keep-interaction" in w for w in pooled["warnings"])
    assert not kept["pooled"] and "person_part" in [row["source"] for row in kept["anova"]]
    assert "Note: 'person and part together' is pooled" in qc(path, *ASK).stdout


def test_by_hand_figures_of_the_filled_form(table):
    path = table(columns(np.array(PUBLISHED["E3"]["data"]["rows"])))
    found = gauge_study(path, "mm", "tube", "who", by_hand=True).to_dict()["by_hand"]
    assert found["sd"]["gauge"] == pytest.approx(PUBLISHED["E3"]["published"]["GRR"], abs=6e-5)
    assert found["categories"] == PUBLISHED["E3"]["published"]["ndc"]


def test_by_hand_figures_of_a_study_with_holes_rest_on_the_parts_that_all_read(table):
    """The third part lacks a reading: the figures are those of the form without that part."""
    full = np.array(PUBLISHED["E3"]["data"]["rows"])
    cells = columns(full)
    third = list(dict.fromkeys(cells["tube"]))[2]
    gone = cells["tube"].index(third) + 4
    path = table({name: [v for row, v in enumerate(own) if row != gone] for name, own in cells.items()})
    found = gauge_study(path, "mm", "tube", "who", by_hand=True)
    without = gauge_study(
        table(columns(np.delete(full, 2, axis=0)), "w.csv"), "mm", "tube", "who", by_hand=True
    )
    said = found.to_dict()["by_hand"]
    assert said.pop("left_out") == [third]
    assert said == without.to_dict()["by_hand"]
    assert "not read equally often by all" in found.to_text()


def test_one_person_and_nested(qc, table):
    rng = np.random.default_rng(2)
    path = table(columns(rng.normal(size=(8, 1, 1)) + 0.1 * rng.normal(size=(8, 1, 2))))
    alone = qc(path, "--value", "mm", "--part", "tube")
    assert alone.exit_code == 0 and "one-person study" in alone.stdout
    own = table(columns(rng.normal(size=(4, 3, 2))), "own.csv")
    assert gauge_study(own, "mm", "tube", "who", nested=True).study.design == "nested"


def test_by_hand_figures_of_one_person(qc, table):
    """E6: twenty parts twice by one person; the limits of the part means from the ranges."""
    path = table(columns(np.array(PUBLISHED["E6"]["data"])[:, None, :]))
    exact = PUBLISHED["E6"]["recomputed"]
    answer = qc(path, "--value", "mm", "--part", "tube", "--by-hand", "--json")
    found = json.loads(answer.stdout)["by_hand_alone"]
    assert found["gauge_sd"] == pytest.approx(exact["sigma_gauge"], rel=1e-8)
    assert found["part_variance"] == pytest.approx(exact["var_product"], rel=1e-8)
    assert found["limits"] == pytest.approx(exact["xbar_limits"], abs=1e-7)
    low, high = found["limits"]
    text = qc(path, "--value", "mm", "--part", "tube", "--by-hand").stdout
    assert f"ranges: {low:.5g} to {high:.5g}; {found['outside']} of 20 parts lie outside" in text
    assert "by_hand_alone" not in gauge_study(path, "mm", "tube", "who", by_hand=True).to_dict()


def test_linearity(qc, table):
    references = np.repeat([5.0, 10.0, 20.0], 5)
    readings = references * 1.01 + 0.002 * np.random.default_rng(3).standard_normal(15)
    path = table({"ring": references, "read": readings})
    found = json.loads(qc(path, "--value", "read", "--reference", "ring", "--json").stdout)
    assert found["scale_off"] and found["slope"] == pytest.approx(0.01, abs=5e-4)
    text = qc(path, "--value", "read", "--reference", "ring").stdout
    assert text.startswith("The scale is off") and "clear" in text
    assert gauge_linearity(path, "read", "ring").linearity.biases[0].n == 5


def judged(rng, error=0.1):
    rows = {"piece": [], "who": [], "verdict": [], "true": []}
    for piece in range(30):
        true = piece % 3 == 0
        for who in ("P1", "P2"):
            for _ in range(2):
                said = true != (rng.random() < error)
                for name, cell in zip(
                    rows, (piece, who, "bad" if said else "good", "bad" if true else "good"), strict=True
                ):
                    rows[name].append(cell)
    return rows


def test_agreement(qc, table):
    path = table(judged(np.random.default_rng(4)))
    words = (
        "--value",
        "verdict",
        "--part",
        "piece",
        "--person",
        "who",
        "--agreement",
        "--truth",
        "true",
        "--bad",
        "bad",
    )
    found = json.loads(qc(path, *words, "--json").stdout)
    assert found["pieces"] == 30 and set(found["within"]) == {"P1", "P2"} == set(found["against_truth"])
    assert found["missed"]["P1"]["n"] == 20 and found["rejected"]["P1"]["n"] == 40
    assert 0 < found["between"]["kappa"] < 1
    text = qc(path, *words).stdout
    assert "% of all pairs of judgements agree" in text.splitlines()[0]
    assert "P2 passed" in text and "P1 with the truth" in text
    alone = table(
        {
            k: [c for c, w in zip(v, judged(np.random.default_rng(4))["who"], strict=True) if w == "P1"]
            for k, v in judged(np.random.default_rng(4)).items()
        },
        "one.csv",
    )
    only = gauge_agreement(alone, "verdict", "piece", "who")
    assert (
        only.between is None
        and only.against == {}
        and only.to_text().startswith("Agreement with others cannot")
    )


DATA_FAULTS = [
    pytest.param(
        {"tube": ["a", "a", "b", "b"], "who": ["x", "x", "y", "y"], "mm": [1.0, 2.0, 3.0, 4.0]},
        "no part ties some of the people to the others",
        id="untied",
    ),
    pytest.param({"tube": ["a"] * 2, "who": ["x"] * 2, "mm": ["1.0", "1,5"]}, "line 3: '1,5'", id="comma"),
    pytest.param(
        {"tube": ["a"] * 2, "who": ["x"] * 2, "mm": ["1.0", ""]}, "value has 1 readings", id="empty"
    ),
    pytest.param(
        {"tube": ["a", ""], "who": ["x"] * 2, "mm": [1.0, 2.0]},
        "line 3: column 'tube' has no label",
        id="no part",
    ),
    pytest.param(
        {"tube": ["a", "a", "b", "b"], "who": ["x"] * 4, "mm": [1.0] * 4}, "all readings are equal", id="flat"
    ),
    pytest.param(
        {"tube": ["a", "a"], "who": ["x"] * 2, "mm": ["inf", "1"]}, "not a finite number", id="infinite"
    ),
    pytest.param(
        {"rod": ["a"] * 2, "who": ["x"] * 2, "mm": [1.0, 2.0]}, "there is no column 'tube'", id="column"
    ),
]


def test_empty_readings_and_uneven_repeats_are_holes_of_a_study(table):
    """An empty cell and a row that is not there say the same, in a nested study too."""
    rng = np.random.default_rng(7)
    tubes, people = [f"t{k // 4}" for k in range(24)], ["x", "x", "y", "y"] * 6
    mm = [str(v) for v in np.round(10 + np.repeat(rng.normal(0, 0.1, 6), 4) + rng.normal(0, 0.01, 24), 4)]
    gone = [5, 10, 11]
    empty = {"tube": tubes, "who": people, "mm": ["" if k in gone else v for k, v in enumerate(mm)]}
    left_out = {name: [v for k, v in enumerate(cells) if k not in gone] for name, cells in empty.items()}
    found = gauge_study(table(empty), "mm", "tube", "who")
    assert found.study == gauge_study(table(left_out), "mm", "tube", "who").study
    assert "3 of 24 readings of a full study are missing" in found.to_text()
    assert found.study.advice in found.to_text() and found.to_dict()["reads"][0]["person"] == "x"
    own = gauge_study(table(empty), "mm", "tube", "who", nested=True).study
    assert own == gauge_study(table(left_out), "mm", "tube", "who", nested=True).study
    assert own.design == "nested" and "3 of 24 readings" in own.warnings[0]


@pytest.mark.parametrize("cells, said", DATA_FAULTS)
def test_faults_in_the_data_name_file_and_place(table, cells, said):
    with pytest.raises(StatisticsError, match=said) as caught:
        gauge_study(table(cells), "mm", "tube", "who")
    assert "t.csv" in str(caught.value) and "\n" not in str(caught.value)


WRONG = [
    pytest.param(("--value", "mm"), "needs --part", id="no part"),
    pytest.param((*ASK, "--nested", "--by-hand"), "crossed studies only", id="by hand nested"),
    pytest.param(
        (*ASK, "--reference", "mm", "--nested"), "--nested does not go with --reference", id="mixed"
    ),
    pytest.param((*ASK, "--agreement", "--lower", "1"), "--lower does not go with --agreement", id="limit"),
    pytest.param((*ASK, "--truth", "who"), "--truth does not go with a study", id="truth"),
    pytest.param(("--value", "mm", "--part", "tube", "--agreement"), "needs --person", id="no person"),
    pytest.param((*ASK, "--agreement", "--bad", "x"), "need the column of the true verdict", id="no truth"),
    pytest.param((*ASK, "--sheet", "x"), "has no sheets", id="sheet of a csv"),
    pytest.param(("--value", "mm", "--reference", "mm", "--lower", "0"), "--lower does not go", id="limit 0"),
    pytest.param(("--value", "mm", "--reference", "mm", "--part", "tube"), "--part does not go", id="part"),
    pytest.param(("--value", "mm", "--reference", "mm", "--person", "who"), "--person does not", id="person"),
    pytest.param((*ASK, "--confidence", "95"), "must lie between 0 and 1", id="percent"),
]


@pytest.mark.parametrize("words, said", WRONG)
def test_wrong_usage_is_two_with_one_line(qc, thermal, words, said):
    answer = qc(thermal, *words, "--json")
    assert answer.exit_code == 2 and answer.stdout == ""
    assert said in answer.stderr and answer.stderr.count("\n") == 1


def test_missing_file_and_option(qc, tmp_path):
    answer = qc(tmp_path / "none.csv", *ASK)
    assert answer.exit_code == 2 and "there is no such file" in answer.stderr
    assert qc(tmp_path / "none.csv").exit_code == 2


def test_bad_word_that_nobody_wrote(table):
    path = table(judged(np.random.default_rng(4)))
    with pytest.raises(StatisticsError, match="no verdict reads 'scrap'"):
        gauge_agreement(path, "verdict", "piece", "who", truth="true", bad="scrap")
    with pytest.raises(StatisticsUsageError, match="true verdict"):
        gauge_agreement(path, "verdict", "piece", "who", bad="bad")


def verdicts(*rows):
    return {
        name: list(cells)
        for name, cells in zip(("piece", "who", "verdict", "true"), zip(*rows, strict=True), strict=True)
    }


ASK_VERDICTS = ("--value", "verdict", "--part", "piece", "--person", "who", "--agreement")


def test_a_person_who_always_says_the_same_does_not_stop_the_others(qc, table):
    rows = []
    for piece in range(6):
        true = "bad" if piece % 2 else "good"
        for _ in range(2):
            rows += [(piece, "P1", "good", true), (piece, "P2", true, true)]
    path = table(verdicts(*rows))
    found = json.loads(qc(path, *ASK_VERDICTS, "--truth", "true", "--bad", "bad", "--json").stdout)
    assert set(found["within"]) == {"P2"} and set(found["against_truth"]) == {"P1", "P2"}
    assert found["against_truth"]["P1"]["kappa"] == 0.0 and found["against_truth"]["P2"]["kappa"] == 1.0
    assert found["missed"]["P1"]["share"] == 1.0 and found["missed"]["P2"]["share"] == 0.0
    assert found["warnings"] == ["P1 always said good: no kappa of P1 with themselves"]
    assert "Note: P1 always said good" in qc(path, *ASK_VERDICTS).stdout


def test_one_verdict_from_everybody_is_told(qc, table):
    path = table(verdicts(*((piece, who, "good", "good") for piece in range(3) for who in ("P1", "P2"))))
    answer = qc(path, *ASK_VERDICTS, "--truth", "true")
    assert answer.exit_code == 0 and "every verdict is good" in answer.stdout
    assert "P1 and the truth are always good" in answer.stdout


@pytest.mark.parametrize(
    "rows, said",
    [
        (((1, "P1", "good", "good"), (1, "P2", "good", "bad")), "part 1 is truly good in one row and bad"),
        (
            (
                (1, "P1", "good", "good"),
                (1, "P2", "bad", "good"),
                (2, "P1", "bad", "bad"),
                (2, "P2", "bad", "bad"),
                (3, "P1", "bad", "bad"),
            ),
            "part 3 has 1 verdict where others have 2",
        ),
    ],
)
def test_faults_in_verdicts_name_the_piece(table, rows, said):
    with pytest.raises(StatisticsError, match=said):
        gauge_agreement(table(verdicts(*rows)), "verdict", "piece", "who", truth="true")


def test_an_interaction_that_cannot_be_kept_is_told(qc, table):
    rng = np.random.default_rng(5)
    once = table(columns(rng.normal(size=(6, 3, 1))), "once.csv")
    nested = table(columns(rng.normal(size=(6, 3, 2))), "nested.csv")
    for path, more in ((once, ()), (nested, ("--nested",))):
        answer = qc(path, *ASK, *more, "--keep-interaction")
        assert answer.exit_code == 0 and "the interaction cannot be kept apart" in answer.stdout
