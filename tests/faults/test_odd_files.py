"""What is no file, and files damaged, too large or oddly named: a sentence at once and nothing else."""

import json
import os
import random
import socket
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import polars as pl
import pytest

from qc.cli.main import main
from qc.errors import QcError
from qc.ingest.reading import pieces, stored, stored_check
from qc.jobs.questions.study_read import STUDY as READ
from qc.jobs.questions.study_read import read_study_table, take_numbers
from qc.jobs.remedies import pair
from qc.jobs.remedies.errors import RemedyError
from qc.jobs.remedies.sheet import read_sheet
from qc.stats import StatisticsError
from sample_measurements import folder as sample_folder

STUDY = ["study", "FILE", "--value", "mm"]
ASKING = {
    "study": STUDY,
    "gauge": ["gauge", "FILE", "--value", "mm", "--part", "who"],
    "coat": ["coat", "FILE", "--nominal", "15", "--lower", "10"],
    "wear": ["wear", "FILE", "--value", "mm", "--against", "k"],
    "tune": ["tune", "FILE", "--length-mm", "2944.9"],
    "pair": "pair --inner FILE --outer FILE --target-um 150 --lower-um 100 --upper-um 200".split(),
    "wav": ["tune", "--wav", "FILE"],
    "import": ["import", "FILE", "--workshop", "SHOP"],
}
ENDLESS = "goes on for more than 1,000,000 characters without an end"


@pytest.fixture
def shop(tmp_path_factory):
    """Make a workshop that takes a history in."""
    folder = tmp_path_factory.mktemp("shop")
    (folder / "plan.yaml").write_bytes((sample_folder() / "plan.yaml").read_bytes())
    return folder


@pytest.fixture
def ask(capfd, shop):
    """Run a command on a file: exit code and the one line it said, on the terminal itself."""

    def run(command, path):
        put = {"FILE": str(path), "SHOP": str(shop)}
        code = main([put.get(word, word) for word in ASKING[command]])
        out, err = capfd.readouterr()
        assert out == "" and err.startswith("qc: ") and err.count("\n") == 1, err
        return code, err

    return run


def odd(folder, kind, name):
    path = folder / name
    if kind == "a folder":
        path.mkdir()
    elif kind == "a pipe":
        os.mkfifo(path)
    elif kind == "a device":
        path.symlink_to("/dev/zero")
    else:
        with socket.socket(socket.AF_UNIX) as made:
            made.bind(str(path))
    return path


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
@pytest.mark.parametrize("kind", ["a folder", "a pipe", "a device", "a socket"])
@pytest.mark.parametrize("command", list(ASKING))
def test_what_is_no_file_is_called_what_it_is(ask, tmp_path, monkeypatch, command, kind):
    monkeypatch.chdir(tmp_path)  # a socket's whole name has to be short
    every = {"wav": [".wav"], "study": [".csv", ".parquet", ".xlsx"], "import": [".csv", ".parquet"]}
    for suffix in every.get(command, [".csv", ".xlsx"]):
        path = odd(tmp_path.relative_to(tmp_path), kind, f"t{suffix}")
        code, said = ask(command, path)
        told = f"this is {kind}, not a file"
        if command == "study" and kind == "a folder":  # a folder of tables is one table
            told = "there are no files *.parquet in this folder"
        if command == "import" and kind == "a folder":
            told = "there are no files *.csv or *.parquet in this folder"
        assert code == 2 and f"t{suffix}: {told}" in said


@pytest.mark.parametrize("command", [name for name in ASKING if name != "import"])
def test_files_too_large_are_told_before_they_are_read(ask, tmp_path, command):
    path = tmp_path / ("t.wav" if command == "wav" else "t.xlsx")
    with path.open("wb") as file:
        file.truncate(5_000_000_000)  # takes no room on the disk
    begun = time.monotonic()
    code, said = ask(command, path)
    assert code == 1 and "MB" in said and f"{path.name}: " in said
    assert time.monotonic() - begun < 5  # reading it would take far longer; a slow machine is allowed for


