"""The process that reads sheets: what becomes of a sheet that breaks it, and of the process itself."""

import os
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest

from qc.ingest import SheetError, SheetReader, batch_reader, keep_reader, read_sheet
from qc.ingest.reading import MAX_BYTES, reader, workbooks

GOOD = b'Wall;x\r\n0,5;gr\xc3\xbcn\r\n\r\n1;"a\nb"\r\n'
BREAKING = """
import os, sys, time
from qc.ingest.reading import child

read = child.read_sheet

def broken(data, name):
    if data.startswith(b"ABORT"):
        print("about to abort", file=sys.stderr, flush=True)
        os.abort()
    if data.startswith(b"ONCE"):
        place = data[4:].decode()
        if not os.path.exists(place):
            open(place, "w").close()
            os.kill(os.getpid(), 9)
        data = b"a;b\\n"
    if data.startswith(b"MEMORY"):
        return bytearray(4_000_000_000)
    if data.startswith(b"SLEEP"):
        time.sleep(100)
    if data.startswith(b"WORK"):
        while True: pass
    if data.startswith(b"PRINT"):
        print("x" * 100_000, flush=True)
        os.write(1, b"y" * 100_000)
        data = b"a;b\\n"
    if data.startswith(b"FAULT"):
        raise ZeroDivisionError("a fault of our own")
    if data.startswith(b"LONG"):
        child.MAX_ANSWER = 1000
        data = b"a;b\\n" * 2000
    return read(data, name)

child.read_sheet = broken
child.serve(int(sys.argv[1]), int(sys.argv[2]))
"""
GREETING = """
import sys, time
from qc.ingest.reading.child import send, receive
send(sys.stdout.buffer, {"limited": True})
question = receive(sys.stdin.buffer, 10**6)
sys.stdin.buffer.read(question["size"])
"""


@pytest.fixture
def drive(monkeypatch):
    """Have another program take the place of the child, as in a list of its words."""

    def put(text):
        monkeypatch.setattr(reader, "_command", lambda: [sys.executable, "-P", "-S", "-c", text])

    return put


@pytest.fixture
def made():
    """Return a maker of readers that are closed at the end."""
    found = []

    def make(**limits):
        found.append(SheetReader(**limits))
        return found[-1]

    yield make
    for one in found:
        one.close()


def open_files():
    return len(os.listdir("/proc/self/fd"))


