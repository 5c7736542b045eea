"""What holds for every command: exit codes 0, 1 and 2, and a JSON answer that is one object and nothing else.

The commands are read off the program itself, so that a new one has to be entered here.
"""

import json
import re
import shutil
from pathlib import Path

import numpy as np
import pytest
from typer.main import get_command

from qc.cli.main import app, main
from qc.words import figure_words
from sample_measurements import folder as sample_folder

NO_JSON = {"board"}
"""Serves until it is stopped; it answers with its address."""


def leaves(command, words=()):
    """Every command that can be run, by the words that call it."""
    below = getattr(command, "commands", {})
    for name, one in below.items():
        yield from leaves(one, (*words, name))
    if not below or getattr(command, "invoke_without_command", False):
        yield " ".join(words), command


LEAVES = dict(leaves(get_command(app)))


def refuse(word):
    raise AssertionError(f"{word} is not strict JSON")


@pytest.fixture
def run(capsys):
    """Run a command in this process: exit code, stdout, stderr."""

    def call(*words):
        code = main([str(word) for word in words])
        out, err = capsys.readouterr()
        return code, out, err

    return call


@pytest.fixture
def answer(run):
    """Run a command with --json that must be done: one strict object on one line, nothing else anywhere."""

    def call(*words, code=0):
        got, out, err = run(*words, "--json")
        assert (got, err) == (code, ""), (words, got, err)
        assert out.startswith("{") and out.endswith("}\n") and out.count("\n") == 1
        found = json.loads(out, parse_constant=refuse)
        assert isinstance(found, dict) and found
        return found

    return call


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    """Small files for the commands that need no workshop, and a workshop still empty."""
    folder = tmp_path_factory.mktemp("files")
    rng = np.random.default_rng(1)

    def table(name, head, rows):
        text = "\n".join([head, *(",".join(str(cell) for cell in row) for row in rows)])
        (folder / f"{name}.csv").write_text(text + "\n", encoding="utf-8")

    table("notes", "partial,position,cents", [(n, 1, round(3.0 + n / 10, 1)) for n in (2, 3, 4)])
    for name, column, mean in (("inner", "od_mm", 13.90), ("outer", "id_mm", 14.05)):
        rows = [(f"{name[0]}{k}", 1, 0, round(mean + 0.004 * k, 3)) for k in range(4)]
        table(name, f"tube,station,direction,{column}", rows)
    table("wear", "count,od", [(20 * k, round(14.6 + 2e-4 * k, 4)) for k in range(8)])
    table("coat", "area,spot,um", [("bell", k, 15 + k % 3) for k in range(10)])
    table("study", "mm,draws", [(round(10 + v, 3), k) for k, v in enumerate(rng.normal(0, 0.1, 25), 1)])
    rows = [(p, w, round(p + v, 3)) for p in range(5) for w in "AB" for v in rng.normal(0, 0.05, 2)]
    table("gauge", "part,who,mm", rows)
    table("empty", "nothing,at,all", [])
    assert main(["new", str(folder / "shop")]) == 0
    return folder


@pytest.fixture(scope="module")
def copy(demo_folder, tmp_path_factory):
    """One copy of the sample workshop for all tests here that leave it as it is, but may write caches."""
    return Path(shutil.copytree(demo_folder, tmp_path_factory.mktemp("copy") / "demo"))


def called(words, files, shop, tmp_path):
    """The words of a command with its files and its workshop put in."""
    return [word.format(f=files, w=shop, t=tmp_path) for word in words.split()]


