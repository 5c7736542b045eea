"""A mapping handed in is confirmed: used, kept beside the plan and in the store, and not asked for again."""

import json
import shlex
import stat

import pytest

from qc.ingest import MappingError, read_mapping
from qc.jobs.backup import backup, restore
from qc.jobs.errors import JobError
from qc.jobs.headings import mappings_for, propose_mapping, read_mapping_file
from qc.jobs.upload import upload
from qc.jobs.workshop import open_workshop
from sample_measurements import folder as sample_folder

ANSWER = (
    "card: joints-card\n"
    "columns: {Gemessen: Date, Werkzahl: Serial, Durchgang: Joint leak, Ofen: keep beside}\n"
)
DAYS = ANSWER + "dates: day-first\n"


def notebook(first=1391, day="12/11/2026"):
    rows = "".join(f"{day};QH-{first + n};tenor;1,{n};311\n" for n in range(3))
    return f"Joints card\n\nGemessen;Werkzahl;Modell;Durchgang;Ofen\n{rows}".encode()


@pytest.fixture
def shop(tmp_path):
    """An empty workshop with the sample plan."""
    folder = tmp_path / "shop"
    folder.mkdir()
    (folder / "plan.yaml").write_bytes((sample_folder() / "plan.yaml").read_bytes())
    workshop = open_workshop(folder)
    yield workshop
    workshop.store.close()


def given(shop, text):
    return read_mapping(text, "m.yaml", shop.plan)


def test_without_a_mapping_nothing_is_taken_in_and_the_board_knows_what_to_ask(shop):
    receipt = upload(shop, [("a.csv", notebook())], who="IS")
    assert receipt.sheets == () and "--propose-mapping" in receipt.refused[0]
    (question,) = receipt.questions
    assert [column.typed for column in question.columns] == ["Gemessen", "Werkzahl", "Durchgang", "Ofen"]
    assert question.dates is not None and question.dates.typed == "12/11/2026"
    assert shop.store.sheets() == [] and not (shop.folder / "mappings.yaml").exists()


def test_a_confirmed_mapping_is_kept_and_used_silently_at_the_next_sheet(shop):
    receipt = upload(shop, [("a.csv", notebook())], who="FN", mappings=given(shop, DAYS))
    assert receipt.sheets[0].count.accepted == 3
    said = (
        "Read with the mapping of Joints card: Gemessen is Date, Werkzahl is Serial and Durchgang is Joint "
        "leak; Ofen kept beside; dates with the day first."
    )
    assert receipt.sheets[0].to_dict()["marks"][0] == said
    assert f"   {said}" in receipt.to_text().split("\n")
    file = shop.folder / "mappings.yaml"
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    (version,) = shop.store.mapping_versions()
    assert (version.who, version.text) == ("FN", file.read_text("utf-8"))
    taken = next(entry for entry in shop.store.entries() if entry.kind == "sheet")
    assert version.entry < taken.id  # a later judge finds what the sheet was read with before it
    again = upload(shop, [("b.csv", notebook(1401))], who="IS")
    assert again.sheets[0].count.accepted == 3 and said in again.sheets[0].to_dict()["marks"]
    assert len(shop.store.mapping_versions()) == 1
    assert shop.store.verify() == []


def test_dates_are_held_until_the_bench_has_said_once_how_it_writes_them(shop):
    plain = b"Joints card\n\nDate;Serial;Model;Joint leak\n10/11/2026;QH-1391;tenor;1,8\n"
    first = upload(shop, [("a.csv", plain)], who="IS")
    assert first.sheets[0].count.held == 1
    assert "10/11/2026 is 10 Nov 2026 with the day first or 11 Oct 2026" in first.to_text()
    proposed = propose_mapping(shop, [("a.csv", plain)]).to_text().replace("dates:", "dates: month-first")
    second = upload(shop, [("a.csv", plain)], who="IS", mappings=given(shop, proposed))
    assert second.sheets[0].count.accepted == 1 and shop.store.held() == []
    assert [str(day) for day in shop.store.readings()["day"]] == ["2026-10-11"]
    third = upload(shop, [("b.csv", plain.replace(b"1391", b"1392"))], who="IS")
    assert third.sheets[0].count.accepted == 1 and "--propose-mapping" not in third.to_text()


def test_alike_doubts_of_an_old_notebook_are_told_alike(shop):
    rows = "".join(f"1{n}/11/2026;QH-{1391 + n};tenor;ca. 1,{n};311\n" for n in range(4))
    old = f"Joints card\n\nGemessen;Werkzahl;Modell;Durchgang;Ofen\n{rows}".encode()
    receipt = upload(shop, [("old.csv", old)], who="IS", mappings=given(shop, DAYS))
    assert (receipt.sheets[0].count.accepted, receipt.sheets[0].count.reasons) == (0, {"not-a-number": 4})
    assert [json.loads(json.dumps(row.proposal)) for row in shop.store.held()] == [
        {"value": 1.0}, {"value": 1.1}, {"value": 1.2}, {"value": 1.3},
    ]  # fmt: skip


def test_a_file_edited_by_hand_is_a_version_of_its_own(shop):
    upload(shop, [("a.csv", notebook())], who="FN", mappings=given(shop, DAYS))
    file = shop.folder / "mappings.yaml"
    file.write_text("# ours\n" + file.read_text("utf-8"), "utf-8")
    upload(shop, [("b.csv", notebook(1401))], who="FN")
    first, second = shop.store.mapping_versions()
    assert second.text == "# ours\n" + first.text and second.who == "IS"


