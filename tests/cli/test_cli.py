"""The command from the outside: exit codes, one JSON object, one line for an error."""

import json

import pytest

from qc.cli.main import main
from sample_measurements import folder as sample_folder


@pytest.fixture
def run(capsys):
    def call(*words):
        code = main([str(w) for w in words])
        out, err = capsys.readouterr()
        return code, out, err

    return call


COMMANDS = [
    *(["demo"], ["new"], ["upload"], ["status"], ["month"], ["board"], ["study"], ["verify"]),
    *(["held", "list"], ["held", "mend"], ["held", "export"], ["plan", "check"], ["plan", "show"]),
]


@pytest.mark.parametrize("command", COMMANDS, ids=" ".join)
def test_every_command_has_help(run, command):
    code, out, _ = run(*command, "--help")
    assert code == 0
    assert out.startswith("Usage: ")


def test_version(run):
    code, out, _ = run("--version")
    assert code == 0 and out.strip().count(".") == 2


@pytest.mark.parametrize(
    "words",
    [
        ["nonsense"],
        ["month", "--close"],
        ["status", "--as-of", "yesterday"],
        ["held", "mend", "1"],
        ["held", "mend", "x", "--drop"],
    ],
    ids=" ".join,
)
def test_wrong_usage_is_two(run, words):
    code, _, err = run(*words)
    assert code == 2
    assert "Traceback" not in err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["also", "--gauge", "BG-1", "--since", "soon"], "no day"),
        (["also", "--tool", "M-64", "--since", "last-good-check"], "for gauges"),
        (["signals", "take", "{id}"], "Say who you are"),
        (["signals", "comment", "{id}", "", "--who", "IS"], "remark is empty"),
        (["baseline", "freeze", "tuning/wrap_f/all", "--from", "QH-1104", "--who", "IS"], "Say why"),
    ],
)
def test_a_question_that_lacks_something_is_two_and_one_sentence(run, demo_folder, words, said):
    own = json.loads(run("signals", "--workshop", demo_folder, "--json")[1])["signals"][0]["id"]
    code, out, err = run(*(w.format(id=own) for w in words), "--workshop", demo_folder)
    assert (code, out) == (2, "") and err.startswith("qc: ") and said in err and err.count("\n") == 1


def test_signals_are_listed_by_either_name(run, demo_folder):
    shown = run("signals", "--workshop", demo_folder)
    assert shown[0] == 0 and shown == run("signals", "list", "--workshop", demo_folder)


def test_status_is_one_json_object(run, demo_folder):
    code, out, err = run("status", "--workshop", demo_folder, "--json")
    assert code == 0 and err == ""
    assert set(json.loads(out)) == {
        "as_of",
        "compared_with",
        "known",
        "not_judged_since",
        "people_apart",
        "levels_apart",
        "signals_waiting",
        "waiting",
        "readings",
        "series",
    }


def test_no_workshop_says_how_to_make_one(run, tmp_path):
    code, out, err = run("status", "--workshop", tmp_path / "none")
    assert code == 1 and out == ""
    assert err.count("\n") == 1 and "qc demo" in err


def test_upload_of_a_broken_file_is_one_sentence_and_exit_one(run, demo_copy, tmp_path):
    bad = tmp_path / "card.xlsx"
    bad.write_bytes(b"PK\x03\x04nothing")
    code, out, err = run("upload", bad, "--workshop", demo_copy, "--json")
    assert code == 1
    assert len(json.loads(out)["refused"]) == 1
    assert err.startswith("qc: card.xlsx") and err.count("\n") == 1


def test_upload_again_is_already_known(run, demo_copy):
    sheet = sorted((sample_folder() / "sheets" / "joints").iterdir())[0]
    code, out, _ = run("upload", sheet, "--workshop", demo_copy, "--json")
    (row,) = json.loads(out)["sheets"]
    assert code == 0
    assert row["accepted"] == 0 and row["rows"] == row["already_known"] + row["held"]


def test_new_then_status_then_a_second_new_is_refused(run, tmp_path):
    folder = tmp_path / "shop"
    assert run("new", folder)[0] == 0
    assert run("plan", "check", "--workshop", folder)[0] == 0
    code, out, _ = run("status", "--workshop", folder, "--json")
    assert code == 0 and json.loads(out)["series"] == []
    assert "nothing has been measured yet" in run("status", "--workshop", folder)[1]
    code, _, err = run("new", folder)
    assert code == 1 and "not empty" in err or "already" in err


def test_a_faulty_plan_is_listed_whole(run, tmp_path):
    plan = tmp_path / "plan.yaml"
    plan.write_text("workshop:\n  nmae: X\nmodels: []\nstages: []\n")
    code, out, _ = run("plan", "check", plan)
    assert code == 1
    assert "line 2" in out


def test_month_prints_the_files(run, demo_copy, tmp_path):
    code, out, _ = run("month", "2026-09", "--workshop", demo_copy, "--out", tmp_path / "r", "--json")
    assert code == 0
    assert len(json.loads(out)["files"]) == 3


def test_mending_from_the_command(run, demo_copy):
    code, out, _ = run("held", "list", "--workshop", demo_copy, "--json")
    row = next(r for r in json.loads(out)["held"] if r["proposal"])
    code, out, _ = run("held", "mend", row["row"], "--accept", "--who", "IS", "--workshop", demo_copy)
    assert code == 0 and "is accepted" in out
    code, _, err = run("held", "mend", row["row"], "--accept", "--who", "IS", "--workshop", demo_copy)
    assert code == 1 and err.startswith("qc: ")
    code, _, err = run("held", "mend", row["row"], "--accept", "--workshop", demo_copy)
    assert code == 2 and "--who" in err


def test_verify_finds_what_was_altered(run, demo_copy):
    assert run("verify", "--workshop", demo_copy)[0] == 0
    victim = next(p for p in (demo_copy / "sheets").iterdir())
    victim.chmod(0o644)
    victim.write_bytes(victim.read_bytes() + b" ")
    code, out, _ = run("verify", "--workshop", demo_copy)
    assert code == 1 and victim.name[:12] in out


def test_plan_show(run, demo_folder):
    code, out, _ = run("plan", "show", "--workshop", demo_folder)
    assert code == 0 and "Slide clearance" in out
