"""Large answers as JSON: the same text as at once, and never all of it in memory."""

import json
import tracemalloc

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc import plain

LEAVES = (
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text()
)
VALUES = st.recursive(
    LEAVES,
    lambda own: st.lists(own, max_size=9) | st.dictionaries(st.text() | st.integers(), own),
    max_leaves=30,
)


@given(VALUES)
def test_the_parts_together_are_the_text_of_the_encoder(value):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(plain, "AT_ONCE", 3)
        assert "".join(plain.json_parts(value)) == json.dumps(value, ensure_ascii=False, allow_nan=False)


def test_what_is_no_number_is_refused_as_ever():
    with pytest.raises(ValueError, match="Out of range float"):
        list(plain.json_parts({"values": [1.0, float("nan")]}))


@pytest.mark.slow
def test_a_long_list_is_never_there_as_text_at_once(rng):
    value = {"values": rng.normal(size=300_000).tolist()}

    def peak(write):
        tracemalloc.start()
        try:
            write()
            return tracemalloc.get_traced_memory()[1]
        finally:
            tracemalloc.stop()

    whole = peak(lambda: json.dumps(value))
    parts = peak(lambda: sum(len(part) for part in plain.json_parts(value)))
    assert parts < whole / 3  # a thirtieth of the list at once
