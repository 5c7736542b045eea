"""Words that every floor shares."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.words import closest, listed, some_of


def test_long_lists_are_cut_with_a_count():
    assert some_of([]) == "none"
    assert some_of(["a"]) == "a"
    assert some_of(map(str, range(12))) == "0, 1, 2, 3, 4, 5, 6, 7 and 4 more"


@given(st.lists(st.text("abc", min_size=1), min_size=1))
def test_a_list_names_every_word_once_and_has_one_and(words):
    said = listed(words)
    assert said.replace(" and ", ", ").split(", ") == words
    assert said.count(" and ") == (len(words) > 1)


@given(st.text("abcdefgh", min_size=1), st.lists(st.text("abcdefgh", min_size=1), unique=True))
def test_the_closest_word_is_one_of_those_allowed_and_an_exact_one_is_found(typed, allowed):
    assert closest(typed, allowed) in {"", *allowed}
    if typed in allowed and all(sorted(other) != sorted(typed) for other in allowed if other != typed):
        assert closest(typed, allowed) == typed


@pytest.mark.parametrize("typed, allowed", [("tenor", ["tenor-f", "tenor-g"]), ("x", ["AB"]), ("x", [])])
def test_two_close_ones_or_none_give_no_guess(typed, allowed):
    assert closest(typed, allowed) == ""
