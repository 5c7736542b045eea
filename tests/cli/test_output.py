"""Where the answer goes is full, closed, or left by its reader: no traceback, and what is said is true."""

import fcntl
import json
import os
import pty
import struct
import subprocess
import sys
import termios
from contextlib import suppress
from pathlib import Path

import pytest

from qc.cli.main import main
from sample_measurements import folder as sample_folder

ROOT = Path(__file__).resolve().parents[2]
RUN = [sys.executable, "-c", "from qc.cli.main import run; run()"]
ENV = {**os.environ, "PYTHONPATH": str(ROOT)}
FULL = Path("/dev/full")

pytestmark = pytest.mark.skipif(not FULL.exists(), reason="the system has no device that is always full")


def run(*words, **how):
    return subprocess.run([*RUN, *map(str, words)], text=True, env=ENV, check=False, timeout=120, **how)


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """A workshop with the sample's plan and nothing in it."""
    folder = tmp_path_factory.mktemp("output") / "shop"
    assert main(["new", str(folder)]) == 0
    (folder / "plan.yaml").write_bytes((sample_folder() / "plan.yaml").read_bytes())
    return folder


ANSWERS = [
    ["factors", "4", "5"],
    ["factors", "4", "--json"],
    ["study", "--help"],
    ["--version"],
    ["plan", "show"],
]


def filled(words, shop):
    return [*words, "--workshop", shop] if words == ["plan", "show"] else words


@pytest.mark.parametrize("words", ANSWERS, ids=" ".join)
def test_a_full_output_is_one_line_and_exit_3(words, shop):
    with FULL.open("w") as full:
        said = run(*filled(words, shop), stdout=full, stderr=subprocess.PIPE)
    assert said.returncode == 3
    assert said.stderr.startswith("qc: ") and said.stderr.count("\n") == 1
    assert "No space left on device" in said.stderr


@pytest.mark.parametrize("words", ANSWERS, ids=" ".join)
def test_a_reader_who_left_is_no_fault_and_hears_nothing(words, shop):
    reads, writes = os.pipe()
    os.close(reads)
    said = run(*filled(words, shop), stdout=writes, stderr=subprocess.PIPE)
    os.close(writes)
    assert (said.returncode, said.stderr) == (0, "")


def test_wrong_usage_stays_that_where_nobody_reads_it():
    reads, writes = os.pipe()
    os.close(reads)
    said = run("nonsense", stdout=subprocess.PIPE, stderr=writes)
    os.close(writes)
    assert (said.returncode, said.stdout) == (2, "")


def test_an_answer_longer_than_the_pipe_holds_is_left_in_the_middle(shop):
    words = [*RUN, "plan", "show", "--json", "--workshop", str(shop)]
    asked = subprocess.Popen(words, env=ENV, stdout=subprocess.PIPE, stderr=subprocess.PIPE, bufsize=0)
    assert asked.stdout.read(1) == b"{"
    asked.stdout.close()
    err = asked.stderr.read()
    asked.stderr.close()
    assert (asked.wait(timeout=60), err) == (0, b"")


@pytest.mark.parametrize("errors", [False, True])
def test_where_output_is_closed_nothing_is_done(tmp_path, errors):
    shut = "exec 1>&-; " + ("exec 2>&-; " if errors else "")
    words = ["sh", "-c", f'{shut} exec "$@"', "sh", *RUN, "new", str(tmp_path / "shop")]
    said = subprocess.run(words, text=True, env=ENV, capture_output=True, check=False, timeout=60)
    assert said.returncode == 3
    assert said.stderr == (
        "" if errors else "qc: Standard output is closed, so nothing could be answered. Nothing was done.\n"
    )
    assert not (tmp_path / "shop").exists()


def test_who_closed_the_output_for_faults_is_answered_all_the_same(shop):
    sheet = sorted((sample_folder() / "sheets" / "joints").iterdir())[1]
    typed = ["upload", sheet, "--who", "IS", "--workshop", shop]
    words = ["sh", "-c", 'exec 2>&-; exec "$@"', "sh", *RUN, *map(str, typed)]
    said = subprocess.run(words, text=True, env=ENV, capture_output=True, check=False, timeout=120)
    assert (said.returncode, said.stderr) == (0, "")
    assert said.stdout.startswith(f"{sheet.name}: ")
    assert not (shop / "log").exists()


def test_an_upload_whose_receipt_could_not_be_printed_is_stored_and_judged(shop, capsys):
    sheet = sorted((sample_folder() / "sheets" / "joints").iterdir())[0]
    with FULL.open("w") as full:
        said = run("upload", sheet, "--who", "IS", "--workshop", shop, stdout=full, stderr=subprocess.PIPE)
    assert said.returncode == 3 and said.stderr.count("\n") == 1
    assert "What the command had to store is stored and judged" in said.stderr
    capsys.readouterr()
    assert main(["status", "--workshop", str(shop), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["not_judged_since"] is None and told["series"]


LOUD = """
import importlib, logging, sys
from qc.cli import main as command
def speak(words):
    importlib.import_module(words[0])
    logging.getLogger(words[0]).error("for developers")
    return 0
command.main = speak
command.run()
"""


@pytest.mark.parametrize("library", ["great_expectations", "alembic", "sqlalchemy", "matplotlib", "polars"])
def test_what_a_library_logs_is_no_line_for_a_bench(library):
    words = [sys.executable, "-c", LOUD, library]
    said = subprocess.run(words, text=True, env=ENV, capture_output=True, check=False, timeout=120)
    assert (said.returncode, said.stdout, said.stderr) == (0, "", "")


def test_a_drawing_library_without_a_place_for_its_files_is_not_heard_of(tmp_path):
    (tmp_path / "file").touch()
    table = tmp_path / "table.csv"
    table.write_text("mm\n" + "".join(f"{10 + n % 7 / 100}\n" for n in range(30)))
    words = ["study", table, "--value", "mm", "--plot", tmp_path / "chart.png"]
    env = {**ENV, "MPLCONFIGDIR": str(tmp_path / "file" / "none")}
    said = subprocess.run([*RUN, *map(str, words)], text=True, env=env, capture_output=True, check=False)
    assert (said.returncode, said.stderr) == (0, "")
    assert (tmp_path / "chart.png").stat().st_size


def at_a_terminal(columns, *words, **more):
    """Run a command at a terminal of so many columns and return what it shows there."""
    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 40, columns, 0, 0))
    env = {**{name: value for name, value in ENV.items() if name != "COLUMNS"}, "TERM": "xterm", **more}
    with subprocess.Popen([*RUN, *map(str, words)], stdout=theirs, env=env) as process:
        os.close(theirs)
        shown = b""
        with suppress(OSError):  # Linux ends a terminal nobody holds any more with an error
            while part := os.read(ours, 65536):
                shown += part
        assert process.wait(60) == 0
    os.close(ours)
    return shown.decode().replace("\r\n", "\n").rstrip("\n")


def test_a_terminal_gets_its_width_and_a_pipe_the_lines_as_they_are(shop):
    piped = run("plan", "show", "--workshop", shop, capture_output=True).stdout.rstrip("\n")
    assert max(map(len, piped.split("\n"))) > 60
    plain = at_a_terminal(60, "plan", "show", "--workshop", shop, NO_COLOR="1", PYTHONUTF8="1")
    assert max(map(len, plain.split("\n"))) <= 60 and "\x1b" not in plain
    assert set(piped.split()) <= set(plain.split())
    assert "\x1b[1m" in at_a_terminal(60, "plan", "show", "--workshop", shop, PYTHONUTF8="1").split("\n")[0]
