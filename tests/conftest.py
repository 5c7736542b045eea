"""Builders that the tests of several packages share: a small invented plan, readings, points."""

import os

# Each process of tests has one core, and a second thread only waits for another's. Said before anything is
# loaded that reads it, it holds for every program that a test starts too.
os.environ.setdefault("POLARS_MAX_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("OMP_NUM_THREADS", "1")
# nor may the workshops of tests go where whoever runs them keeps rows
os.environ.pop("QC_DATABASE_URL", None)
os.environ.pop("QC_DATABASE", None)

import fcntl
import gc
import shutil
import sys
from datetime import date, datetime, timedelta
from pathlib import Path
from zlib import crc32

import hypothesis
import numpy as np
import polars as pl
import pytest

sys.path.insert(0, str(Path(__file__).parent))
import kept_builds
import on_a_server
import postgres_server

from qc.column_types import polars_schema
from qc.plan import (
    EVENT,
    READING,
    Characteristic,
    DatedLimits,
    Model,
    ModelValve,
    Plan,
    Shop,
    Stage,
    Tool,
)

# Examples hang on the test alone, and a busy machine is no fault. New ones: --hypothesis-profile=default
hypothesis.settings.register_profile("alike", derandomize=True, deadline=None)
hypothesis.settings.load_profile("alike")

# Rewriting the asserts of every module takes each process ten seconds: what was compiled is kept, also where
# the shell says otherwise, for every worker and every program that a test starts. `make clean` removes it.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False
gc.set_threshold(10_000)  # as the installed command does: what loading makes stays

FIRST_DAY = date(2026, 1, 5)
FIRST = (
    "tests/browser/test_bench.py",
    "tests/faults/",
    "tests/test_seeds.py",
    "tests/test_face.py",
    "tests/simulation/",
    "tests/test_wheel.py",
    "tests/browser/",
    "tests/golden/",
)
"""Files and folders that take longest, in the order in which they are begun, so that no process is left with
one at the end. The first needs the sample workshop, which one process makes for a minute; what comes next
does not, so that the others need not wait for it."""
TOGETHER = {
    "tests/faults/": ("tests/faults/",),
    "tests/browser/test_board.py": tuple(
        f"tests/browser/test_{name}.py"
        for name in ("board", "corrections", "heading_questions", "show_a_layout", "wall_and_office")
    ),
}
"""Files that stay with one process: what they harm, or the board that they look at, takes long to make."""


_LOCK = pytest.StashKey()


def pytest_configure(config):
    """Hold, in the first process, the lock under which the server of the tests lives."""
    if not hasattr(config, "workerinput"):
        _refuse_what_is_not_there(config)
        config.stash[_LOCK] = postgres_server.hold_lock()
    elif config.args == config.getini("testpaths"):
        config.args = _rotated(config.workerinput)


def _refuse_what_is_not_there(config):
    """Name a file or folder that is asked for and missing.

    Several processes keep that to themselves: each leaves without a word, and the run ends as one that has
    nothing to do.
    """
    places = [word.split("::")[0] for word in config.args]
    missing = [place for place in places if not (config.invocation_params.dir / place).exists()]
    if missing and not config.option.pyargs:
        raise pytest.UsageError(f"No such file or folder: {', '.join(missing)}. No test was run.")


def _rotated(worker):
    """Return the folders and files of tests, beginning elsewhere in each process.

    In a fresh copy most of the time of collecting goes into what is kept afterwards (asserts rewritten, the
    constants that examples are drawn from): each process does its share, and finds that of the others.
    """
    here = sorted(Path(__file__).parent.glob("*/")) + sorted(Path(__file__).parent.glob("test_*.py"))
    every = [str(path) for path in here if path.suffix or any(path.rglob("test_*.py"))]
    nth, number = int(worker["workerid"].removeprefix("gw")), worker["workercount"]
    start = len(every) * nth // number
    return every[start:] + every[:start]


def pytest_unconfigure(config):
    """Let the server go, and wait until it has stopped and nothing of it lies about."""
    if (lock := config.stash.get(_LOCK, None)) is not None:
        postgres_server.let_go(lock)


def pytest_terminal_summary(terminalreporter):
    """Say how much was left out because there is no server, and what to type."""
    skipped = terminalreporter.stats.get("skipped", [])
    if left_out := sum(postgres_server.MISSING in str(report.longrepr) for report in skipped):
        terminalreporter.write_line(f"{left_out} tests left out. {postgres_server.MISSING}", yellow=True)


def pytest_collection_modifyitems(config, items):
    """Put what takes long first; within a file and among the others the order stays."""
    if hasattr(config, "workerinput"):
        items.sort(key=lambda item: item.path)  # wherever this process began to collect
    if on_a_server.wanted():
        items[:] = [item for item in items if item.get_closest_marker("file") is None]
    items.sort(
        key=lambda item: next(
            (n for n, start in enumerate(FIRST) if item.nodeid.startswith(start)), len(FIRST)
        )
    )


class _Places(list):
    """What was collected; the place of each test is looked up, ten thousand times, and not searched for."""

    def __init__(self, collected):
        super().__init__(collected)
        self._place = {name: place for place, name in enumerate(collected)}

    def index(self, name):
        return self._place[name]


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """Give each process whole files, as `--dist loadfile` says, and some of them together."""
    from xdist.scheduler import LoadFileScheduling

    class FilesTogether(LoadFileScheduling):
        def _split_scope(self, nodeid):
            file = super()._split_scope(nodeid)
            return next((name for name, starts in TOGETHER.items() if file.startswith(starts)), file)

        def add_node_collection(self, node, collection):
            super().add_node_collection(node, collection)
            if node in self.registered_collections:
                self.registered_collections[node] = _Places(collection)

    return FilesTogether(config, log) if config.getoption("dist") == "loadfile" else None


def pytest_collection_finish():
    """Leave ten thousand collected tests out of every later search for garbage: they stay to the end."""
    gc.collect()
    gc.freeze()


def typed_frame(rows, columns):
    """Make a tidy frame from rows that name only the columns that matter."""
    full = [{name: row.get(name) for name in columns} for row in rows]
    return pl.DataFrame(full, schema=polars_schema(columns))


@pytest.fixture
def rng(request):
    """Return a generator of this test's own, seeded by its name.

    What ran before, and in which folder the test stands, changes none of its figures.
    """
    return np.random.default_rng(crc32(request.node.name.encode()))


@pytest.fixture(scope="session")
def at_least():
    """Return a function that says whether a statement held as often as it promises.

    Three standard errors of the draws are allowed for: a true promise fails once in 740 names.
    """
    return lambda share, held: np.mean(held) > share - 3 * (share * (1 - share) / len(held)) ** 0.5


@pytest.fixture(scope="session")
def readings():
    """Return a function that makes reading rows; days count on from `FIRST_DAY` where none is given."""

    def make(rows):
        full = []
        for number, row in enumerate(rows):
            day = row.get("day", FIRST_DAY + timedelta(days=number))
            moment = datetime(day.year, day.month, day.day)
            base = {"day": day, "measured_at": moment, "has_time": False, "row": number + 1}
            full.append({**base, **row})
        return typed_frame(full, READING)

    return make


@pytest.fixture(scope="session")
def events():
    """Return a function that makes event rows."""
    return lambda rows: typed_frame(rows, EVENT)


@pytest.fixture(scope="session")
def small_plan():
    """Return a plan with two models, one stage of flat and one of nested figures, and a wearing one."""
    return Plan(
        workshop=Shop(name="Sedge Mill Slideworks", a4_hz=440.0),
        models=(
            Model(
                id="tenor",
                name="Tenor",
                family="tenor",
                pedal_midi=34,
                length_mm=2944.9,
                valves=(ModelValve(name="F", added_mm=986.1),),
            ),
            Model(id="alto", name="Alto", family="alto", pedal_midi=39, length_mm=2206.2, area_factor=0.7),
        ),
        stages=(
            Stage(
                id="draw",
                name="Draw",
                characteristics=(
                    Characteristic(id="od", name="Tube OD", unit="mm", wears_with="die", pool="all"),
                ),
            ),
            Stage(
                id="slide",
                name="Slide",
                characteristics=(
                    Characteristic(
                        id="clearance",
                        name="Clearance",
                        unit="um",
                        pool="all",
                        places={"leg": ("upper", "lower"), "station": ("mouth", "crook")},
                        limits=(DatedLimits(target=150, lower=100, upper=200),),
                        derive={"what": "clearance"},
                        words={"noun": "slide clearance", "above": "wide", "below": "tight"},
                    ),
                    Characteristic(id="force", name="Force", unit="N", shape="positive"),
                ),
            ),
            Stage(
                id="tuning",
                name="Tuning",
                characteristics=(
                    Characteristic(
                        id="wrap",
                        name="F wrap",
                        unit="mm",
                        shape="normal",
                        models=("tenor",),
                        derive={"what": "wrap-length", "valve": "F"},
                        limits=(DatedLimits(target=0, lower=-12, upper=12),),
                        words={"noun": "F wraps", "above": "long", "below": "short"},
                        next_step="lay the mandrel against its master.",
                    ),
                ),
            ),
            Stage(
                id="lacquer",
                name="Lacquer",
                characteristics=(
                    Characteristic(
                        id="defects",
                        name="Defects",
                        unit="count",
                        kind="count",
                        pool="all",
                        places={"area": ("flare", "slide")},
                    ),
                    Characteristic(id="good", name="Good", unit="fault", kind="pass-fail", pool="all"),
                ),
            ),
        ),
        tools=(Tool(id="M-7", name="bending mandrel", tool_class="mandrel", fitted=date(2026, 2, 20)),),
    )


@pytest.fixture(scope="session")
def points():
    """Return a function that makes points from values, with levels of a circumstance by keyword."""
    from qc.watch import Point

    def make(values, **columns):
        made = []
        for number, value in enumerate(np.asarray(values, dtype=float), start=1):
            own = {name: column[number - 1] for name, column in columns.items()}
            base = {"serial": f"S-{number:03d}", "day": FIRST_DAY + timedelta(days=number), "model": "tenor"}
            made.append(Point(ordinal=number, value=float(value), measured=float(value), **{**base, **own}))
        return tuple(made)

    return make


@pytest.fixture(scope="session")
def made_once(tmp_path_factory, worker_id):
    """Return a function that gives a folder which all processes share, made by the first that asks for it."""
    shared = tmp_path_factory.getbasetemp()
    shared = shared if worker_id == "master" else shared.parent

    def once(name, make):
        folder, lock, done = (shared / f"{name}{ending}" for ending in ("", ".lock", ".done"))
        with lock.open("w") as held:
            fcntl.flock(held, fcntl.LOCK_EX)  # waits while another makes it, and no longer than it lives
            try:
                if not done.exists():
                    shutil.rmtree(folder, ignore_errors=True)  # what a process left that was killed over it
                    make(folder)
            finally:  # a failure is told to the waiting processes too, by what lacks in the folder
                done.touch()
                fcntl.flock(held, fcntl.LOCK_UN)  # a fork made meanwhile has the file open still
        return folder

    return once


@pytest.fixture(scope="session")
def postgresql(made_once):
    """Return the server of the tests, started by the first that asks for it."""
    if postgres_server.programs() is None:
        pytest.skip(postgres_server.MISSING)
    return postgres_server.Server(made_once("postgresql", postgres_server.start))


@pytest.fixture(scope="session")
def migrated(made_once, postgresql):
    """Return the name of a database with the tables of a store and nothing in them, to be copied."""

    def make(folder):
        from qc.store import open_store

        address = postgresql.make()
        open_store(folder, url=address).close()
        (folder / "name").write_text(postgres_server.name_of(address), "utf-8")

    return (made_once("migrated", make) / "name").read_text("utf-8")


@pytest.fixture(scope="session", autouse=on_a_server.wanted())
def workshops_on_the_server(request):
    """Let every workshop be opened on the server; asked for by every test where that is wanted."""
    given = [request.getfixturevalue(name) for name in ("postgresql", "migrated")]
    with pytest.MonkeyPatch.context() as patch:
        on_a_server.lay(*given, patch)
        yield


@pytest.fixture(autouse=on_a_server.wanted())
def nobody_connected_afterwards():
    """Close what a test left connected."""
    yield
    on_a_server.let_go()


@pytest.fixture
def empty_database(postgresql):
    """Return the address of a database of this test's own, with nothing in it."""
    address = postgresql.make()
    yield address
    postgresql.drop(address)


@pytest.fixture(scope="session")
def demo_folder(made_once):
    """Return the sample workshop, made once for all workers by the real upload; only to be read.

    The run before left it, where nothing that it is made by has changed since.
    """
    from qc.jobs.demo import make_demo

    return made_once("demo", kept_builds.keeping("demo", make_demo))


@pytest.fixture
def demo_copy(demo_folder, tmp_path):
    """Return a copy of the sample workshop that a test may change."""
    return Path(shutil.copytree(demo_folder, tmp_path / "demo"))
