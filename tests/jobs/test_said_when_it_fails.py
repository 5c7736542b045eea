"""What a job that failed says was stored, is so: of kept sheets, files beside the store, answers too."""

import pytest

from qc.errors import MachineError
from qc.ingest import read_layout_texts
from qc.jobs.bench import enter_card, entering
from qc.jobs.board import opened, what_became
from qc.jobs.halves import AsBefore
from qc.jobs.history import bring_in
from qc.jobs.history.bringing_in import _Taken
from qc.jobs.judging import catch_up, verdicts
from qc.jobs.office import StoreOffice, mark_of
from qc.jobs.people import add_person, leave
from qc.jobs.rejudge import rejudge
from qc.jobs.rows import Decision, settle_rows
from qc.jobs.upload import upload
from qc.jobs.workshop import open_workshop
from qc.plan import template_text
from qc.store import StoreUnavailable
from qc.store.database import Database
from sample_measurements import folder as sample_folder

ODD = ("odd.csv", b"Schieberbuch;;\n;;\nNr.;QH-1061;;1.12;;;9.3.26;;FN\nNr.;QH-1062;;1.13;;;9.3.26;;FN\n")
GOOD = next((p.name, p.read_bytes()) for p in sorted((sample_folder() / "sheets").rglob("slide-force*.csv")))
LACQUER = [(p.name, p.read_bytes()) for p in sorted((sample_folder() / "sheets" / "lacquer").iterdir())[-25:]]
SHOWN = """
layouts:
  - layout: Slide book
    fixed: {A1: Schieberbuch}
    tables:
      - card: force-card
        pieces: {are: rows, first: 3}
        facts: {serial: cell B3, date: cell G3, person: cell I3, model: tenor}
        figures:
          - {at: D3, is: Slide force, unit: N}
"""


@pytest.fixture
def empty(tmp_path):
    """Open a workshop that has the sample's plan and nothing else."""
    (tmp_path / "plan.yaml").write_bytes((sample_folder() / "plan.yaml").read_bytes())
    workshop = open_workshop(tmp_path)
    yield workshop
    workshop.store.close()


@pytest.fixture
def full(monkeypatch):
    """Return what makes every transaction from now on fail as it is made durable, on a full disk."""
    writing, commit = Database.writing, []

    def refuse(after=0):
        from contextlib import contextmanager

        within = []

        @contextmanager
        def refused(self):
            within.append(self)
            try:
                with writing(self) as conn:
                    yield conn
                    if len(within) == 1:
                        commit.append(conn)
                        if len(commit) > after:
                            raise StoreUnavailable("The disk is full.")
            finally:
                within.pop()

        monkeypatch.setattr(Database, "writing", refused)

    yield refuse
    monkeypatch.setattr(Database, "writing", writing)


def never(*_, **__):
    raise StoreUnavailable("The disk is full.")


def test_a_sheet_nobody_can_read_is_kept_with_the_others_or_not_at_all(empty, full, monkeypatch):
    full()
    with pytest.raises(MachineError, match="full. Nothing was stored.$"):
        upload(empty, [ODD, GOOD], who="IS")
    monkeypatch.undo()
    assert empty.store.entries() == [] or {one.kind for one in empty.store.entries()} == {"plan"}
    assert empty.store.unread() == [] and empty.store.sheets() == [] and empty.store.verify() == []
    assert [one.file for one in upload(empty, [ODD, GOOD], who="IS").waiting] == ["odd.csv"]
    assert empty.store.verify() == [] and len(empty.store.sheets()) == 1


def test_after_the_rows_it_is_said_that_the_refused_sheet_is_kept(empty, monkeypatch):
    monkeypatch.setattr(verdicts, "judge_now", never)
    kept = "1 sheet that could not be read is kept and waits for its layout."
    with pytest.raises(MachineError, match=f"1 sheet stored .*[.] {kept} It is stored, but not yet judged"):
        upload(empty, [ODD, GOOD], who="IS")
    other = (ODD[0], ODD[1] + b"\n;\n")
    with pytest.raises(MachineError) as told:
        upload(empty, [other], who="IS")
    assert str(told.value).endswith(
        f"{kept} What waited before is not yet judged: the next command judges it."
    )
    assert len(empty.store.unread()) == 2 and len(empty.store.sheets()) == 1
    with pytest.raises(MachineError, match="brought nothing new, so nothing was stored"):
        upload(empty, [other, GOOD], who="IS")


