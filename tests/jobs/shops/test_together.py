"""Several workshops and one lead: worst first, each by itself, and who cannot be asked hides no other."""

import json
import shutil
from datetime import date

import pytest

from qc.jobs.errors import JobError
from qc.jobs.shops import status_of_shops
from qc.jobs.status import status
from qc.jobs.workshop import keep_address, open_workshop


@pytest.fixture(scope="module")
def group(tmp_path_factory, demo_folder, postgresql):
    """A folder with the sample workshop, a new one on a server, one with a faulty plan, and no workshop."""
    place = tmp_path_factory.mktemp("group")
    shutil.copytree(demo_folder, place / "elm")
    address = postgresql.make()
    for name in ("alder", "birch"):
        (place / name).mkdir()
    keep_address(place / "alder", address)
    for name in ("alder", "birch"):
        open_workshop(place / name, create=True).store.close()
    (place / "birch" / "plan.yaml").write_text("workshop: {", "utf-8")
    (place / "papers").mkdir()
    (place / "notes.txt").write_text("no folder", "utf-8")
    yield place
    postgresql.drop(address)


def test_each_is_told_as_by_itself_the_worst_first(group, command):
    found = status_of_shops(group)
    birch, elm, alder = found.workshops
    assert [one.folder for one in found.workshops] == ["birch", "elm", "alder"]
    assert birch.fault in found.faults and "plan.yaml: the plan has 1 fault" in birch.fault
    workshop = open_workshop(group / "elm")
    alone, held = status(workshop), workshop.store.held()
    workshop.store.close()
    assert (elm.workshop, elm.as_of, elm.series) == (alone.workshop, alone.as_of, len(alone.series))
    assert elm.drifting == sum(one.behaviour == "drifting" for one in alone.series) > 0
    assert (elm.open_signals, elm.held_rows) == (sum(alone.open_signals.values()), len(held))
    assert elm.budget == alone.budget and elm.worst.startswith(alone.series[0].title)
    assert (alder.series, alder.worst, alder.budget, alder.fault) == (0, "", "", "")

    said = command("status", "--group", group)
    assert said.exit_code == 1 and said.stdout.startswith(f"3 workshops in {group}, worst first")
    heads = [line for line in said.stdout.splitlines() if line[:5] in {"birch", "elm: ", "alder"}]
    assert len(heads) == 3 and heads[0] == "birch could not be asked"
    assert elm.budget in said.stdout and "nothing has been measured yet" in heads[2]
    told = json.loads(command("status", "--group", group, "--json").stdout)
    assert [one["folder"] for one in told["workshops"]] == ["birch", "elm", "alder"]
    assert told["workshops"][1]["as_of"] == alone.as_of.isoformat()


def test_a_past_day_is_asked_of_all_and_what_makes_no_sense_is_refused(group, command, tmp_path):
    shutil.copytree(group / "alder", tmp_path / "group" / "alder")
    (found,) = status_of_shops(tmp_path / "group", as_of=date(2026, 5, 1)).workshops
    assert found.as_of == date(2026, 5, 1)
    for words in (["--workshop", "x"], ["--known", "2026-05-01"], ["--since", "2026-05-01"]):
        refused = command("status", "--group", group, *words)
        assert refused.exit_code == 2 and "leave out --workshop, --known, --since" in refused.stderr
    for place in (group / "papers", group / "nowhere"):
        with pytest.raises(JobError, match="Name the folder in which"):
            status_of_shops(place)
