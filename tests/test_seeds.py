"""Every test draws from a generator of its own, so that no figure depends on which tests ran before it."""

import ast
import os
import subprocess
import sys
from pathlib import Path
from zlib import crc32

import hypothesis
import numpy as np
import pytest

TESTS = Path(__file__).parent
MAKERS = {"default_rng", "Generator", "RandomState", "Random"}
SCOPES = ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda


def shared(source):
    """Lines of a module at which tests could come to share random numbers, with the reason."""
    if not any(word in source for word in (*MAKERS, "random")):
        return []  # three modules in five, and taking a tree apart is most of the work
    tree = ast.parse(source)
    every = list(ast.walk(tree))
    # many a generator is called `random` too: only what a module imports is the module
    imported = {name.name for node in every if isinstance(node, ast.Import) for name in node.names}
    modules = {"np.random", "numpy.random", *({"random"} & imported)}
    used_up = {id(node.func.value) for node in every if drawn_at_once(node)}
    lasting = [node for statement in tree.body for node in run_at_import(statement)]
    lasting += [node for function in every if lives_on(function) for node in handed_on(function)]
    found = {
        (node.lineno, "a generator that several tests draw from")
        for node in lasting
        if makes_generator(node) and id(node) not in used_up
    }
    for node in every:
        if makes_generator(node) and not (node.args or node.keywords):
            found.add((node.lineno, "a generator without a seed"))
        if taken_from_the_process(node, modules):
            found.add((node.lineno, "the generator that the whole process shares"))
    return sorted(found)


def run_at_import(node):
    """Everything that runs while the module is read: bodies of functions do not, their defaults do."""
    yield node
    if isinstance(node, SCOPES):
        marks = getattr(node, "decorator_list", [])
        inside = [*node.args.defaults, *filter(None, node.args.kw_defaults), *marks]
    else:
        inside = ast.iter_child_nodes(node)
    for child in inside:
        yield from run_at_import(child)


def lives_on(node):
    """Whether a function's result outlives one test: a fixture of a wider scope, or a cached function."""
    words = [ast.unparse(mark) for mark in getattr(node, "decorator_list", [])]
    return any("scope=" in word and "'function'" not in word or "cache" in word for word in words)


def handed_on(function):
    """Generators that a function returns or yields, by name or as they are made."""
    every = list(ast.walk(function))
    named = {ast.unparse(n.targets[0]): n.value for n in every if isinstance(n, ast.Assign)}
    answers = [n.value for n in every if isinstance(n, ast.Return | ast.Yield) and n.value]
    return [named.get(ast.unparse(answer), answer) for answer in answers]


def makes_generator(node):
    if not isinstance(node, ast.Call):
        return False
    return (
        node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
    ) in MAKERS


def drawn_at_once(node):
    """Whether a generator is made, asked once and forgotten, as in `default_rng(7).normal(0, 1, 60)`."""
    asked = isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)
    return asked and makes_generator(node.func.value)


def taken_from_the_process(node, modules):
    """Whether a function of `random` or `numpy.random` is used that draws from the one generator there."""
    if isinstance(node, ast.ImportFrom):
        return node.module in {"random", "numpy.random"} and bool({n.name for n in node.names} - MAKERS)
    return isinstance(node, ast.Attribute) and node.attr not in MAKERS and dotted(node.value) in modules


def dotted(node):
    """Return a name with its dots, and of anything else nothing."""
    if isinstance(node, ast.Attribute):
        return f"{dotted(node.value)}.{node.attr}"
    return node.id if isinstance(node, ast.Name) else ""


def takes_generator(source):
    """Whether a test of the module takes the fixture `rng`."""
    return "rng" in source and any(
        isinstance(node, ast.FunctionDef)
        and node.name.startswith("test_")
        and "rng" in {argument.arg for argument in node.args.args}
        for node in ast.walk(ast.parse(source))
    )


def passes(*words):
    """Run tests in a process of their own; whether all passed."""
    path = os.pathsep.join([str(TESTS), str(TESTS.parent)])
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", *map(str, words)],
        cwd=TESTS.parent,
        env={**os.environ, "PYTHONPATH": path},
        capture_output=True,
        text=True,
    )
    assert done.returncode in (0, 1), done.stdout[-2000:] + done.stderr[-2000:]
    return done.returncode == 0, done.stdout[-2000:]


def test_no_module_of_tests_shares_a_generator():
    found = [
        f"{path.relative_to(TESTS)}:{line}: {why}"
        for path in sorted(TESTS.rglob("*.py"))
        for line, why in shared(path.read_text(encoding="utf-8"))
    ]
    assert found == []


PLANTED = """
import numpy as np
RNG = np.random.default_rng(1)

def test_first():
    assert RNG.random() < 0.6

def test_second():
    assert RNG.random() > 0.9
"""


@pytest.mark.parametrize(
    "source",
    [
        PLANTED,
        "class TestIt:\n    rng = np.random.default_rng(1)",
        "draw = np.random.default_rng(1).normal",
        "def test_it(rng=np.random.default_rng(1)): ...",
        "@pytest.fixture(scope='module')\ndef rng():\n    return np.random.default_rng(1)",
        "@functools.cache\ndef made():\n    made = random.Random(1)\n    return made",
        "V = [rng.normal() for rng in [np.random.default_rng(1)]]",
        "def test_it():\n    np.random.default_rng().normal()",
        "def test_it():\n    np.random.seed(1)",
        "import random\ndef test_it():\n    random.shuffle([1, 2])",
        "from numpy.random import choice",
    ],
)
def test_what_would_be_shared_is_seen(source):
    assert len(shared(source)) == 1


@pytest.mark.parametrize(
    "source",
    [
        "V = np.random.default_rng(1).normal(0, 1, 60)",
        "def test_it(rng):\n    rng.normal()",
        "def test_it():\n    rng = np.random.default_rng(1)",
        "def made(random):\n    return random.normal()",
        "@pytest.fixture\ndef rng():\n    return random.Random(1)",
        "@pytest.fixture(scope='module')\ndef V():\n    rng = random.Random(1)\n    return rng.random()",
    ],
)
def test_what_is_a_tests_own_is_left_alone(source):
    assert shared(source) == []


def test_examples_are_drawn_alike_in_every_run():
    assert hypothesis.settings.default.derandomize


def test_draws_hang_on_the_name_of_the_test_alone(rng):
    seed = crc32(b"test_draws_hang_on_the_name_of_the_test_alone")
    assert rng.bit_generator.state == np.random.default_rng(seed).bit_generator.state


@pytest.mark.slow
def test_the_last_test_first_finds_a_planted_dependence(tmp_path):
    module = tmp_path / "test_planted.py"
    module.write_text(PLANTED, encoding="utf-8")
    assert passes(module)[0]
    assert not passes("-p", "backwards", module)[0]


@pytest.mark.slow
def test_tests_that_draw_pass_last_first_too():
    """The run that holds this test is the other order; what shares a generator is seen by its words above."""
    files = [p for p in sorted(TESTS.rglob("test_*.py")) if takes_generator(p.read_text(encoding="utf-8"))]
    assert len(files) > 10
    own = [file for file in files if file != Path(__file__)]
    good, said = passes("-p", "backwards", "--drawing", "-m", "not slow", *own)
    assert good, said