WITHOUT_WORKSHOP = {
    "tune": "tune {f}/notes.csv --length-mm 2944.9",
    "pair": "pair --inner {f}/inner.csv --outer {f}/outer.csv --target-um 150 --lower-um 100 --upper-um 200",
    "wear": "wear {f}/wear.csv --value od --against count --upper 14.7",
    "coat": "coat {f}/coat.csv --nominal 15 --lower 12",
    "study": "study {f}/study.csv --value mm --lower 9 --upper 11 --checks",
    "gauge": "gauge {f}/gauge.csv --value mm --part part --person who --lower 0 --upper 6",
    "run-length": "run-length ewma --wanted 370",
    "factors": "factors 4 5",
    "average": "average {f}/study.csv --value mm --expected 10",
    "uncertainty": "uncertainty --cause step=0.001,step --cause ring=0.0008,expanded",
    "fit": "fit --hole 0,18 --shaft -17,-6",
    "new": "new {t}/shop",
}
WITH_WORKSHOP = {
    "status": "status --workshop {w}",
    "signals": "signals --workshop {w} --all",
    "signals list": "signals list --workshop {w}",
    "held list": "held list --workshop {w}",
    "piece": "piece QH-1200 --workshop {w}",
    "hold": "hold --all --workshop {w}",
    "hold list": "hold list --workshop {w}",
    "cards": "cards --card slide-card --out {t}/cards --workshop {w}",
    "hold tags": "hold tags --out {t}/tags.pdf --workshop {w}",
    "held export": "held export {t}/held.csv --workshop {w}",
    "baseline list": "baseline list --workshop {w}",
    "plan show": "plan show --workshop {w}",
    "plan check": "plan check --workshop {w}",
    "verify": "verify --workshop {w}",
    "export": "export --out {t}/tables --workshop {w}",
    "also": "also --gauge BG-1 --since 2026-10-01 --workshop {w}",
    "rejudge": "rejudge --workshop {f}/shop",
    "rework": "rework --workshop {w}",
    "upstream": "upstream --workshop {w}",
    "worth": "worth --stage valves --workshop {w}",
    "people list": "people list --workshop {w}",
}
TAKEN_THROUGH = {"signals show", "signals take", "signals comment", "signals close", "signals reopen"}
TAKEN_THROUGH |= {"held read", "held put-away"}
TAKEN_THROUGH |= {"people add", "people reset", "people leave"}
TAKEN_THROUGH |= {"signals tick", "signals untick", "hold release", "hold keep", "correct", "held undo"}
TAKEN_THROUGH |= {"baseline freeze", "baseline leave-out", "baseline undo", "held mend", "upload", "import"}
"""Commands that change something: run one after the other on a copy, below."""
ELSEWHERE = {"demo", "month", "backup", "restore"}
"""Take seconds, or need each other: `test_cli.py`, the tests of the demo and of backups run them."""


def test_every_command_is_taken_through_its_answers():
    assert set(LEAVES) - NO_JSON == {*WITHOUT_WORKSHOP, *WITH_WORKSHOP, *TAKEN_THROUGH, *ELSEWHERE}
    for words, command in LEAVES.items():
        options = {option for parameter in command.params for option in getattr(parameter, "opts", [])}
        assert ("--json" in options) is (words not in NO_JSON), words


@pytest.mark.parametrize("name", [*WITHOUT_WORKSHOP, *WITH_WORKSHOP])
def test_an_answer_is_one_json_object_and_as_text_it_is_none(run, answer, files, copy, tmp_path, name):
    words = called((WITHOUT_WORKSHOP | WITH_WORKSHOP)[name], files, copy, tmp_path)
    answer(*words)
    if name == "new":
        words[-1] += "-as-text"
    code, out, err = run(*words)
    assert (code, err) == (0, "")
    assert out.endswith("\n") and not out.startswith("{"), "words for a person"
    assert not re.search(r"\bnan\b|\binf\b|None|Traceback", out)


def test_signals_are_taken_through_their_life(answer, demo_copy):
    at = ("--workshop", demo_copy)
    first = answer("signals", *at)["signals"][0]["id"]
    assert answer("signals", "show", first, *at)["id"] == first
    by = ("--who", "IS", *at)
    assert answer("signals", "take", first, *by)["state"] == "in-hand"
    said = answer("signals", "comment", first, "looked at the die", *by)
    assert "looked at the die" in json.dumps(said)
    (ticked,) = answer("signals", "tick", first, "--step", "2", *by)["ticked"]
    assert ticked["who"] == "IS" and ticked["step"] == said["steps"][1]
    assert answer("signals", "untick", first, "--step", "2", *by)["ticked"] == []
    assert answer("signals", "close", first, "--false", *by)["state"] == "closed-false"
    assert first not in {s["id"] for s in answer("signals", *at)["signals"]}
    assert first in {s["id"] for s in answer("signals", "--all", *at)["signals"]}
    assert answer("signals", "reopen", first[:6], *by)["state"] in {"open", "in-hand"}
    shown = answer("signals", "show", first, *at)
    assert shown["state"] in {"open", "in-hand"}


