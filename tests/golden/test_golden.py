"""What users see stays: every face is compared with what it said when the golden files were taken.

A wanted change is taken over with ``python tests/golden/take.py``, after a look at the difference.
"""

import importlib.util
import json
from pathlib import Path

import pytest

HERE = Path(__file__).resolve().parent


def _load(name):
    spec = importlib.util.spec_from_file_location(f"golden_{name}", HERE / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


taking = _load("taking")


@pytest.fixture(scope="module")
def taker(demo_folder, tmp_path_factory):
    return taking.Taker(demo_folder, tmp_path_factory.mktemp("golden"))


@pytest.mark.parametrize("name", taking.Taker.names())
def test_nothing_changed(taker, name):
    kept = json.loads((taking.FILES / f"{name}.json").read_text("utf-8"))
    found = list(taking.differences(kept, taking.settled(taker.take(name))))
    assert found == [], "\n".join(found[:20])


def test_a_workshop_of_an_earlier_program_is_carried_over(tmp_path):
    """Its verdicts, signals, held rows and a lead's decisions stand, and it takes in further sheets."""
    answers = dict(taking.ask_before(tmp_path / "shop"))
    assert sorted(answers) == sorted(path.stem for path in taking.BEFORE.iterdir())
    for name, answer in answers.items():
        kept = json.loads((taking.BEFORE / f"{name}.json").read_text("utf-8"))
        found = list(taking.differences(kept, taking.settled(answer), name))
        assert found == [], "\n".join(found[:20])


def test_every_file_is_compared():
    assert sorted(path.stem for path in taking.FILES.iterdir()) == sorted(taking.Taker.names())


def test_a_difference_is_found():
    kept = {"a": [1.0, "x", None], "b": 0.0}
    assert list(taking.differences(kept, {"a": [1.0 + 1e-12, "x", None], "b": 1e-13})) == []
    for other in (
        {"b": 0.0, "a": [1.0, "x", None]},
        {"a": [1.0001, "x", None], "b": 0.0},
        {"a": [1.0, "x"], "b": 0.0},
    ):
        assert len(list(taking.differences(kept, other))) == 1
    assert list(taking.differences([True], [1])) and list(taking.differences(["1"], [1]))
