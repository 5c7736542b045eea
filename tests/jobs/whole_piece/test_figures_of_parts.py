"""Who has the instrument asks by its serial: what was measured on its parts stands there, released or not."""

import json

import pytest

BUILT = "Card,Assembly card\n\nDate,Serial,Model,Part,Role,Batch,Person\n{}"
PULLED = "Card,Slide force card\n\nDate,Serial,Model,Person,Gauge,Slide force [N]\n{}"
GOOD = "2026-11-02,QH-1301,tenor,IS,,0.95\n"
PARTS = "2026-11-02,S-1301,tenor,IS,,{}\n"


@pytest.fixture
def ask(bare, tmp_path, command):
    """Run a command in a workshop with one instrument and the slide in it; the pull of the slide is given."""

    def run(*words):
        done = command(*words, "--workshop", bare, "--as-of", "2026-11-10")
        return done.stdout + done.stderr

    def pulled(slide):
        for name, text in (
            ("a.csv", PULLED.format(GOOD + PARTS.format(slide))),
            ("b.csv", BUILT.format("2026-11-03,QH-1301,tenor,S-1301,slide,,DO\n")),
        ):
            (tmp_path / name).write_text(text, "utf-8")
            assert "accepted" in run("upload", tmp_path / name, "--who", "IS")
        return run

    return pulled


def judgement(run):
    return json.loads(run("piece", "QH-1301", "--json"))["judgement"]


def test_parts_inside_their_limits_are_said_to_be(ask):
    run = ask("0.90")
    assert "Its part S-1301 is inside its limits in the one figure that has any." in judgement(run)
    text = run("piece", "QH-1301")
    assert "S-1301, Slide: Slide force" in text
    (part,) = json.loads(run("piece", "QH-1301", "--json"))["of_parts"]
    assert (part["part"], [one["inside"] for one in part["figures"]]) == ("S-1301", [True])


def test_a_part_outside_its_limits_is_named_also_when_it_was_released(ask):
    run = ask("2.40")
    outside = (
        "Its part S-1301 is outside its limits in 1 of 1 figure: Slide: Slide force, 2.40 N, over 1.8 N."
    )
    assert outside in judgement(run)
    assert judgement(run)[0].startswith("Keep it back for what is in it.")
    refused = run("hold", "release", "QH-1301", "--who", "IS", "--why", "played in")
    assert "Its part S-1301 is on it: qc hold release S-1301 --who CODE --why REASON" in refused
    run("hold", "release", "S-1301", "--who", "IS", "--why", "played in")
    said = judgement(run)
    assert said[:2] == ["Nothing holds it back.", "Its part S-1301 was released by IS: played in."]
    assert outside in said