def test_a_large_csv_of_nothing_is_no_table(ask, tmp_path):
    path = tmp_path / "t.csv"
    with path.open("wb") as file:
        file.truncate(5_000_000_000)
    assert ask("study", path) == (
        1,
        "qc: t.csv: cannot be read as csv (it holds a NUL byte and is no text)\n",
    )
    assert "MB" in ask("gauge", path)[1] and "MB" in ask("coat", path)[1]


HEAVY = """
import resource, sys
from qc.cli.main import main
resource.setrlimit(resource.RLIMIT_AS, (4_000_000_000, 4_000_000_000))  # what has no bound costs no machine
code = main(sys.argv[1:])
# of this program alone: what getrusage tells begins with the memory of the one that started it
print(next(line.split()[1] for line in open("/proc/self/status") if line.startswith("VmHWM")))
sys.exit(code)
"""


def imported(path, shop):
    """Bring a file in by a process of its own: exit code, peak memory in MB, what it said."""
    words = [sys.executable, "-c", HEAVY, "import", str(path), "--workshop", str(shop)]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    return done.returncode, int(done.stdout) / 1_024, done.stderr


HEADS = b"Serial;Date;Characteristic;Value\n"


@pytest.mark.skipif(sys.platform != "linux", reason="only here does a process say its peak")
@pytest.mark.parametrize(
    ("head", "fill", "size", "said"),
    [
        (b"", b"", 5_000_000_000, "t.csv, line 1: the file holds a NUL byte. It is no plain text"),
        (HEADS, b"x", 200_000_000, f"t.csv, line 2: it {ENDLESS}. It is no table with a reading a line"),
        (HEADS + b"a;" + b'"b\nb";' * 300_000, b"", 0, f"t.csv, line 2: it {ENDLESS}"),
        (HEADS + b"x" * 500_000, b"", 0, "t.csv, line 2: a cell has more than 131072 characters"),
    ],
    ids=["nothing", "one line", "a row of many lines", "a long cell"],
)
def test_a_history_is_read_within_a_bound_whatever_its_lines_are(tmp_path, shop, head, fill, size, said):
    path = tmp_path / "t.csv"
    with path.open("wb") as file:
        file.write(head)
        for _ in range(size // 10_000_000 if fill else 0):
            file.write(fill * 10_000_000)
        file.truncate(size or None)
    code, megabytes, told = imported(path, shop)
    assert code == 1 and told.startswith(f"qc: {said}") and told.count("\n") == 1, told
    assert megabytes < 350


def test_a_workbook_is_no_history(ask, tmp_path):
    (tmp_path / "t.xlsx").write_bytes(b"PK")
    code, said = ask("import", tmp_path / "t.xlsx")
    assert code == 2 and "this is a workbook, and a history is read as csv or Parquet" in said


def test_a_plan_that_is_no_file_is_called_so(capfd, tmp_path):
    (tmp_path / "n.csv").write_text("partial,position,cents\n2,1,3\n")
    assert main(["tune", str(tmp_path / "n.csv"), "--plan", "/dev/null"]) == 2
    assert "--plan /dev/null: this is no file" in capfd.readouterr().err


def test_what_headings_mean_is_not_read_from_a_pipe_nor_taken_for_unknown(capfd, shop):
    sheet = sorted((sample_folder() / "sheets" / "joints").iterdir())[0]
    os.mkfifo(shop / "mappings.yaml")
    assert main(["upload", str(sheet), "--workshop", str(shop)]) == 1
    assert "mappings.yaml is no file, so nobody can tell what headings mean" in capfd.readouterr().err


def test_a_pipe_in_a_folder_of_a_history_is_named(ask, tmp_path):
    (tmp_path / "years").mkdir()
    os.mkfifo(tmp_path / "years" / "2009.csv")
    code, said = ask("import", tmp_path / "years")
    assert code == 2 and "2009.csv: this is a pipe, not a file" in said


def test_a_line_without_an_end(tmp_path, monkeypatch):
    monkeypatch.setattr(pieces, "PIECE", 1_000)
    for text, line in (("mm\n1\n" + "2" * 3_000, 3), ('"mm"\n1\n' + "2" * 3_000, 3), ("m" * 3_000, 1)):
        (tmp_path / "t.csv").write_text(text)
        with pytest.raises(StatisticsError, match=f"line {line}: it goes on for more than 1,000 characters"):
            read_study_table(tmp_path / "t.csv", numbers=["mm"])


def test_a_row_of_many_lines_is_bounded(tmp_path, monkeypatch):
    monkeypatch.setattr(pieces, "PIECE", 1_000)
    (tmp_path / "t.csv").write_text("mm,note\n1," + ",".join(['"a\nb"'] * 1_000) + "\n")
    with pytest.raises(StatisticsError, match=r"goes on for more than 1,000 characters"):
        read_study_table(tmp_path / "t.csv", numbers=["mm"])


def test_more_cells_and_columns_than_are_taken(tmp_path):
    (tmp_path / "t.csv").write_text("a,b\n" + "1,2\n" * 20)
    (tmp_path / "quoted.csv").write_text("a,b\n" + '"1",2\n' * 20)
    pl.DataFrame({"a": [1] * 20, "b": [2] * 20}).write_parquet(tmp_path / "t.parquet")
    small = replace(READ, most_cells=30)
    for name in ("t.csv", "quoted.csv", "t.parquet"):
        assert read_study_table(tmp_path / name, numbers=["b"], manner=small).height == 20
        with pytest.raises(StatisticsError, match=f"{name}: more than 30 cells in the columns asked for"):
            read_study_table(tmp_path / name, numbers=["a", "b"], manner=small)
    with pytest.raises(StatisticsError, match="2 columns, and up to 1 are taken"):
        read_study_table(tmp_path / "t.csv", manner=replace(READ, most_columns=1))


def test_a_remedy_takes_no_more_than_a_bench_fills(tmp_path):
    path = tmp_path / "t.csv"
    path.write_text("area,spot,um\n" + "a,1,15\n" * 170_000)
    with pytest.raises(RemedyError, match=r"t.csv: more than 500,000 cells"):
        read_sheet(path)
    path.write_text(",".join(f"c{n}" for n in range(201)) + "\n" + "1," * 200 + "1\n")
    with pytest.raises(RemedyError, match=r"t.csv: 201 columns, and up to 200 are taken"):
        read_sheet(path)


def test_a_rack_beyond_any_bench_is_refused_before_its_pairs_are_compared(tmp_path):
    def rack(name, column, diameter):
        rows = "".join(f"{name}{n},a,{diameter}\n" for n in range(320))
        (tmp_path / f"{name}.csv").write_text(f"tube,station,{column}\n{rows}")
        return tmp_path / f"{name}.csv"

    limits = {"target_um": 150, "lower_um": 100, "upper_um": 200}
    with pytest.raises(RemedyError, match="320 inner and 320 outer tubes make more than 100,000 pairs"):
        pair(rack("inner", "od_mm", 13.9), rack("outer", "id_mm", 14.05), **limits)


def parquet(path, rows=300):
    mm = [10 + (n * 7919 % 100) / 100 for n in range(rows)]
    pl.DataFrame({"mm": mm, "who": ["a", "b", "c"] * (rows // 3)}).write_parquet(path)
    return path


def test_damaged_parquet_is_told_in_one_sentence(ask, tmp_path, capfd):
    """Bytes changed at random: some of these files end their reader by what is no exception."""
    path = parquet(tmp_path / "t.parquet")
    good, draw = path.read_bytes(), random.Random(20261129)
    told = 0
    for _ in range(30):
        bad = bytearray(good[: draw.choice([len(good), len(good), draw.randrange(1, len(good))])])
        for _ in range(draw.randint(1, 4)):
            bad[draw.randrange(len(bad))] = draw.randrange(256)
        path.write_bytes(bad)
        code = main([str(path) if word == "FILE" else word for word in STUDY] + ["--json"])
        out, err = capfd.readouterr()
        assert code in (0, 1)
        assert (out == "") == (code == 1)
        assert err == "" if code == 0 else (err.startswith("qc: t.parquet") and err.count("\n") == 1), err
        told += code
    assert told > 10


def test_a_damaged_parquet_of_a_history_is_told_in_one_sentence(shop, tmp_path, capfd):
    """As above, of `qc import`; what comes through may hold rows, headings or days that cannot be meant."""
    path, draw = tmp_path / "t.parquet", random.Random(20261130)
    names = "Bell wall", "Joint leak"
    pl.DataFrame(
        {
            "Serial": [f"S-{n}" for n in range(300)],
            "Date": [f"2026-0{n % 9 + 1}-11" for n in range(300)],
            "Characteristic": [names[n % 2] for n in range(300)],
            "Value": [10 + (n * 7919 % 100) / 100 for n in range(300)],
        }
    ).write_parquet(path)
    good, told = path.read_bytes(), 0
    for _ in range(10):
        bad = bytearray(good)
        for _ in range(draw.randint(1, 4)):
            bad[draw.randrange(len(bad))] = draw.randrange(256)
        path.write_bytes(bad)
        code = main(["import", str(path), "--workshop", str(shop)])
        _, err = capfd.readouterr()
        lines = [line for line in err.splitlines() if line.startswith("qc: ")]
        assert code in (0, 1) and len(lines) == code and "panicked" not in err, err
        told += "cannot be read as parquet" in err
    assert told > 3


def test_a_history_whose_reader_panics_is_told_in_one_sentence(ask, tmp_path, monkeypatch):
    def panics(*_, **__):
        raise pl.exceptions.PanicException("of no use to anybody")

    monkeypatch.setattr(sys, "executable", str(tmp_path / "none"))
    monkeypatch.setattr(stored.pl, "scan_parquet", panics)
    code, said = ask("import", parquet(tmp_path / "t.parquet"))
    assert (code, said) == (
        1,
        f"qc: t.parquet: cannot be read as parquet ({stored.BROKEN}). Write it anew.\n",
    )


def test_a_row_of_parquet_as_long_as_the_memory_is_refused(ask, tmp_path):
    path = tmp_path / "t.parquet"
    pl.DataFrame({"Note": ["", "x" * 1_000_001] * 200}).write_parquet(path)
    assert path.stat().st_size < 1_000_000  # a text that repeats is packed
    code, said = ask("import", path)
    assert code == 1 and "t.parquet: cannot be read as parquet (row 2 has more than 1,000,000" in said


@pytest.mark.parametrize("asked", ["study", "import"])
@pytest.mark.parametrize("end", ["os._exit(3)", "os.abort()", "print('noise')", "raise SystemExit(0)"])
def test_a_reader_that_dies_leaves_a_sentence(ask, tmp_path, monkeypatch, end, asked):
    (tmp_path / "dies.py").write_text(f"import os\n{end}\n")
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    monkeypatch.setattr(stored, "CHECK", "dies")
    code, said = ask(asked, parquet(tmp_path / "t.parquet"))
    assert code == 1 and said.startswith(f"qc: t.parquet: cannot be read as parquet ({stored.BROKEN})")


def test_a_reader_that_goes_round_in_circles_is_ended(ask, tmp_path, monkeypatch):
    (tmp_path / "turns.py").write_text("while True: pass\n")
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    monkeypatch.setattr(stored, "CHECK", "turns")
    monkeypatch.setattr(stored, "LONGEST_CHECK_S", 0.5)
    code, said = ask("study", parquet(tmp_path / "t.parquet"))
    assert code == 1 and "nothing came of it within" in said


def test_without_a_process_to_start_the_file_is_read_here(tmp_path, monkeypatch):
    path = parquet(tmp_path / "t.parquet")
    monkeypatch.setattr(sys, "executable", str(tmp_path / "none"))
    assert read_study_table(path, numbers=["mm"]).height == 300

    def panics(*_):
        raise pl.exceptions.PanicException("of no use to anybody")

    monkeypatch.setattr(stored, "read_columns", panics)
    with pytest.raises(StatisticsError, match=stored.BROKEN):
        read_study_table(path, numbers=["mm"])


def test_the_child_says_what_it_found(tmp_path):
    assert stored_check.look(parquet(tmp_path / "t.parquet"), ["mm"], 300) == {"fault": "", "words": ""}
    assert stored_check.look(tmp_path / "t.parquet", ["mm", "who"], 300)["fault"] == "crowded"
    pl.DataFrame({"mm": [[1.0, 2.0]]}).write_parquet(tmp_path / "t.parquet")
    assert "one value a cell" in stored_check.look(tmp_path / "t.parquet", ["mm"], 300)["words"]


def test_columns_of_lists_are_refused_only_where_they_are_asked_for(tmp_path):
    path = tmp_path / "t.parquet"
    pl.DataFrame({"mm": [1.0, 2.0], "all": [[1.0], [2.0]]}).write_parquet(path)
    assert read_study_table(path, numbers=["mm"]).height == 2
    with pytest.raises(StatisticsError, match="column 'all' holds List"):
        read_study_table(path, numbers=["all"])


def test_rows_at_the_end_count_where_another_column_holds_something(tmp_path):
    frame = pl.DataFrame({"mm": [1.0, None, None, None], "who": ["a", "b", "c", " "]})
    frame.write_parquet(tmp_path / "t.parquet")
    frame.write_csv(tmp_path / "t.csv")
    for name in ("t.parquet", "t.csv"):
        assert read_study_table(tmp_path / name, numbers=["mm"]).height == 3


def test_a_star_in_a_name_is_a_star(tmp_path):
    parquet(tmp_path / "t1.parquet"), parquet(tmp_path / "t*.parquet", 30)
    (tmp_path / "kind=1").mkdir()
    assert read_study_table(tmp_path / "t*.parquet", numbers=["mm"]).height == 30
    assert read_study_table(parquet(tmp_path / "kind=1" / "t.parquet")).columns == ("mm", "who")


@pytest.mark.skipif(sys.platform != "linux", reason="only here may a file name hold any bytes")
@pytest.mark.parametrize("command", ["study", "gauge", "coat", "wear", "tune", "pair", "import"])
def test_names_that_are_no_text(tmp_path, command):
    """In a process of its own, since what counts is what reaches the terminal."""
    path = os.fsencode(tmp_path) + b"/b\xf6re\x1b[2J.csv"
    with open(path, "wb") as file:
        file.write(b"mm\nx\n")
    words = [path if word == "FILE" else word.encode() for word in ASKING[command]]
    run = "import sys; from qc.cli.main import main; sys.exit(main(sys.argv[1:]))"
    done = subprocess.run([sys.executable, "-c", run, *words], capture_output=True, check=False)
    assert done.returncode == 2 and done.stdout == b""
    assert done.stderr.decode().startswith("qc: ") and done.stderr.count(b"\n") == 1
    with pytest.raises(QcError, match="b\ufffdre\ufffd\\[2J.csv") as told:  # the readers by themselves
        read_sheet(Path(os.fsdecode(path))).need("um")
    str(told.value).encode()


@pytest.mark.skipif(sys.platform != "linux", reason="only here may a file name hold any bytes")
def test_a_sheet_whose_name_is_no_text_costs_no_other(shop, tmp_path):
    """In a process of its own, as above; both go in, and so does what the name of one says nothing of."""
    sheet = sorted((sample_folder() / "sheets" / "joints").iterdir())[0]
    odd = os.fsencode(tmp_path) + b"/m\xe4" + sheet.suffix.encode()
    with open(odd, "wb") as file:
        file.write(b"mm\nx\n")
    run = "import sys; from qc.cli.main import main; sys.exit(main(sys.argv[1:]))"
    words = [b"upload", odd, os.fsencode(sheet), b"--workshop", os.fsencode(shop), b"--json"]
    done = subprocess.run([sys.executable, "-c", run, *words], capture_output=True, check=False)
    assert done.returncode in (0, 1) and b"fault of this program" not in done.stderr, done.stderr
    kept = {one["file"]: one for one in json.loads(done.stdout)["sheets"]}
    assert kept[sheet.name]["accepted"] > 0
    assert "m\ufffd" in done.stdout.decode() + done.stderr.decode()
    for words in ([b"status", odd], [b"upload", b"--who", odd], [b"upload", odd + b"x"]):
        done = subprocess.run([sys.executable, "-c", run, *words], capture_output=True, check=False)
        assert done.returncode == 2 and b"is no UTF-8 text" in done.stderr


@pytest.mark.parametrize("command", list(ASKING))
def test_names_too_long_for_the_system(ask, tmp_path, command):
    path = tmp_path / ("b" * 5_000 + (".wav" if command == "wav" else ".csv"))
    code, said = ask(command, path)
    assert code == 1 and "File name too long" in said and len(said) < 600


def test_a_parquet_file_of_an_odd_name_is_told_to_be_renamed(tmp_path):
    path = tmp_path / "b\x1b.parquet"
    parquet(tmp_path / "t.parquet").rename(path)
    with pytest.raises(StatisticsError, match="not plain text: rename it"):
        read_study_table(path)


HEAD = "serial,mm,note\n"


def test_digits_and_lines_are_kept_through_pieces(tmp_path, monkeypatch):
    """The same cells and the same address, whether a file is one piece or many."""
    rows = [f"S{n},{n / 7!r},plain\n" for n in range(1, 400)]
    path = tmp_path / "t.csv"
    path.write_text(HEAD + "".join(rows))
    exact = [n / 7 for n in range(1, 400)]
    for piece in (8_000_000, 500):
        monkeypatch.setattr(pieces, "PIECE", piece)
        table = read_study_table(path, numbers=["mm"])
        assert table.column("mm").dtype == pl.Float64 and take_numbers(table, "mm").to_list() == exact
        assert table.columns == ("serial", "mm", "note") and table.cells.columns == ["1"]
    for at, cell, words in (
        (398, "1e308", "1e308 in column"),
        (397, "", "is missing"),
        (5, "x", "'x' in column"),
    ):
        bad = list(rows)
        bad[at] = f"S,{cell},plain\n"
        path.write_text(HEAD + "".join(bad))
        with pytest.raises(StatisticsError, match=f"t.csv, line {at + 2}: .*{words}"):
            take_numbers(read_study_table(path, numbers=["mm"]), "mm")


@pytest.mark.parametrize("end", ["S9,9,gr\u00fcn", '"S9",9,x', "S9,9,x,\n", "S9,9,x\rS10,10,y"])
def test_what_only_the_last_piece_shows_is_read_right(tmp_path, monkeypatch, end):
    monkeypatch.setattr(pieces, "PIECE", 500)
    path = tmp_path / "t.csv"
    path.write_bytes((HEAD + "".join(f"S{n},{n},plain\n" for n in range(200)) + end).encode("cp1252"))
    table = read_study_table(path, numbers=["mm"], labels=["note"])
    assert take_numbers(table, "mm").to_list()[:201] == [*range(200), 9]
    assert table.column("note")[200] == ("gr\u00fcn" if "gr" in end else "x" if "x" in end else None)


MEASURE = """
import resource, sys
from qc.jobs.questions.study_read import STUDY as READ
from qc.jobs.questions.study_read import read_study_table, take_numbers
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
take_numbers(read_study_table(sys.argv[1], numbers=["mm"]), "mm")
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="peak memory is counted in other units elsewhere")
def test_a_large_csv_takes_a_fraction_of_its_size(tmp_path):
    """A column of numbers out of 120 MB; the pieces in hand are the most of it, whatever the size."""
    path = tmp_path / "t.csv"
    with path.open("w") as file:
        file.write("serial,mm,note\n")
        for start in range(0, 2_000_000, 100_000):
            file.write(
                "".join(
                    f"S-{n:09d},{n % 997 / 7:.6f},{'a plain note of some words':<36}\n"
                    for n in range(start, start + 100_000)
                )
            )
    done = subprocess.run([sys.executable, "-c", MEASURE, str(path)], capture_output=True, check=True)
    assert int(done.stdout) * 1024 < path.stat().st_size * 1.2
