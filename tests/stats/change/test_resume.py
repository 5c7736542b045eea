"""A series taken up again comes out bit for bit as judged from nothing, whatever changed in between."""

import ast
import json
import shutil
from pathlib import Path

import numpy as np
import pytest

from qc.stats import KeptState, StatisticsError, count_further, detect, detect_counts, detect_further
from qc.stats.change import resume

SHAPES = ("auto", "normal", "positive", "any")
MOVES = 20
"""Of a history. All histories together make 520 moves, of each kind more than forty."""


def kept(state):
    """What comes back from the store."""
    return KeptState.from_dict(json.loads(json.dumps(state.to_dict(), allow_nan=False)))


def bare(detection):
    record = detection.to_dict()
    return {name: record[name] for name in record if name not in {"scores", "thresholds"}}


class History:
    """A series as a workshop makes it: it grows, is corrected, gets late readings and loses some."""

    def __init__(self, seed):
        self.draw = np.random.default_rng(seed)
        self.values, self.labels, self.rates, self.settled = [], [], [], 0
        self.made, self.level, self.rate = 0, 10.0, 0.01

    def reading(self):
        self.made += 1
        if self.draw.random() < 0.04:
            self.level += self.draw.choice([-3.0, 3.0])
        away = 9.0 if self.draw.random() < 0.02 else 0.0
        return max(round(self.level + away + self.draw.normal(), 1), 0.0), f"R-{self.made}", self.rate

    def put(self, place):
        value, label, rate = self.reading()
        for column, item in ((self.values, value), (self.labels, label), (self.rates, rate)):
            column.insert(place, item)

    def move_on(self):
        what = self.draw.choice(["append", "append", "append", "correct", "late", "drop", "month", "freeze"])
        size = len(self.values)
        if what == "append" or size < 5:
            for _ in range(self.draw.integers(1, 25)):
                self.put(len(self.values))
        elif what == "correct":
            self.values[self.draw.integers(size)] = 12.3
        elif what == "late":
            self.put(self.draw.integers(size))
        elif what == "drop":
            place = self.draw.integers(size)
            for column in (self.values, self.labels, self.rates):
                del column[place]
        elif what == "month":
            self.rate = float(self.draw.choice([0.02, 0.005, 0.001]))
        else:
            self.settled = int(self.draw.integers(size)) if self.draw.random() < 0.5 else 0
        return what


@pytest.mark.slow
@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("seed", range(6))
def test_random_histories_come_out_as_judged_from_nothing(shape, seed, monkeypatch):
    monkeypatch.setattr(resume, "SPACING", 20)
    monkeypatch.setattr(resume, "MOST", 4)
    history, state = History(100 * seed + 7), KeptState()
    raised = 0
    for _ in range(MOVES):
        history.move_on()
        step = None if history.made % 2 else 0.1
        asked = {"false_alarm_rate": history.rates, "labels": history.labels, "shape": shape}
        asked |= {"resolution": step, "settled": history.settled}
        found, state = detect_further(history.values, before=kept(state), **asked)
        whole = detect(history.values, **asked)
        assert bare(found) == bare(whole)
        assert len(state.marks) <= 5 and state.marks[-1].points == len(history.values)
        raised += len(found.signals)
    assert raised


@pytest.mark.slow
@pytest.mark.parametrize("pass_fail", [False, True])
@pytest.mark.parametrize("seed", range(4))
def test_random_histories_of_counts_come_out_as_judged_from_nothing(pass_fail, seed, monkeypatch):
    monkeypatch.setattr(resume, "SPACING", 20)
    monkeypatch.setattr(resume, "MOST", 4)
    history, state = History(100 * seed + 8), KeptState()
    raised = 0
    for _ in range(MOVES):
        history.move_on()
        sizes = [8.0 + len(label) for label in history.labels]
        counts = [min(max(round(2 * value) - 14, 0), 10) for value in history.values]
        asked = {"pass_fail": pass_fail, "settled": history.settled}
        found, state = count_further(counts, sizes, history.rates, before=kept(state), **asked)
        assert bare(found) == bare(detect_counts(counts, sizes, history.rates, **asked))
        raised += len(found.signals)
    assert raised


def series(n, **changed):
    asked = {
        "values": (10 + np.random.default_rng(3).normal(0, 1, n)).round(2).tolist(),
        "false_alarm_rate": [0.001] * n,
        "labels": [f"R-{i}" for i in range(n)],
    }
    return asked | changed


def judged_points(monkeypatch, asked, state):
    """Points that were fed to the detector."""
    fed = []
    whole = resume.DetectorState.add
    with monkeypatch.context() as spy:
        spy.setattr(
            resume.DetectorState,
            "add",
            lambda own, value, **beside: (fed.append(beside["label"]), whole(own, value, **beside)),
        )
        detect_further(**asked, before=state)
    return fed


