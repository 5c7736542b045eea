"""What people type to name a signal: its number, or the beginning of its id, and nothing between them."""

from types import SimpleNamespace

import pytest

from qc.jobs.judging import answering


def signal(own, *numbers, before=()):
    return SimpleNamespace(id=own, numbers=numbers, before=before)


EVERY = [signal("98d2", 1, 2, before=("7edc",)), signal("29ab", 4), signal("1f00", 12)]


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("1", ["98d2"]),
        ("2", ["98d2"]),
        ("12", ["1f00"]),
        (" 4 ", ["29ab"]),
        ("29a", ["29ab"]),
        ("7e", ["98d2"]),
    ],
)
def test_a_number_or_the_beginning_of_an_id(typed, meant):
    assert [one.id for one in answering(EVERY, typed)] == meant


@pytest.mark.parametrize("typed", ["3", "9", "29", "98", ""])
def test_a_number_that_none_bears_is_no_beginning_of_an_id(typed):
    """One digit mistyped would close another signal for good."""
    assert answering(EVERY, typed) == []


def test_signals_from_before_they_had_numbers_go_by_their_ids():
    assert [one.id for one in answering([signal("98d2"), signal("29ab")], "9")] == ["98d2"]
