"""What is made once for all processes: by one of them, whole, and not a second time where it failed."""

from concurrent.futures import ThreadPoolExecutor
from threading import Event

import pytest


def test_whoever_asks_meanwhile_waits_and_makes_nothing(made_once, tmp_path):
    name, begun, go_on, made = f"both {tmp_path.name}", Event(), Event(), []

    def make(folder):
        begun.set()
        assert go_on.wait(60)
        folder.mkdir()
        made.append(folder)

    with ThreadPoolExecutor(2) as pool:
        first = pool.submit(made_once, name, make)
        assert begun.wait(60)
        second = pool.submit(made_once, name, make)  # locks hold in one process too
        with pytest.raises(TimeoutError):
            second.result(0.2)
        go_on.set()
        assert first.result(60) == second.result(60) == made[0]
    assert len(made) == 1


def test_what_a_killed_process_left_is_made_anew(made_once, tmp_path):
    place = made_once(f"before {tmp_path.name}", lambda folder: folder.mkdir())
    left = place.with_name(f"left {tmp_path.name}")
    left.mkdir()
    (left / "half").touch()
    made_once(left.name, lambda folder: (folder.mkdir(), (folder / "whole").touch()))
    assert [path.name for path in left.iterdir()] == ["whole"]


def test_what_failed_is_not_tried_by_everybody(made_once, tmp_path):
    tries = []

    def make(folder):
        tries.append(folder)
        raise ValueError("it cannot be made")

    name = f"never {tmp_path.name}"
    with pytest.raises(ValueError, match="cannot be made"):
        made_once(name, make)
    assert made_once(name, make) == tries[0] and len(tries) == 1
    assert not tries[0].exists()
