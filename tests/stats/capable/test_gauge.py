"""The gauge's share of what is seen: arithmetic, coverage, and the words."""

import json
import math

import numpy as np
import pytest

from qc.stats.capable.bounds import two_sided_bound
from qc.stats.capable.figures import capability
from qc.stats.capable.gauge import Seen, gauge_share
from qc.stats.capable.result import Limits
from qc.stats.errors import StatisticsError

LIMITS = Limits(-3.6, 4.2)


def test_variances_subtract():
    found = gauge_share(Seen(0.0, 1.0, 50, 49, sigma=0.8), LIMITS, 0.6)
    assert found.share_of_variance == pytest.approx(0.36)
    assert found.pp == pytest.approx(7.8 / (6 * 0.8))
    assert found.ppk == pytest.approx(3.6 / (3 * 0.8))
    assert found.cp == pytest.approx(7.8 / (6 * math.sqrt(0.28)))
    assert found.cpk == pytest.approx(3.6 / (3 * math.sqrt(0.28)))


def test_a_gauge_that_hardly_scatters_changes_nothing():
    found = gauge_share(Seen(0.0, 1.0, 50, 49), LIMITS, 1e-9)
    assert found.ppk == pytest.approx(1.2)
    assert found.ppk_interval == pytest.approx(two_sided_bound(1.2, [0.025, 0.975], 50, 49))
    assert found.cp is None and found.cpk is None


@pytest.mark.parametrize("n, share", [(30, 0.1), (50, 0.33), (100, 0.5)])
def test_interval_covers_in_simulation(n, share):
    """4,000 samples: at least 95 % less 3 standard errors (0.0103), and not above 97.5 %."""
    rng = np.random.default_rng(8)
    own = math.sqrt(1.0 - share)
    limits = Limits(-4.0 * own, 5.0 * own)
    hits = 0
    for _ in range(4000):
        sample = rng.normal(0.0, own, n) + rng.normal(0.0, math.sqrt(share), n)
        found = gauge_share(
            Seen(float(sample.mean()), float(sample.std(ddof=1)), n, n - 1), limits, math.sqrt(share)
        )
        low, high = found.ppk_interval or (0.0, 0.0)
        hits += low <= 4.0 / 3.0 <= high
    assert 0.95 - 0.0103 <= hits / 4000 <= 0.975


def test_a_gauge_that_scatters_more_than_the_readings_gives_no_figure():
    found = gauge_share(Seen(0.0, 1.0, 50, 49), LIMITS, 1.5)
    assert found.ppk is None and found.share_of_variance == pytest.approx(2.25)
    assert found.sentence.startswith("The gauge alone (sd 1.5) scatters as much as all readings (sd 1)")
    assert "check the gauge's sd" in found.sentence


def test_words_and_strict_json():
    readings = np.random.default_rng(3).normal(0.0, 1.0, 60)
    found = capability(readings, lower=-4.0, upper=4.0, gauge_sd=0.5)
    assert found.sentences == (found.sentence, found.gauge.sentence)
    assert "with a perfect gauge Ppk would be" in found.gauge.sentence
    plain = found.to_dict()["gauge"]
    assert plain == json.loads(json.dumps(plain, allow_nan=False))
    assert set(plain) == {"sd", "share_of_variance", "cp", "cpk", "pp", "ppk", "intervals", "reason"}
    assert found.gauge.ppk > found.ppk
    withheld = capability(readings[:9], lower=-4.0, upper=4.0, gauge_sd=0.5)
    assert withheld.to_dict()["gauge"]["share_of_variance"] is None
    assert withheld.sentences[1] == "What the gauge adds is not said: capability is withheld."


def test_behind_a_fitted_shape_only_the_share_is_said():
    readings = np.random.default_rng(3).lognormal(0.0, 0.3, 60)
    found = capability(readings, upper=5.0, gauge_sd=0.1, shape="positive").gauge
    assert found.share_of_variance == pytest.approx(0.01 / np.var(readings, ddof=1))
    assert found.ppk is None and "cannot be told from the gauge" in found.sentence


@pytest.mark.parametrize(
    "seen, gauge_sd, confidence, said",
    [
        (Seen(0.0, 0.0, 50, 49), 0.1, 0.95, "sd of the readings 0.0"),
        (Seen(0.0, 1.0, 50, 49), 0.0, 0.95, "gauge sd is 0.0"),
        (Seen(0.0, 1.0, 50, 49), math.inf, 0.95, "gauge sd is inf"),
        (Seen(0.0, 1.0, 50, 49), 0.1, 1.0, "confidence is 1.0"),
    ],
)
def test_bad_questions_are_named(seen, gauge_sd, confidence, said):
    with pytest.raises(StatisticsError, match=said):
        gauge_share(seen, LIMITS, gauge_sd, confidence=confidence)
