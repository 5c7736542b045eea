"""A piece that leaves without a card that nearly all others have: told on the receipt of the list."""

import pytest

JOINTS = "Card,Joints card\n\nDate,Serial,Model,Leak\n"
POLISH = "Card,Polishing card\n\nDate,Serial,Model,Mass loss\n"
SHIPPING = "Card,Shipping list\n\nShipped,Serial,Person\n"
WITHOUT = "QH-1406 left without a card of Joints: 5 of 5 others that left have one. "


@pytest.fixture
def hand_in(bare, tmp_path, command):
    """Hand in the cards of an evening and give the receipt."""

    def run(day, **texts):
        files = []
        for name, text in texts.items():
            files.append(tmp_path / f"{name}-{day}.csv")
            files[-1].write_text(text, "utf-8")
        done = command("upload", *files, "--as-of", day, "--workshop", bare)
        assert done.exit_code == 0, done.output
        return done.stdout

    return run


def joints(*numbers, day="2026-11-09", leak="1.5"):
    return JOINTS + "".join(f"{day},QH-{number},tenor,{leak}\n" for number in numbers)


def polish(*numbers):
    return POLISH + "".join(f"2026-11-09,QH-{number},tenor,30.5\n" for number in numbers)


def shipped(*numbers, day):
    return SHIPPING + "".join(f"{day},QH-{number},IS\n" for number in numbers)


@pytest.fixture
def five(hand_in):
    """Let five pieces go that have both cards, and begin two more."""
    hand_in("2026-11-10", joints=joints(*range(1401, 1406)), polish=polish(*range(1401, 1408)))
    said = hand_in("2026-11-11", out=shipped(*range(1401, 1406), day="2026-11-11"))
    assert "left without" not in said
    return hand_in


def test_the_receipt_of_the_list_tells_it_where_nearly_all_others_have_that_card(five):
    said = five("2026-11-12", out=shipped(1406, day="2026-11-12"))
    assert f"   {WITHOUT}Hand it in, or look for one with a slip in its serial." in said
    again = five("2026-11-12", out=shipped(1406, day="2026-11-12"))
    assert "left without" not in again, "a list that brings nothing new has told it before"


def test_what_comes_in_with_the_list_or_waits_as_a_held_row_is_not_missed(five):
    day = "2026-11-12"
    assert "left without" not in five(day, out=shipped(1406, day=day), joints=joints(1406, day=day))
    held = five(day, outs=shipped(1407, day=day), joint=joints(1407, day=day, leak="150"))
    assert "1 held" in held and "left without" not in held


def test_a_card_that_others_lack_too_is_not_missed(five):
    day = "2026-11-12"
    assert "QH-1406 and QH-1407 left without a card of Joints" in five(day, out=shipped(1406, 1407, day=day))
    five(day, polish=polish(1408))
    assert "left without" not in five(day, outs=shipped(1408, day=day))