def test_people_come_are_given_a_new_code_and_leave(answer, demo_copy):
    at = ("--workshop", demo_copy)
    assert answer("people", "add", "OW", "--role", "owner", "--name", "Olm Wend", *at)
    first = answer("people", "add", "TQ", "--role", "technician", *at)
    again = answer("people", "reset", "TQ", *at)
    assert first != again, "a new code"
    assert {one["code"] for one in answer("people", "list", *at)["people"]} == {"OW", "TQ"}
    answer("people", "leave", "TQ", *at)
    left = {one["code"]: one for one in answer("people", "list", *at)["people"]}
    assert "TQ" not in left or left["TQ"]["left"]


def test_decisions_held_rows_and_uploads_answer_in_json(answer, run, demo_copy):
    at = ("--workshop", demo_copy)
    series, by = "tuning/wrap_f/all", ("--who", "IS", "--why", "a trial", *at)
    frozen = answer("baseline", "freeze", series, "--from", "QH-1104", *by)
    assert frozen["baseline"]["first"] == "QH-1104"
    out = answer("baseline", "leave-out", series, "--from", "QH-1110", *by)
    assert len(out["left_out"]) == 1
    assert len(answer("baseline", "list", *at)["series"]) == 1
    assert answer("baseline", "undo", series, *by)["baseline"] is None
    row = answer("held", "list", *at)["held"][0]["row"]
    before = len(answer("held", "list", *at)["held"])
    answer("held", "mend", row, "--drop", "--who", "IS", *at)
    assert len(answer("held", "list", *at)["held"]) == before - 1
    sheet = sorted((sample_folder() / "sheets" / "joints").iterdir())[0]
    (receipt,) = answer("upload", sheet, *at)["sheets"]
    assert receipt["accepted"] == 0, "the sample was taken in before"
    odd = demo_copy / "odd.csv"
    odd.write_text("Wandkarte;;\n;0,52;0,55\n;0,53;0,51\n")
    assert run("upload", odd, *at)[0] == 1
    assert [one["file"] for one in answer("held", "list", *at)["sheets"]] == ["odd.csv"]
    away = ("--who", "IS", "--why", "typed anew", *at)
    assert answer("held", "put-away", "odd.csv", *away)["file"] == "odd.csv"
    assert answer("held", "read", *at)["refused"] == [], "nothing waits any more"
    history = demo_copy / "history.csv"
    history.write_text("Serial,Date,Stage,Characteristic,Value\nQH-1100,2026-11-20,joints,Joint leak,1.5\n")
    found = answer("import", history, *at)
    assert (found["rows"], found["accepted"] + found["held"], found["passed"]) == (1, 1, 0)
    assert answer("import", history, *at)["passed"] == 1


def test_a_piece_is_released_and_kept_back(answer, demo_copy):
    at = ("--workshop", demo_copy)
    first = answer("hold", *at)["pieces"][0]["serial"]
    by = ("--who", "IS", "--why", "measured again", *at)
    released = [row["released"] for row in answer("hold", "release", first, *by)["pieces"]]
    assert {one["who"] for one in released} == {"IS"}
    kept = answer("hold", "keep", first, *by)["pieces"]
    assert all(row["released"] is None and row["kept_back"]["why"] == "measured again" for row in kept)


def test_a_reading_is_put_right_and_taken_back_and_a_decision_undone(answer, demo_copy):
    at = ("--workshop", demo_copy)
    by = ("--who", "IS", "--why", "read again", *at)
    serial = answer("hold", *at)["pieces"][0]["serial"]
    reading = answer("correct", serial, *at)["readings"][0]
    said = answer("correct", reading["reading"], "--set", "value=1.2", *by)
    assert (said["state"], said["changes"][0]["was"]) == ("corrected", reading["typed"])
    assert answer("correct", said["by"], "--withdraw", *by)["by"] is None
    states = {one["reading"]: one["state"] for one in answer("correct", serial, *at)["readings"]}
    assert (states[reading["reading"]], states[said["by"]]) == ("corrected", "taken back")
    pair = [number for number, state in states.items() if state == "stands"][:2]
    hand = "BK" if reading["person"] != "BK" else "IS"
    several = answer("correct", *pair, "--set", f"person={hand}", *by)
    assert [one["reading"] for one in several["readings"]] == pair
    assert {(one["state"], one["changes"][0]["is"]) for one in several["readings"]} == {("corrected", hand)}
    assert several["series"] and (several["who"], several["why"]) == ("IS", "read again")
    row = answer("held", "list", *at)["held"][0]["row"]
    answer("held", "mend", row, "--drop", "--who", "IS", *at)
    answer("held", "undo", row, *by)
    assert answer("held", "list", *at)["held"]