def test_a_broken_file_beside_the_plan_stops_the_upload_with_its_faults(shop):
    (shop.folder / "mappings.yaml").write_text("mappings:\n  - card: joints-card\n    dates: us\n", "utf-8")
    with pytest.raises(MappingError, match=r"(?s)mappings.yaml.*2 faults.*headings: is missing.*says us"):
        upload(shop, [("a.csv", notebook())], who="IS")
    assert shop.store.sheets() == []


def test_a_mapping_that_fits_no_sheet_is_refused(shop):
    plain = b"Joints card\n\nDate;Serial;Model;Joint leak\n10.11.2026;QH-1391;tenor;1,8\n"
    with pytest.raises(JobError, match="fits none of the sheets.*Gemessen"):
        upload(shop, [("a.csv", plain)], who="IS", mappings=given(shop, ANSWER))
    assert shop.store.sheets() == [] and not (shop.folder / "mappings.yaml").exists()


def test_a_file_that_is_no_text_is_refused(shop, tmp_path):
    file = tmp_path / "m.yaml"
    file.write_bytes(b"card: \xff\xfe")
    with pytest.raises(JobError, match="no UTF-8 text"):
        read_mapping_file(file, shop)
    with pytest.raises(JobError, match=r"gone.yaml.*Name a file"):
        read_mapping_file(tmp_path / "gone.yaml", shop)


def test_a_backup_brings_the_mappings_back(shop, tmp_path):
    upload(shop, [("a.csv", notebook())], who="FN", mappings=given(shop, DAYS))
    made = backup(shop, tmp_path / "backups")
    restore(made.folder, tmp_path / "back")
    with open_workshop(tmp_path / "back").store as store:
        assert store.mapping_versions() == shop.store.mapping_versions()
    text = (tmp_path / "back" / "mappings.yaml").read_text("utf-8")
    assert text == (shop.folder / "mappings.yaml").read_text("utf-8")
    assert len(mappings_for(shop).remembered) == 1


def test_the_command_proposes_and_takes_a_mapping(shop, command, tmp_path):
    sheet, mapping = tmp_path / "a.csv", tmp_path / "m.yaml"
    sheet.write_bytes(notebook())
    asked = command("upload", sheet, "--propose-mapping", "--workshop", shop.folder)
    assert asked.exit_code == 0 and asked.stdout.count("# may be: ") == 4
    filled = asked.stdout.replace("Durchgang:", "Durchgang: Joint leak").replace("Ofen:", "Ofen: keep beside")
    mapping.write_text(filled.replace("dates:", "dates: day-first"), "utf-8")
    words = ("upload", sheet, "--mapping", mapping, "--who", "IS", "--workshop", shop.folder)
    assert command(*words).stdout.startswith("a.csv: 3 rows, 3 accepted.\n   Read with the mapping")
    both = command(*words, "--propose-mapping")
    assert both.exit_code == 2 and "not both" in both.stderr
    mapping.write_text("card: tea\n", "utf-8")
    broken = command(*words)
    assert broken.exit_code == 1 and "names tea, which is no card" in broken.stderr
    again = command("upload", sheet, "--propose-mapping", "--workshop", shop.folder)
    assert again.stdout.startswith("# Every heading is known")


def test_a_command_that_a_refusal_names_runs_as_it_stands(shop, command, tmp_path):
    sheet = tmp_path / "draw book w46.csv"
    sheet.write_bytes(notebook())
    refused = command("upload", sheet, "--workshop", shop.folder).stderr
    named = refused.split("`qc ")[1].split("`")[0]
    proposed = command(*shlex.split(named))
    assert proposed.exit_code == 0 and proposed.stdout.count("# may be: ") == 4
    again = shlex.split(proposed.stdout.splitlines()[1].removeprefix("#   qc "))
    assert again == ["upload", str(sheet), "--mapping", "FILE", "--workshop", str(shop.folder)]


@pytest.mark.parametrize(
    ("typed", "code", "said"),
    [
        pytest.param("10 March 2026", 0, "10 Mar 2026", id="words"),
        pytest.param("Tue 10.3.26", 0, "10 Mar 2026", id="weekday"),
        pytest.param("2026/03/10", 0, "10 Mar 2026", id="strokes"),
        pytest.param("10/03/2026", 2, "10 Mar 2026 (2026-03-10) or 3 Oct 2026 (2026-10-03)", id="two ways"),
        pytest.param("2026-02-30", 2, "is not a day", id="none"),
    ],
)
def test_a_day_at_the_command_is_read_as_on_a_card(shop, command, typed, code, said):
    answer = command("status", "--as-of", typed, "--workshop", shop.folder)
    assert answer.exit_code == code and said in " ".join(answer.output.split())


def test_a_sheet_refused_for_something_else_is_not_said_to_need_no_mapping(shop):
    card = b"Card;Joints card\n\nDate;Rotor no.;Model;Joint leak\n2026-11-12;17;tenor;1,2\n"
    text = propose_mapping(shop, [("a.csv", card)]).to_text()
    assert "Joints card does not say Serial" in text and "no mapping is needed" not in text
    assert all(line.startswith("#") for line in text.splitlines())
    # the lines with which it is begun are a mapping, once their words are filled in
    begun = [line.removeprefix("# ") for line in text.splitlines()[-2:]]
    filled = "\n".join(begun).replace("ID-OF-THE-CARD", "joints-card")
    filled = filled.replace("Heading as it stands on the sheet", "Rotor no.")
    mappings = read_mapping(filled, "m.yaml", shop.plan)
    receipt = upload(shop, [("a.csv", card)], who="IS", mappings=mappings)
    assert receipt.refused == () and receipt.sheets[0].count.file == "a.csv"