def gone(number, seconds=10):
    """Tell whether a process ends within some seconds."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        try:
            os.kill(number, 0)
            if Path(f"/proc/{number}/stat").read_text().rpartition(")")[2].split()[0] == "Z":
                return True  # ended, and not ours to wait for
        except (ProcessLookupError, FileNotFoundError):
            return True
        time.sleep(0.05)
    return False


def test_a_sheet_is_read_as_in_this_process(made, as_xlsx):
    one = made()
    book = as_xlsx([["Card", "Slide card"], [], ["a", 1.5, "gr\u00fcn"]])
    for name, data in (("a.csv", GOOD), ("b.xlsx", book), (os.fsdecode(b"gr\xfcn.csv"), GOOD)):
        assert one.read(name, data) == read_sheet(data, name)
    assert one.limited and not one.alone
    tab = read_sheet(book, "b.xlsx")[0].tab
    assert one.rows(book, tab) == workbooks.read_tab(book, tab)


NO_SHEETS = [b"", b"%PDF", b"PK\x03\x04 no", b"a;b\x00", b'a;"b', b"x" * (MAX_BYTES + 1)]


@pytest.mark.parametrize("data", NO_SHEETS, ids=range(len(NO_SHEETS)))
def test_a_refusal_is_the_same_as_in_this_process(made, data):
    with pytest.raises(SheetError) as here:
        read_sheet(data, "a.csv")
    with pytest.raises(SheetError) as there:
        made().read("a.csv", data)
    assert there.value.to_dict() == here.value.to_dict()


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"ABORT", "broke off: it is damaged, or holds far more than a bench sheet"),
        (b"MEMORY", "takes more than 500 MB of memory"),
        (b"SLEEP", "takes more than 2 seconds"),
        (b"WORK", "takes more than 2 seconds"),
        (b"FAULT", "damaged in a way that broke the reader"),
        (b"LONG", "MB of text"),
    ],
)
def test_a_sheet_that_breaks_the_reader_costs_only_itself(made, drive, data, words):
    drive(BREAKING)
    one = made(seconds=2, megabytes=500)
    assert one.read("a.csv", GOOD) == read_sheet(GOOD, "a.csv")
    files = open_files()
    with pytest.raises(SheetError, match=words) as caught:
        one.read("bad.csv", data)
    assert str(caught.value).startswith("bad.csv: ") and "save it as csv" in caught.value.hint
    assert one.read("b.csv", GOOD)[0] == replace(read_sheet(GOOD, "b.csv")[0])
    assert open_files() <= files


def test_a_process_ended_from_outside_is_no_fault_of_the_sheet(made, drive, tmp_path):
    drive(BREAKING)
    one = made()
    assert one.read("a.csv", b"ONCE" + bytes(tmp_path / "seen"))[0].rows == (("a", "b"),)
    one._process.kill()
    assert one.read("a.csv", GOOD) == read_sheet(GOOD, "a.csv")


def test_what_libraries_print_is_no_answer(made, drive):
    drive(BREAKING)
    one = made()
    assert one.read("a.csv", b"PRINT")[0].rows == (("a", "b"),)
    assert one.read("a.csv", GOOD) == read_sheet(GOOD, "a.csv")


def test_what_it_printed_is_kept_for_the_log_and_shown_to_nobody(made, drive, caplog, capfd):
    drive(BREAKING)
    with pytest.raises(SheetError) as caught:
        made().read("a.csv", b"ABORT")
    assert "about to abort" in caplog.text
    assert "about to abort" not in str(caught.value) + "".join(capfd.readouterr())


@pytest.mark.parametrize(
    "junk",
    [
        "sys.stdout.buffer.write(b'garbage ' * 1000)",
        "sys.stdout.buffer.write(b'\\xff' * 8)",
        "sys.stdout.buffer.write((10).to_bytes(8, 'big') + b'not json!!')",
        "sys.stdout.buffer.write((50_000).to_bytes(8, 'big') + b'[' * 50_000)",
        "sys.stdout.buffer.write((1_000_000).to_bytes(8, 'big') + b'{')",
        "sys.stdout.buffer.write((2).to_bytes(8, 'big') + b'[]')",
        "send(sys.stdout.buffer, {'number': 999, 'grids': []})",
        "send(sys.stdout.buffer, {'number': question['number']})",
        "send(sys.stdout.buffer, {'number': question['number'], 'grids': [{'rows': 5}]})",
        "send(sys.stdout.buffer, {'number': question['number'], 'refused': {}})",
        "send(sys.stdout.buffer, {'number': question['number'], 'refused': 7})",
        "send(sys.stdout.buffer, {'number': question['number'], 'grids': 5})",
        "send(sys.stdout.buffer, {'number': question['number'], 'fault': []})",
        "time.sleep(100)",
        "",
    ],
)
def test_an_answer_that_is_none_is_one_sentence(made, drive, junk):
    drive(GREETING + junk)
    one = made(seconds=2)
    with pytest.raises(SheetError, match=r"^a\.csv: .*\. Copy the table"):
        one.read("a.csv", GOOD)


def test_no_process_and_no_file_is_left_behind(monkeypatch):
    monkeypatch.setattr(reader, "_kept", None)

    def whole():
        with batch_reader() as one:
            one.read("a.csv", GOOD)
            return one._process.pid

    whole()
    files = open_files()
    numbers = [whole() for _ in range(5)]
    assert open_files() == files
    for number in numbers:
        with pytest.raises(ProcessLookupError):
            os.kill(number, 0)


def test_a_closed_reader_starts_anew(made):
    one = made()
    one.close()
    assert one.read("a.csv", GOOD) == read_sheet(GOOD, "a.csv")


PARENT = """
import sys
from qc.ingest.reading import reader
reader._command = lambda: [sys.executable, "-P", "-S", "-c", {text!r}]
one = reader.SheetReader(seconds=2)
one.read("a.csv", b"a;b\\n")
print(one._process.pid, flush=True)
one.seconds = 100
one.read("a.csv", {data!r})
sys.stdin.read()
"""


@pytest.mark.parametrize("data", [b"a;b\n", b"WORK"])
def test_the_process_ends_with_its_parent(data):
    """Idle, it sees that nobody asks any more; at work, the system ends it when its time is over."""
    program = PARENT.format(text=BREAKING, data=data)
    parent = subprocess.Popen(
        [sys.executable, "-c", program], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    with parent:
        number = int(parent.stdout.readline())
        time.sleep(0.3)
        parent.send_signal(signal.SIGKILL)
        parent.wait()
        assert gone(number, 90)  # seconds of work, which take longer on a busy machine


def test_an_interrupted_question_does_not_leave_its_answer_to_the_next(made, drive, monkeypatch):
    drive(BREAKING)
    one = made()
    one.read("a.csv", GOOD)

    def interrupted(*_):
        raise KeyboardInterrupt

    with monkeypatch.context() as inner:
        inner.setattr(reader, "receive", interrupted)
        with pytest.raises(KeyboardInterrupt):
            one.read("first.csv", b"first;x\n")
    assert one.read("second.csv", b"second;x\n")[0].rows == (("second", "x"),)


UNGUARDED = """
from qc.ingest import batch_reader
print("run")
with batch_reader() as one:
    print(one.read("a.csv", b"a;b\\n")[0].rows, one.alone)
