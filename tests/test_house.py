"""The house stands as planned: arrows between packages, the one clock, no cycles, no stray ways out."""

import ast
import io
import tokenize
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]

ARROWS = {
    "qc.cli": {"qc.jobs", "qc.plan", "qc.clock"},
    "dashboard": {"qc.jobs", "qc.plan", "qc.clock"},
    "qc.jobs": {"qc.ingest", "qc.store", "qc.watch", "qc.report"}
    | {"qc.plan", "qc.stats", "qc.trade", "qc.clock", "sample_measurements"},
    "qc.ingest": {"qc.trade", "qc.plan"},
    "qc.watch": {"qc.stats", "qc.trade", "qc.plan"},
    "qc.report": {"qc.watch", "qc.trade", "qc.stats", "qc.plan"},
    "qc.store": {"qc.plan"},
    "qc.trade": {"qc.stats"},
    "qc.stats": set(),
    "qc.plan": set(),
    "qc.clock": set(),
    "qc.column_types": set(),
    "qc.errors": set(),
    "qc.intervals": set(),
    "qc.plain": set(),
    "qc.sayings": set(),
    "qc.shares": set(),
    "qc.states": set(),
    "qc.words": set(),
    "qc": {"qc.stats", "qc.trade", "qc.jobs", "qc.plan", "qc.watch", "qc.cli"},
    "sample_measurements": {"qc.plan"},
}
"""Who may import whom. `jobs`, where the parts meet, reaches everything below; the faces go through it."""

LEAVES = {
    "qc.column_types",
    "qc.errors",
    "qc.intervals",
    "qc.plain",
    "qc.sayings",
    "qc.shares",
    "qc.states",
    "qc.words",
}
"""Every floor may use them, and they use nothing of ours."""

CLOCK_CALLS = {"now", "utcnow", "today"}


@cache
def tree(path):
    """Return a module parsed: nine tests look at every one of them."""
    return ast.parse(path.read_text("utf-8"))


def sources():
    for package in ("qc", "dashboard", "sample_measurements"):
        yield from sorted((ROOT / package).rglob("*.py"))


def part_of(name):
    """Name the part of the house that a dotted module name belongs to, or None for what is not ours."""
    known = [part for part in ARROWS if name == part or name.startswith(part + ".")]
    return max(known, key=len) if known else None


def imported(tree, module):
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                base = ".".join(module.split(".")[: -node.level] + ([base] if base else []))
            yield from (f"{base}.{alias.name}" for alias in node.names)


def module_name(path):
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def test_imports_follow_the_arrows():
    against = []
    for path in sources():
        name = module_name(path)
        own = part_of(name)
        targets = {part_of(t) for t in imported(tree(path), name)} - {None, own, *LEAVES}
        against += [f"{name} imports {target}" for target in sorted(targets - ARROWS[own])]
    assert against == []


def test_only_the_clock_asks_for_the_time():
    offenders = []
    for path in sources():
        if path == ROOT / "qc/clock.py":
            continue
        for node in ast.walk(tree(path)):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
                owner = ast.unparse(node.func.value)
                if node.func.attr in CLOCK_CALLS and owner.split(".")[-1] in {"datetime", "date"}:
                    offenders.append(f"{path.relative_to(ROOT)}:{node.lineno}")
    assert offenders == []


def test_no_print_outside_the_command_line():
    offenders = [
        f"{path.relative_to(ROOT)}:{node.lineno}"
        for path in sources()
        if "cli" not in path.parts and "make" not in path.parts
        for node in ast.walk(tree(path))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "print"
    ]
    assert offenders == []


def test_no_bare_except():
    offenders = [
        f"{path.relative_to(ROOT)}:{node.lineno}"
        for path in sources()
        for node in ast.walk(tree(path))
        if isinstance(node, ast.ExceptHandler) and node.type is None
    ]
    assert offenders == []


def test_modules_and_functions_stay_readable():
    long_modules, long_functions = [], []
    for path in sources():
        text = path.read_text("utf-8")
        if text.count("\n") > 400:
            long_modules.append(f"{path.relative_to(ROOT)}: {text.count(chr(10))}")
        for node in ast.walk(tree(path)):
            if isinstance(node, ast.FunctionDef) and node.end_lineno - node.lineno + 1 > 80:
                long_functions.append(f"{path.relative_to(ROOT)}:{node.lineno} {node.name}")
    assert (long_modules, long_functions) == ([], [])


def silent(source):
    """Private functions of fifteen lines and more that say nothing of why: neither docstring nor comment."""
    comments = {
        token.start[0]
        for token in tokenize.generate_tokens(io.StringIO(source).readline)
        if token.type == tokenize.COMMENT
    }
    return [
        node.name
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        and node.name.startswith("_")
        and not node.name.startswith("__")
        and node.end_lineno - node.lineno + 1 >= 15
        and not ast.get_docstring(node)
        and not any(node.lineno <= line <= node.end_lineno for line in comments)
    ]


def test_no_long_private_function_is_silent():
    found = [f"{p.relative_to(ROOT)}: {n}" for p in sources() for n in silent(p.read_text("utf-8"))]
    assert not found, found


@pytest.mark.parametrize(
    ("head", "said"),
    [("", ["_long"]), ('    """Why."""\n', []), ("    x = 1  # why\n", []), ("    x = '# no'\n", ["_long"])],
)
def test_a_silent_function_is_seen(head, said):
    assert silent("def _long():\n" + head + "    y = 1\n" * 14) == said