def test_only_what_is_new_is_judged(monkeypatch):
    _, state = detect_further(**series(130), before=KeptState())
    assert [m.points for m in state.marks] == [50, 100, 130]
    assert judged_points(monkeypatch, series(133), state) == ["R-130", "R-131", "R-132"]
    assert judged_points(monkeypatch, series(130), state) == []


@pytest.mark.parametrize(
    "place, first", [(129, 100), (100, 100), (99, 50), (0, 0)], ids=["near", "at a mark", "before it", "all"]
)
def test_a_corrected_reading_is_judged_from_the_mark_before_it(place, first, monkeypatch):
    _, state = detect_further(**series(130), before=KeptState())
    asked = series(130)
    asked["values"][place] += 1
    assert judged_points(monkeypatch, asked, state)[0] == f"R-{first}"


@pytest.mark.parametrize(
    "changed",
    [
        {"labels": [f"S-{i}" for i in range(130)]},
        {"false_alarm_rate": [0.002] * 130},
        {"shape": "positive"},
        {"resolution": 0.01},
        {"settled": 30},
    ],
    ids=["names", "rates", "shape", "step", "settled"],
)
def test_whatever_else_it_is_fed_changes_the_digest(changed, monkeypatch):
    _, state = detect_further(**series(130), before=KeptState())
    assert len(judged_points(monkeypatch, series(130, **changed), state)) == 130


def test_marks_of_another_program_do_not_hold(monkeypatch):
    _, state = detect_further(**series(130), before=KeptState())
    monkeypatch.setattr(resume, "_program", lambda: "other")
    assert len(judged_points(monkeypatch, series(130), state)) == 130
    assert KeptState.from_dict(state.to_dict() | {"format": 0}) == KeptState()
    assert KeptState.from_dict(None) == KeptState()


def test_the_program_is_its_code_and_its_tables(monkeypatch):
    resume._program.cache_clear()
    found = {resume._program()}
    for kinds in ((".py",), (".csv",)):
        monkeypatch.setattr(resume, "PROGRAM", kinds)
        resume._program.cache_clear()
        found.add(resume._program())
    resume._program.cache_clear()
    assert len(found) == 3


def test_what_is_kept_is_bounded_whatever_the_length():
    _, state = detect_further(**series(1300), before=KeptState())
    _, longer = detect_further(**series(2600), before=state)
    assert len(state.marks) == len(longer.marks) == resume.MOST + 1
    assert len(json.dumps(longer.to_dict())) < 10_000
    assert longer == detect_further(**series(2600), before=KeptState())[1]


@pytest.mark.parametrize("wrong", [{"labels": ["x"]}, {"false_alarm_rate": [0.001]}])
def test_refuses_columns_of_another_length(wrong):
    with pytest.raises(StatisticsError, match="for 130 values"):
        detect_further(**series(130, **wrong), before=KeptState())


def test_an_empty_series_has_no_marks():
    found, state = detect_further([], false_alarm_rate=[], labels=[], before=KeptState())
    assert found.signals == () and state == KeptState()
    found, state = count_further([], [], [], before=KeptState())
    assert found.signals == () and state == KeptState()


def stands_on(folders):
    """Return every file that the modules of these folders stand on, through faces too."""
    stats = Path(resume.__file__).parents[1]
    faces = {
        stub.parent: {
            alias.name: stub.parent / f"{node.module}.py"
            for node in ast.parse(stub.read_text("utf-8")).body
            if isinstance(node, ast.ImportFrom)
            for alias in node.names
        }
        for stub in stats.glob("*/__init__.pyi")
    }
    waiting, found = [file for folder in folders for file in (stats / folder).rglob("*.py")], set()
    while waiting:
        file = waiting.pop()
        if file in found:
            continue
        found.add(file)
        for node in ast.walk(ast.parse(file.read_text("utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("qc.stats"):
                place = stats.joinpath(*node.module.split(".")[2:])
                if place in faces:
                    waiting += [faces[place][alias.name] for alias in node.names]
                else:
                    waiting.append(place.with_suffix(".py"))
    return found


def test_the_program_holds_all_that_the_detector_stands_on():
    own = set(resume.program_files())
    assert stands_on(["change", "wear"]) <= own
    assert {file.name for file in own} >= {"thresholds.csv", "detector.py", "settled_line.py", "readings.py"}


def test_touching_any_file_of_the_program_changes_its_digest(tmp_path, monkeypatch):
    stats = Path(resume.__file__).parents[1]
    copy = Path(shutil.copytree(stats, tmp_path / "stats", ignore=shutil.ignore_patterns("__pycache__")))
    monkeypatch.setattr(resume.resources, "files", lambda package: copy)

    def digest():
        resume._program.cache_clear()
        return resume._program()

    before = digest()
    for file in resume.program_files():
        kept = file.read_bytes()
        file.write_bytes(kept + b"\n")
        assert digest() != before, file
        file.write_bytes(kept)
    assert digest() == before
    (copy / "change" / "deeper").mkdir()
    (copy / "change" / "deeper" / "new.py").write_text("NEW = 1", "ascii")
    assert digest() != before
    resume._program.cache_clear()
