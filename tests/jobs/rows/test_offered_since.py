"""A mend that was offered is looked at anew: the piece it leads to may have had its own card since."""

import json
import random
import shutil
from datetime import date

import pytest

from qc.jobs.past import known_of
from qc.jobs.rows import list_held
from qc.jobs.workshop import open_workshop
from sample_measurements import folder as sample_folder

JOINTS = "Card,Joints card\n\nDate,Serial,Model,Leak\n"
POLISH = "Card,Polishing card\n\nDate,Serial,Model,Mass loss\n"
REWORK = "Card,Rework list\n\nDate,Serial,Hours,Cause,Stage\n"
MADE = 24


@pytest.fixture
def ask(tmp_path, command):
    """A record of pieces with both cards, the last one without the second; then commands on it."""
    folder = tmp_path / "shop"
    folder.mkdir()
    shutil.copyfile(sample_folder() / "plan.yaml", folder / "plan.yaml")

    def run(*words, card=""):
        if card:
            path = tmp_path / f"{words[-1]}.csv"
            path.write_text(card, "utf-8")
            words = ("upload", path, *words)
        done = command(*words, "--workshop", folder, "--who", "IS", "--json")
        return done.exit_code, json.loads(done.stdout) if done.stdout else done.stderr

    rng = random.Random(8)
    days = {n: f"2026-11-{n // 2 + 1:02d}" for n in range(1, MADE + 1)}
    joints = "".join(f"{day},QH-15{n:02d},tenor,{rng.uniform(1, 2):.1f}\n" for n, day in days.items())
    later = {n: f"2026-11-{n // 2 + 3:02d}" for n in range(1, MADE)}
    polish = "".join(f"{day},QH-15{n:02d},tenor,{rng.gauss(18, 1):.1f}\n" for n, day in later.items())
    assert run("--as-of", "2026-11-16", card=JOINTS + joints)[0] == 0
    assert run("--as-of", "2026-11-17", card=POLISH + polish)[0] == 0
    run.folder = folder
    return run


def held_by(ask, day):
    workshop = open_workshop(ask.folder, as_of=date.fromisoformat(day))
    rows = list_held(workshop).rows
    workshop.store.close()
    return rows


def test_a_piece_that_has_had_its_own_card_since_is_offered_no_more(ask):
    ask("--as-of", "2026-11-18", card=POLISH + "2026-11-18,QH-1523,tenor,18.2\n")
    (row,) = held_by(ask, "2026-11-18")
    assert row.proposal == {"serial": "QH-1524"} and "without it is QH-1524" in row.reasons[0].sentence
    code, said = ask("--as-of", "2026-11-19", card=POLISH + "2026-11-19,QH-1524,tenor,17.8\n")
    assert code == 0, said
    (row,) = held_by(ask, "2026-11-19")
    assert (row.proposal, row.proposals, row.mends) == ({}, (), ())
    assert row.reasons[0].sentence.endswith("QH-1524 has had its own card since, of 19 Nov 2026.")
    assert row.reasons[0].mend == "If QH-1523 was measured, confirm it; else type the piece that was."
    code, said = ask("held", "mend", str(row.id), "--accept", "--as-of", "2026-11-19")
    assert code == 1 and "has no proposed mend" in said
    assert ask("held", "mend", str(row.id), "--as-typed", "--as-of", "2026-11-19")[0] == 0


def test_a_row_that_waits_anew_is_offered_no_more_either(ask):
    """A decision that is undone makes a new row of today; its proposal is as old as its sheet."""
    ask("--as-of", "2026-11-18", card=POLISH + "2026-11-18,QH-1523,tenor,18.2\n")
    ask("--as-of", "2026-11-19", card=POLISH + "2026-11-19,QH-1524,tenor,17.8\n")
    ask("held", "mend", "1", "--as-typed", "--as-of", "2026-11-19")
    assert ask("held", "undo", "1", "--why", "not sure", "--as-of", "2026-11-20")[0] == 0
    (row,) = held_by(ask, "2026-11-20")
    assert row.id != 1 and row.proposal == {}


def again(ask, day, serial="QH-1523"):
    """Return at which stages a second card of a piece is expected."""
    workshop = open_workshop(ask.folder, as_of=date.fromisoformat(day))
    figures = [("polish", "mass_loss", "tenor", serial), ("joints", "leak", "tenor", serial)]
    found = known_of(workshop, figures, [serial]).again
    workshop.store.close()
    return found


def test_a_piece_outside_its_limit_or_reworked_is_expected_once_more(ask):
    assert again(ask, "2026-11-18") == set()
    ask("--as-of", "2026-11-18", card=JOINTS + "2026-11-15,QH-1530,tenor,5.5\n")
    assert again(ask, "2026-11-18", "QH-1530") == {("QH-1530", "joints")}
    code, said = ask("--as-of", "2026-11-19", card=REWORK + "2026-11-18,QH-1523,1.0,polishing-mark,polish\n")
    assert code == 0 and said["sheets"][0]["accepted"] == 1, said
    assert again(ask, "2026-11-19") == {("QH-1523", "polish")}, (
        "what comes before the rework is not done again"
    )
    code, said = ask("--as-of", "2026-11-20", card=POLISH + "2026-11-20,QH-1523,tenor,18.2\n")
    assert code == 0 and held_by(ask, "2026-11-20") == (), said
