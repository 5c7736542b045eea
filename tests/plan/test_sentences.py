import pytest

from qc.plan.sentences import did_you_mean


@pytest.mark.parametrize(
    "name, known, guess",
    [
        ("Tenor", ["tenor"], 'Did you mean "tenor"?'),
        ("micrometre", ["bore gauge", "micrometer"], 'Did you mean "micrometer"?'),
        ("slid", ["slide", "tuning"], 'Did you mean "slide"?'),
        ("zz", ["slide", "tuning"], ""),
        ("x", [], ""),
    ],
)
def test_the_guess(name, known, guess):
    assert did_you_mean(name, known) == guess
