"""The list of people at the command: added, given a new code, gone; who may do it; what is left of a name."""

import json
import re

import pytest

from qc.cli.main import main
from qc.jobs.workshop import open_workshop

ONCE = re.compile(r"^[2-9A-HJKMNP-Z]{4}(-[2-9A-HJKMNP-Z]{4}){2}$", re.M)


@pytest.fixture
def shop(tmp_path, monkeypatch, capsys):
    """A new workshop, named in the environment as at a bench."""
    folder = tmp_path / "shop"
    monkeypatch.setenv("QC_WORKSHOP", str(folder))
    assert main(["new", str(folder)]) == 0
    capsys.readouterr()
    return folder


@pytest.fixture
def ask(capsys, shop):
    """Run words of `qc people` and give exit code, output and complaint."""

    def run(*words):
        code = main(["people", *words])
        out, err = capsys.readouterr()
        return code, out, err

    return run


def test_a_person_is_added_with_a_code_printed_once(ask, shop):
    code, out, _ = ask("add", "BK", "--role", "technician", "--name", "Bo Kestrel")
    assert code == 0 and len(ONCE.findall(out)) == 1
    once = ONCE.search(out).group()
    kept = b"".join(f.read_bytes() for f in shop.glob("qc.db*"))
    assert once.encode() not in kept and once.replace("-", "").encode() not in kept
    assert ask("list")[1] == "BK  Bo Kestrel  technician  has not signed in yet\n"


def test_what_a_script_reads(ask):
    said = json.loads(ask("add", "OW", "--role", "owner", "--json")[1])
    assert (said["code"], said["role"], bool(ONCE.search(said["one_time_code"]))) == ("OW", "owner", True)
    (own,) = json.loads(ask("list", "--json")[1])["people"]
    assert (own["code"], own["role"], own["at_work"], own["signed_up"], own["left"]) == (
        "OW", "owner", True, False, None,
    )  # fmt: skip


def test_role_and_name_of_one_who_is_there_are_changed(ask):
    ask("add", "BK", "--role", "technician")
    assert ask("add", "BK", "--role", "lead")[1] == "BK is lead now, and was technician.\n"
    assert ask("add", "BK", "--role", "lead", "--name", "Bo")[1] == "BK is called Bo now.\n"
    code, _, err = ask("add", "BK", "--role", "lead")
    assert code == 1 and "qc people reset BK" in err


@pytest.mark.parametrize(
    "words, exit_code, told",
    [
        (("add", "BK", "--role", "boss"), 2, "Choose one of technician, lead, owner"),
        (("add", "B K", "--role", "lead"), 2, "no code of a person"),
        (("add", "BK"), 2, "role"),
        (("reset", "XX"), 1, "has no 'XX'"),
        (("leave", "XX"), 1, "has no 'XX'"),
    ],
)
def test_what_cannot_be_done_says_why(ask, words, exit_code, told):
    code, _, err = ask(*words)
    assert code == exit_code and told in err


def test_who_is_named_needs_the_role_and_who_is_not_named_may_read_the_folder(ask):
    assert ask("add", "OW", "--role", "owner")[0] == 0
    assert ask("add", "BK", "--role", "lead", "--who", "OW")[0] == 0
    code, _, err = ask("add", "CD", "--role", "technician", "--who", "BK")
    assert code == 1 and "is for an owner, and not for BK, a lead. Ask OW." in err
    code, _, err = ask("leave", "OW", "--who", "ZZ")
    assert code == 1 and "knows no 'ZZ'" in err
    assert ask("reset", "BK", "--who", "OW")[0] == 0


def test_who_left_takes_the_name_along_and_the_plan_still_says_the_same(ask, shop):
    text = (shop / "plan.yaml").read_text("utf-8")
    (shop / "plan.yaml").write_text(
        text.replace("name: Quality lead}", "name: Ina Sorrel}  # Ina Sorrel"), "utf-8"
    )
    ask("add", "QL", "--role", "lead", "--name", "Ina Sorrel")
    ask("add", "OW", "--role", "owner")
    (shop / "plan.yaml").write_text((shop / "plan.yaml").read_text("utf-8") + "\n# later\n", "utf-8")
    code, out, _ = ask("leave", "QL")
    assert code == 0 and out.startswith("QL has left and signs in no more. The name is erased")
    assert not [f for f in shop.rglob("*") if f.is_file() and b"Sorrel" in f.read_bytes()]
    assert '{code: QL, name: ""}  # QL' in (shop / "plan.yaml").read_text("utf-8")
    with open_workshop(shop).store as store:
        versions = len(store.plan_versions())
        assert store.verify() == []
    workshop = open_workshop(shop)  # the file is the newest text: nothing new is recorded
    assert len(workshop.store.plan_versions()) == versions == 3
    workshop.store.close()
    code, _, err = ask("leave", "QL")
    assert code == 1 and "no name is kept" in err


def test_a_name_that_was_kept_is_erased_later(ask, shop):
    ask("add", "BK", "--role", "lead", "--name", "Bo Kestrel")
    assert "name is erased" not in ask("leave", "BK", "--keep-name")[1]
    assert "Bo Kestrel" in ask("list")[1]
    code, out, _ = ask("leave", "BK")
    assert code == 0 and out.startswith("The name of BK is erased") and "Bo Kestrel" not in ask("list")[1]


def test_who_comes_back_is_added_again(ask):
    ask("add", "BK", "--role", "lead", "--name", "Bo Kestrel")
    ask("leave", "BK")
    assert ONCE.search(ask("add", "BK", "--role", "technician")[1])
    assert "technician  has not signed in yet" in ask("list")[1]