def test_the_same_rows_in_another_file_are_a_sheet_that_is_stored(empty, monkeypatch):
    upload(empty, [GOOD], who="IS")
    rows = empty.store.readings().height
    empty.store.set_state("judged up to", [0, 0])
    monkeypatch.setattr(verdicts, "judge_now", never)
    with pytest.raises(MachineError, match=r"1 sheet stored \(0 rows accepted and 0 held\)"):
        upload(empty, [(GOOD[0], GOOD[1] + b"\n")], who="IS")
    assert len(empty.store.sheets()) == 2 and empty.store.readings().height == rows


def test_what_fails_after_the_judging_says_that_it_is_judged(empty, monkeypatch):
    monkeypatch.setattr("qc.jobs.upload.accepted_since", never)
    with pytest.raises(MachineError, match="full. What there was to store is stored and judged.$"):
        upload(empty, [GOOD], who="IS")
    assert catch_up(empty) == []


def test_a_layout_is_remembered_with_its_sheet_or_not_at_all(empty, full, monkeypatch):
    layouts = read_layout_texts(SHOWN, "layout.yaml", empty.plan)
    file = empty.folder / "mappings.yaml"
    full()
    with pytest.raises(MachineError, match="Nothing was stored.$"):
        upload(empty, [ODD], who="IS", layouts=layouts)
    monkeypatch.undo()
    assert not file.exists()
    monkeypatch.setattr(verdicts, "judge_now", never)
    with pytest.raises(
        MachineError, match="What was said of headings or layouts is remembered. It is stored"
    ):
        upload(empty, [ODD], who="IS", layouts=layouts)
    assert "Slide book" in file.read_text("utf-8")


def test_a_file_is_put_back_as_it_was_and_where_it_cannot_be_that_is_said(tmp_path, monkeypatch):
    file, new = tmp_path / "a.yaml", tmp_path / "b.yaml"
    file.write_text("before")
    file.chmod(0o640)
    with pytest.raises(MachineError, match="^The disk is full.$"), AsBefore() as files:
        for one in (file, new):
            files.note(one)
            one.write_text("after")
        never()
    assert (file.read_text(), file.stat().st_mode & 0o777, new.exists()) == ("before", 0o640, False)
    with pytest.raises(
        MachineError, match=r"full. But .*a.yaml says already .* cannot be put back \(No space"
    ):
        with AsBefore() as files:
            files.note(file)
            file.write_text("after")
            monkeypatch.setattr(
                "qc.jobs.halves.flush_file", lambda _: (_ for _ in ()).throw(OSError(28, "No space"))
            )
            never()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.yaml"]


def test_a_name_is_forgotten_in_plan_and_store_or_in_neither(tmp_path, full, monkeypatch):
    text = template_text().replace("{code: QL, name: Quality lead}", "{code: QL, name: Ina Sorrel}")
    (tmp_path / "plan.yaml").write_text(text, "utf-8")
    workshop = open_workshop(tmp_path)
    add_person(workshop, "QL", role="owner", name="Ina Sorrel")
    full()
    with pytest.raises(MachineError, match="Nothing was stored.$"):
        leave(workshop, "QL")
    monkeypatch.undo()
    assert "Ina Sorrel" in (tmp_path / "plan.yaml").read_text("utf-8")
    monkeypatch.setattr(type(workshop.store), "forget_old_pages", never)
    with pytest.raises(MachineError, match="left and the name is erased; old pages"):
        leave(workshop, "QL")
    assert "Ina Sorrel" not in (tmp_path / "plan.yaml").read_text("utf-8")
    workshop.store.close()


def test_a_plan_that_cannot_be_kept_as_a_version_is_not_in_its_file_either(empty, full, monkeypatch):
    file = empty.folder / "plan.yaml"
    before = file.read_text("utf-8")
    full()
    with pytest.raises(MachineError, match="Nothing was stored"):
        StoreOffice(empty.folder).save(f"{before}# new\n", "IS", "a remark", mark_of(before))
    monkeypatch.undo()
    assert file.read_text("utf-8") == before