@pytest.mark.parametrize("name", sorted(LEAVES))
def test_an_option_that_is_not_there_is_wrong_usage(run, name):
    code, out, err = run(*name.split(), "--moon", "full")
    assert (code, out) == (2, "")
    assert "--moon" in err and "Traceback" not in err


@pytest.mark.parametrize("name", [
    name for name, command in sorted(LEAVES.items())
    if any(parameter.required for parameter in command.params) and not getattr(command, "commands", None)
])  # fmt: skip
def test_a_command_without_what_it_needs_is_wrong_usage(run, name):
    code, out, err = run(*name.split())
    assert (code, out) == (2, "")
    assert "Missing" in err and "Traceback" not in err


def test_every_command_says_what_it_does_and_every_option_its_words():
    """Read off the program: `test_cli.py` prints the help itself."""
    for name, command in LEAVES.items():
        first = command.help.split("\n\n")[0].strip()
        assert first[0].isupper() and first.endswith("."), name
        silent = [one.name for one in command.params if not getattr(one, "help", None)]
        assert silent == [], name


AT_FAULT = {
    "tune": "tune {f}/coat.csv --length-mm 2944.9",
    "pair": "pair --inner {f}/outer.csv --outer {f}/inner.csv --target-um 150 --lower-um 100 --upper-um 200",
    "wear": "wear {f}/notes.csv --value od --against count --upper 14.7",
    "coat": "coat {f}/notes.csv --nominal 15 --lower 12",
    "study": "study {f}/empty.csv --value mm",
    "gauge": "gauge {f}/study.csv --value mm --part part",
    "new": "new {f}",
    "also": "also --gauge NONE-9 --workshop {w}",
    "month": "month 2031-01 --workshop {w}",
    "signals show": "signals show zzz --workshop {w}",
    "signals take": "signals take zzz --who IS --workshop {w}",
    "signals comment": "signals comment zzz words --who IS --workshop {w}",
    "signals close": "signals close zzz --false --who IS --workshop {w}",
    "signals tick": "signals tick zzz --step 1 --who IS --workshop {w}",
    "signals untick": "signals untick zzz --step 1 --who IS --workshop {w}",
    "signals reopen": "signals reopen zzz --who IS --workshop {w}",
    "baseline freeze": "baseline freeze a/b/c --from x --who IS --why y --workshop {w}",
    "baseline leave-out": "baseline leave-out a/b/c --from x --who IS --why y --workshop {w}",
    "baseline undo": "baseline undo a/b/c --who IS --why y --workshop {w}",
    "hold release": "hold release ZZ-1 --who IS --why y --workshop {w}",
    "hold keep": "hold keep ZZ-1 --who IS --why y --workshop {w}",
    "cards": "cards --card no-such-card --out {t}/cards --workshop {w}",
    "hold tags": "hold tags --serial ZZ-1 --out {t}/tags.pdf --workshop {w}",
    "held mend": "held mend 999999 --drop --who IS --workshop {w}",
    "held put-away": "held put-away none.csv --who IS --why y --workshop {w}",
    "held read": "held read none.csv --workshop {w}",
    "upload": "upload {f}/none.csv --workshop {w}",
    "import": "import {f}/notes.csv --workshop {w}",
}
NO_SHOP = (
    "hold",
    "status",
    "month 2026-09",
    "signals",
    "signals list",
    "held list",
    "baseline list",
    "plan show",
)
NO_SHOP = (
    *NO_SHOP,
    "verify",
    "rejudge",
    "also --gauge G",
    "held export {t}/h.csv",
    "plan check",
    "upload {f}/coat.csv",
    "import {f}/coat.csv",
)