def test_every_module_that_could_be_run_is_reached_by_no_cycle():
    """No import cycle, those inside functions and those through a face counted too."""
    graph = {}
    names = {module_name(p) for p in sources()}
    for path in sources():
        name = module_name(path)
        hits = set()
        for target in imported(tree(path), name):
            target = home_of(target)
            while target and target not in names:
                target = target.rpartition(".")[0]
            if target and target != name and not name.startswith(target + "."):
                hits.add(target)
        graph[name] = hits
    assert find_cycle(graph) is None


def test_an_import_through_a_face_is_followed_to_its_home():
    assert home_of("qc.stats.capability") == "qc.stats.capable.figures.capability"
    assert home_of("qc.stats.numbers.as_number") == "qc.stats.numbers.readings.as_number"


def faces():
    """Return what each package with a face offers: package -> {name: module that holds it}."""
    found = {}
    for stub in sorted(ROOT.glob("qc/**/__init__.pyi")):
        package = module_name(stub)
        offered = [
            node for node in ast.walk(ast.parse(stub.read_text("utf-8"))) if isinstance(node, ast.ImportFrom)
        ]
        found[package] = {
            alias.name: f"{package}.{node.module}" if node.module else package
            for node in offered
            for alias in node.names
        }
    return found


FACES = faces()


def home_of(target):
    """Follow a dotted name through the faces to the module that holds it."""
    package, _, name = target.rpartition(".")
    while name in FACES.get(package, {}) and FACES[package][name] != package:
        package = FACES[package][name]
    return f"{package}.{name}"


ROOMS = sorted(package for package in FACES if package.count(".") == 2)
"""The rooms inside the packages: every folder with a face of its own."""

STATS_ARROWS = {
    "numbers": set(),
    "samples": {"numbers"},
    "noise": {"numbers"},
    "capable": {"noise", "numbers"},
    "run_lengths": {"numbers"},
    "change": {"noise", "numbers"},
    "wear": {"change", "numbers"},
    "charts": {"numbers", "run_lengths", "samples"},
    "gauges": {"charts", "numbers", "samples"},
    "studies": {"capable", "change", "charts", "gauges", "numbers", "run_lengths", "samples", "wear"},
}
"""Which room of the statistics stands on which."""


def test_rooms_of_the_statistics_stand_on_each_other_as_planned():
    found = {room: set() for room in STATS_ARROWS}
    for path in sources():
        name = module_name(path)
        room = room_of(name)
        if room and room.startswith("qc.stats."):
            for target in imported(tree(path), name):
                other = room_of(home_of(target))
                if other and other != room:
                    found[room.rpartition(".")[2]].add(other.rpartition(".")[2])
    assert found == STATS_ARROWS


def room_of(name):
    """Name the room that a dotted module name belongs to, or None for what lies beside the rooms."""
    return next((room for room in ROOMS if name == room or name.startswith(room + ".")), None)


def test_nobody_reaches_past_a_face():
    """A room, and a package that has a face, are imported from their face only."""
    past = []
    for path in sources():
        name = module_name(path)
        for target in imported(tree(path), name):
            for package in FACES:
                inside = name == package or name.startswith(package + ".")
                if package != "qc" and not inside and target.startswith(package + "."):
                    rest = target[len(package) + 1 :]
                    if rest not in FACES[package] and f"{package}.{rest.partition('.')[0]}" not in FACES:
                        past.append(f"{name} takes {target}: import it from the package")
    assert past == []


@pytest.mark.parametrize("package", sorted(FACES))
def test_no_module_bears_the_name_of_what_its_package_offers(package):
    """Else the import of the module would put it in the place of the function."""
    folder = ROOT.joinpath(*package.split("."))
    beside = {p.stem for p in folder.glob("*.py")} | {p.name for p in folder.iterdir() if p.is_dir()}
    clash = beside & {name for name, home in FACES[package].items() if home != package}
    assert clash == set()


def test_no_folder_holds_more_than_twenty_modules():
    held = {}
    for path in sources():
        if path.name != "__init__.py":
            held[path.parent] = held.get(path.parent, 0) + 1
    assert {str(folder): count for folder, count in held.items() if count > 20} == {}


def test_no_two_classes_bear_one_name():
    homes = {}
    for path in sources():
        if path.is_relative_to(ROOT / "sample_measurements"):
            continue  # a program of its own, which draws tubes, tabs and sheets
        for node in tree(path).body:
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                homes.setdefault(node.name, []).append(module_name(path))
    assert {name: found for name, found in homes.items() if len(found) > 1} == {}


def find_cycle(graph):
    done, path = set(), []

    def visit(node):
        if node in path:
            return path[path.index(node) :] + [node]
        if node in done:
            return None
        path.append(node)
        for target in sorted(graph.get(node, ())):
            if cycle := visit(target):
                return cycle
        path.pop()
        done.add(node)
        return None

    for node in sorted(graph):
        if cycle := visit(node):
            return cycle
    return None


def test_the_cycle_finder_finds_one():
    assert find_cycle({"a": {"b"}, "b": {"c"}, "c": {"a"}}) == ["a", "b", "c", "a"]
    assert find_cycle({"a": {"b"}, "b": set()}) is None