"""


@pytest.mark.parametrize("way", ["script", "stdin"])
def test_a_script_without_a_guard_is_not_run_twice(tmp_path, way):
    """And a file in the current folder does not pass for a module of the standard library."""
    script = tmp_path / "work.py"
    script.write_text(UNGUARDED)
    here = tmp_path / "here"
    here.mkdir()
    (here / "csv.py").write_text("raise SystemExit('the wrong csv')")
    words = [str(script)] if way == "script" else ["-P", "-"]
    done = subprocess.run(
        [sys.executable, *words],
        input=UNGUARDED if way == "stdin" else "",
        cwd=here,
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert done.stdout.splitlines() == ["run", "(('a', 'b'),) False"], done.stderr
    assert done.stderr == ""


@pytest.mark.parametrize("program", ["", "/bin/true", "python-not-there", "python3-odd"])
def test_where_no_python_can_be_started_sheets_are_read_here(monkeypatch, tmp_path, made, caplog, program):
    """An interpreter inside another program: that program must not be started with words it does not know."""
    if program == "python3-odd":
        path = tmp_path / program
        path.write_text("#!/bin/sh\nexit 3\n")
        path.chmod(0o755)
        program = str(path)
    monkeypatch.setattr(sys, "executable", program)
    one = made()
    assert one.read("a.csv", GOOD) == read_sheet(GOOD, "a.csv")
    assert one.alone
    with pytest.raises(SheetError, match="the file is empty"):
        one.read("a.csv", b"")
    if "odd" in program:
        assert "they are read in this one" in caplog.text


def test_a_kept_reader_serves_one_batch_after_another(monkeypatch):
    monkeypatch.setattr(reader, "_kept", None)
    keep_reader()
    with batch_reader() as one:
        one.read("a.csv", GOOD)
        number = one._process.pid
    keep_reader()
    with batch_reader() as two:
        assert two is one and two._process.pid == number
    one.close()
