import pytest

from qc.plan.sentences import did_you_mean, name_list


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


def test_long_lists_are_cut_with_a_count():
    assert name_list([]) == "none"
    assert name_list(["a"]) == "a"
    assert name_list(map(str, range(12))) == "0, 1, 2, 3, 4, 5, 6, 7 and 4 more"
