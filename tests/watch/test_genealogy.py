"""A part is in one place at a time, and nothing is inside itself, whatever was typed on the cards."""

from datetime import date, timedelta

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.watch import PartUse, homes, part_uses, way_up

KINDS = {"subject": pl.String, "serial": pl.String, "code": pl.String, "day": pl.Date} | dict.fromkeys(
    ("batch", "tool", "person"), pl.String
)
FIRST = date(2026, 3, 2)


def built(*rows):
    """Make part events of (part, piece, days after the first, batch)."""
    full = [
        (part, piece, "bell", FIRST + timedelta(day), batch, None, None) for part, piece, day, batch in rows
    ]
    return pl.DataFrame(full, schema=KINDS, orient="row")


SERIALS = st.sampled_from(["K-1", "K-2", "K-3", "S-1", "S-2", "T-1", "T-2", None])
ROWS = st.lists(st.tuples(SERIALS, SERIALS, st.integers(0, 9), st.none()), max_size=24)


@given(ROWS)
def test_no_part_is_in_two_places_or_inside_itself_and_none_is_lost(rows):
    uses = part_uses(built(*rows))
    home = homes(uses)
    assert len(home) == sum(use.until is None and not use.went_to for use in uses)
    for serial in {part for part, *_ in rows if part}:
        way = way_up(serial, uses)
        assert serial not in way and len(set(way)) == len(way)
    # what was passed over would have closed a circle; all else has both ends and is told
    told = {(use.part, use.piece) for use in uses}
    for part, piece, _, _ in rows:
        if part and piece and part != piece and (part, piece) not in told:
            assert any(use.piece == part for use in uses)
    assert all(use.part and use.piece and use.part != use.piece for use in uses)


@given(ROWS)
def test_a_stay_ends_where_the_next_begins(rows):
    uses = part_uses(built(*rows))
    for part in {use.part for use in uses}:
        own = [use for use in uses if use.part == part]
        for one, later in zip(own, own[1:], strict=False):
            assert (one.went_to, one.until) == (later.piece, later.day)
        assert own[-1].went_to == ""
        if own[-1].until is not None:  # its place was taken by another, from whatever day that was there
            others = [use for use in uses if use.piece == own[-1].piece and use.part != part]
            assert any(use.day == own[-1].until for use in others)


def test_where_pieces_have_one_of_a_kind_the_next_takes_its_place():
    rows = [(f"B-{n}", f"K-{n}", n % 5, None) for n in [1, 2, 3, 4, *range(11, 19)]]
    uses = part_uses(built(*rows, ("B-9", "K-2", 9, None), ("B-3", "K-4", 12, None)))
    out = [(use.part, use.piece, use.until, use.went_to) for use in uses if use.until]
    assert out == [
        ("B-2", "K-2", FIRST + timedelta(9), ""),
        ("B-3", "K-3", FIRST + timedelta(12), "K-4"),
        ("B-4", "K-4", FIRST + timedelta(12), ""),
    ]
    home = homes(uses)
    assert (home["B-9"], home["B-3"]) == ("K-2", "K-4") and not {"B-2", "B-4"} & home.keys()


def test_where_pieces_have_two_of_a_kind_both_are_there():
    rows = [
        (f"{leg}-{n}", f"K-{n}", 2 * n + late, None) for n in range(1, 5) for late, leg in enumerate("UL")
    ]
    uses = part_uses(built(*rows))
    assert len(homes(uses)) == 8 and not any(use.until for use in uses)


def test_swapped_bells_are_each_in_the_other_instrument():
    uses = part_uses(
        built(
            ("B-1", "K-1", 0, "SH-1"),
            ("B-2", "K-2", 0, "SH-2"),
            ("B-1", "K-2", 5, None),
            ("B-2", "K-1", 5, None),
        )
    )
    assert homes(uses) == {"B-1": "K-2", "B-2": "K-1"}
    assert uses[0] == PartUse("B-1", "K-1", "bell", FIRST, "SH-1", until=FIRST + timedelta(5), went_to="K-2")


def test_a_second_card_of_the_same_stay_adds_what_the_first_left_out():
    uses = part_uses(built(("B-1", "K-1", 0, None), ("B-1", "K-1", 3, "SH-1")))
    assert uses == (PartUse("B-1", "K-1", "bell", FIRST, "SH-1"),)


def _whole(uses):
    """Check what holds of every genealogy: no circle, no part in two places, no stay without both ends."""
    home = homes(uses)
    assert len(home) == sum(not use.went_to for use in uses) == len({use.part for use in uses})
    for part in home:
        assert part not in way_up(part, uses)
    assert all(use.part and use.piece for use in uses)


@pytest.mark.parametrize("way", ["swapped about", "doubled", "turned round", "days shuffled"])
def test_sound_cards_that_were_mistyped_make_no_circle(way, rng):
    """Three hundred instruments with five parts each, a fifth of the rows mistyped in one way."""
    rows = [(f"P-{n}-{k}", f"K-{n}", n % 20, f"SH-{n % 7}") for n in range(300) for k in range(5)]
    sound = part_uses(built(*rows))
    assert len(sound) == len(rows) and all(not use.went_to for use in sound)
    for at in rng.choice(len(rows), len(rows) // 5, replace=False):
        part, piece, day, batch = rows[at]
        other = rows[int(rng.integers(len(rows)))]
        rows[at] = {
            "swapped about": (part, other[1], day, batch),
            "doubled": (other[0], piece, day, batch),
            "turned round": (piece, part, day, batch),
            "days shuffled": (part, piece, other[2], batch),
        }[way]
    uses = part_uses(built(*rows))
    _whole(uses)
    assert {use.part for use in uses} <= {part for part, *_ in rows}
