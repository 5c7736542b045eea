"""A part that went into a second instrument: refused at upload, followed once the swap is confirmed."""

import json

import pytest

HEAD = "Card,Assembly card\n\nDate,Serial,Model,Part,Role,Batch,Person\n"


@pytest.fixture
def ask(bare, tmp_path, command):
    """Run a command in a workshop that has nothing but the plan of the sample."""

    def run(*words):
        done = command(*words, "--workshop", bare, "--json")
        return done.exit_code, json.loads(done.stdout) if done.stdout else done.stderr

    return run


def card(tmp_path, name, *lines):
    path = tmp_path / name
    path.write_text(HEAD + "".join(f"{line}\n" for line in lines), "utf-8")
    return path


def test_a_part_used_twice_is_held_and_a_confirmed_swap_is_followed(ask, tmp_path):
    rows = "2026-11-02,QH-1301,tenor,B-1301,bell,SH-08,DO", "2026-11-02,QH-1302,tenor,B-1302,bell,SH-09,DO"
    first = card(tmp_path, "one.csv", *rows)
    assert ask("upload", first)[1]["sheets"][0]["accepted"] == 2
    again = card(tmp_path, "two.csv", "2026-11-09,QH-1302,tenor,B-1301,bell,SH-08,DO")
    assert ask("upload", again)[1]["sheets"][0]["held"] == 1
    waiting = ask("held", "list")[1]["held"]
    assert [one["id"] for one in waiting[0]["reasons"]] == ["part-used-twice"]
    _, before = ask("piece", "QH-1302")
    assert [one["serial"] for one in before["parts"]] == ["B-1302"]
    code, _ = ask("held", "mend", str(waiting[0]["row"]), "--as-typed", "--who", "IS")
    assert code == 0
    _, after = ask("piece", "QH-1302")
    assert {one["serial"] for one in after["parts"]} == {"B-1301", "B-1302"}
    _, gave = ask("piece", "QH-1301")
    assert gave["parts"] == [] and gave["moved"][0]["went_to"] == "QH-1302"
    _, bell = ask("piece", "B-1301")
    assert [(one["serial"], one["until"]) for one in bell["part_of"]] == [
        ("QH-1302", None),
        ("QH-1301", "2026-11-09"),
    ]