def test_answers_to_a_card_that_cannot_be_kept_leave_the_card_stored_and_say_so(empty, monkeypatch):
    upload(empty, LACQUER, who="IS")
    boxes = {"Serial": "QH-1204", "Model": "bass", "Date": "2026-11-24", "Person": "FN", "Gauge": "EC-1"}
    sent = {
        "entry": "d" * 32, "card": "lacquer-card", "boxes": boxes, "left_out": [14],
        "figures": {"0": "15.2", "1": "15.1", "2": "45"}, "sure": [[2, "far-from-usual"]],
    }  # fmt: skip
    monkeypatch.setattr(type(empty.store), "settle_each", never)
    with pytest.raises(MachineError) as told:
        enter_card(empty, sent, who="FN")
    assert str(told.value) == f"The disk is full. {entering.UNANSWERED}"
    monkeypatch.undo()
    assert enter_card(empty, sent, who="FN")["sentence"] == "Lacquer card of QH-1204: 3 entries kept."


def test_judged_afresh_and_then_cut_short_is_judged(empty, monkeypatch):
    upload(empty, [GOOD], who="IS")
    monkeypatch.setattr("qc.jobs.rejudge.outside_up_to_date", never)
    with pytest.raises(MachineError, match="full. What there was to store is stored and judged.$"):
        rejudge(empty)


def test_a_history_says_how_much_of_it_is_stored_and_whether_it_is_judged(empty, tmp_path, monkeypatch):
    lines = ["Date,Serial,Model,Stage,Characteristic,Value,Person,Gauge"]
    lines += [f"2026-03-{n:02},QH-{1000 + n},tenor,slide,force,1.1{n},FN,SB-1" for n in range(1, 9)]
    file = tmp_path / "years.csv"
    file.write_text("\n".join(lines), "utf-8")
    monkeypatch.setattr(verdicts, "judge_now", never)
    with pytest.raises(MachineError, match="full. 8 rows are stored. It is stored, but not yet judged"):
        bring_in(empty, [file], who="IS")
    with pytest.raises(MachineError) as told:
        bring_in(empty, [file], who="IS")
    assert str(told.value) == (
        "The disk is full. 8 rows were on record before; nothing new was stored. What waited before is not "
        "yet judged: the next command judges it."
    )
    assert _Taken().sentence() == "0 rows were on record before; nothing new was stored."


def test_what_became_of_sheets_names_those_that_are_kept_unread(empty, tmp_path):
    files = []
    for name, data in (ODD, GOOD):
        files.append((name, tmp_path / f"sent {name}"))
        files[-1][1].write_bytes(data)
    assert (
        what_became(empty.folder, None, "upload", files, "IS", 0)
        == "Nothing of it was stored. Send it again."
    )
    upload(empty, [ODD], who="IS")
    told = what_became(empty.folder, None, "upload", files, "IS", 0)
    assert told == (
        f"odd.csv is kept as handed in, since nobody could read it yet. Not stored: {GOOD[0]}. Send the rest "
        "again."
    )
    digest = empty.store.unread()[0].sheet
    empty.store.put_away(digest, who="IS", when=empty.now, why="typed anew")
    assert "Nothing of it was stored" in what_became(empty.folder, None, "shown", (digest, ""), "IS", 0)


def test_rows_that_somebody_else_settled_are_not_said_to_be_decided_by_this_task(empty):
    shop = empty
    upload(shop, [(GOOD[0], GOOD[1].replace(b"FN", b"FNX").replace(b",SP", b",SPX"))], who="IS")
    row, before = shop.store.held()[0], shop.store.pulse()[0]
    assert "still held" in what_became(shop.folder, None, "held", ([str(row.id)], "drop", {}), "IS", before)
    settle_rows(shop, [row.id], Decision.DROP, who="FN")
    told = what_became(shop.folder, None, "held", ([str(row.id)], "drop", {}), "IS", before)
    assert told == "Nothing of it was stored: somebody else had settled the row."
    told = what_became(shop.folder, None, "held", ([str(row.id)], "drop", {}), "FN", before)
    assert told.startswith("The decision is stored")


def test_a_task_of_the_board_that_cannot_open_the_workshop_says_that_nothing_is_stored(empty, monkeypatch):
    monkeypatch.setattr("qc.jobs.board.tasks.open_workshop", never)
    with pytest.raises(MachineError, match="Nothing was stored.$"), opened(empty.folder, None):
        pass