@pytest.mark.parametrize("name", AT_FAULT)
def test_data_at_fault_are_one_line_on_stderr_and_exit_1(run, files, copy, tmp_path, name):
    """With --json as well: a script reads the exit code, and nothing stands on stdout that is no answer."""
    code, out, err = run(*called(AT_FAULT[name], files, copy, tmp_path), "--json")
    assert (code, out) == (1, ""), (out, err)
    assert err.startswith("qc: ") and err.count("\n") == 1 and len(err.split()) > 5


@pytest.mark.parametrize("words", NO_SHOP)
def test_without_a_workshop_every_command_says_how_to_make_one(run, files, tmp_path, words):
    code, out, err = run(*called(words, files, "", tmp_path), "--workshop", tmp_path / "none")
    assert (code, out) == (1, "")
    assert err.startswith("qc: ") and err.count("\n") == 1
    assert "qc new" in err or "qc demo" in err


def test_the_environment_names_the_workshop_where_no_option_does(run, answer, copy, tmp_path, monkeypatch):
    monkeypatch.setenv("QC_WORKSHOP", str(copy))
    assert answer("status") == answer("status", "--workshop", copy)
    code, _, err = run("status", "--workshop", tmp_path / "none")
    assert code == 1 and "none" in err, "the option wins"


def test_a_check_that_fails_still_answers_and_ends_with_1(answer, files, demo_copy, tmp_path):
    """They say what they found, in JSON too, and leave the verdict to the exit code."""
    plan = tmp_path / "plan.yaml"
    plan.write_text("workshop: {nmae: X}\nmodels: []\nstages: []\n", encoding="utf-8")
    assert answer("plan", "check", plan, code=1)["faults"]
    sheet = next(path for path in (demo_copy / "sheets").iterdir())
    sheet.chmod(0o644)
    sheet.write_bytes(sheet.read_bytes() + b" ")
    assert answer("verify", "--workshop", demo_copy, code=1)["faults"]


def test_a_day_that_is_none_is_wrong_usage_of_every_command_that_takes_one(run):
    for name, command in LEAVES.items():
        if any("--as-of" in getattr(p, "opts", []) for p in command.params):
            words = [p.name for p in command.params if p.required and p.param_type_name == "argument"]
            code, out, err = run(*name.split(), *("1" for _ in words), "--as-of", "2026-13-01")
            assert (code, out) == (2, ""), name
            assert "Traceback" not in err


def five(found):
    return [f"{value:.5f}" for row in found["factors"] for name, value in row.items() if name != "n"]


def tenths(found):
    for length in found["lengths"]:
        yield from (figure_words(f"{length[name]:.1f}") for name in ("error_mm", "change_mm", "first_cut_mm"))
    before, after = found["rms_before_cents"], found["rms_after_cents"]
    yield f"Spread of the notes {before:.1f} cents now, {after:.1f} after"


def lacquer(found):
    low, high = found["interval"]
    yield f"{found['cpl']:.2f} ({low:.2f} to {high:.2f}, 95 %)"
    yield from (f"{area['mean']:.1f}" for area in found["areas"])


def run_lengths(found):
    yield from (f"{row['mean']:.2f}" for row in found["shifts"] if 1 <= row["shift"] <= 3)
    yield f"width {found['design']['width']:.3f}"
    yield f"{found['shifts'][0]['quantiles']['0.5']}"


FIGURES = {"factors": five, "tune": tenths, "coat": lacquer, "run-length": run_lengths}
FIGURES["wear"] = lambda found: [f"change by count {found['tools'][0]['change_by_count']}"]
FIGURES["pair"] = lambda found: [f"{pair['mean_um']:.1f}" for pair in found["pairs"]]


@pytest.mark.parametrize("name", FIGURES)
def test_figures_in_words_are_those_of_the_json_rounded(run, answer, files, name):
    words = called(WITHOUT_WORKSHOP[name], files, "", "")
    wanted = list(FIGURES[name](answer(*words)))
    text = run(*words)[1]
    assert wanted and [figure for figure in wanted if figure not in text] == []
