import csv
import json

import pytest

from qc.errors import MachineError, QcError
from qc.jobs.judging import catch_up, not_judged_since
from qc.jobs.past import known_of
from qc.jobs.rows import Decision, export_held, list_held, mend_held, mend_rows, settle_rows, settling
from qc.jobs.workshop import open_workshop


def first(shop, reason, *, proposal=True):
    """Return the first held row with this reason."""
    for row in list_held(shop).rows:
        if any(r.id == reason for r in row.reasons) and bool(row.proposal) == proposal:
            return row
    raise AssertionError(f"no held row with {reason}")


def reading_of(shop, row):
    found = shop.store.readings(serials=[row.serial])
    return found.filter(found["text"] == row.text)


def test_taking_the_proposal_brings_the_row_in(shop):
    row = first(shop, "decimal-slip")
    assert reading_of(shop, row).is_empty()
    done = mend_held(shop, row.id, who="IS")
    assert done.state == "accepted"
    kept = reading_of(shop, row)
    assert kept["value"][0] == pytest.approx(row.proposal["value"])
    assert kept["text"][0] == row.text, "what was typed stays"
    assert row.id not in [r.id for r in list_held(shop).rows]
    assert shop.store.verify() == []


def test_a_mend_that_is_wrong_too_is_held_with_its_reason(shop):
    row = first(shop, "decimal-slip")
    done = mend_held(shop, row.id, Decision.BY_HAND, {"value": "99999"}, who="BK")
    assert done.state == "held"
    assert done.reasons and row.id in [r.id for r in list_held(shop).rows]


def test_a_doubt_can_be_confirmed_a_fault_cannot(shop):
    doubt = first(shop, "copied-run", proposal=False)
    assert mend_held(shop, doubt.id, Decision.AS_TYPED, who="IS").state == "accepted"
    fault = first(shop, "decimal-slip")  # it explains a figure that cannot be: that is no mere doubt
    refused = mend_held(shop, fault.id, Decision.AS_TYPED, who="IS")
    assert refused.state == "held" and "a fault cannot" in refused.sentence


def test_a_dropped_row_stays_on_record(shop):
    row = first(shop, "doubled-row", proposal=False)
    assert mend_held(shop, row.id, Decision.DROP, who="IS").state == "dropped"
    kept = shop.store.held(open_only=False, ids=[row.id])
    assert [(one.text, one.state) for one in kept] == [(row.text, "dropped")]
    assert row.id not in [r.id for r in list_held(shop).rows]


def test_a_row_without_a_proposal_says_what_to_do(shop):
    row = first(shop, "copied-run", proposal=False)
    with pytest.raises(QcError, match="no proposed mend"):
        mend_held(shop, row.id, who="BK")


def test_a_row_that_is_not_held_is_refused(shop):
    with pytest.raises(QcError, match="No row 99999 is held"):
        mend_held(shop, 99999, who="BK")


def test_several_rows_at_once(shop):
    run = next(group.rows for group in list_held(shop).groups() if len(group.rows) > 3)[:4]
    done = mend_rows(shop, [row.id for row in run], Decision.AS_TYPED, who="IS")
    assert [row.state for row in done.rows] == ["accepted"] * 4


def test_rows_settled_at_once_are_checked_beside_one_another(shop, monkeypatch):
    """What is known of the past is gathered once for all that pass or have a fault of their own."""
    asked = []
    monkeypatch.setattr(settling, "known_of", lambda *a, **k: (asked.append(a[1]), known_of(*a, **k))[1])
    run = next(group.rows for group in list_held(shop).groups() if len(group.rows) > 3)[:4]
    done = settle_rows(shop, [row.id for row in run], Decision.AS_TYPED, who="IS")
    assert [(row.row, row.state) for row in done.rows] == [(row.id, "accepted") for row in run]
    assert len(asked) == 1 and len(shop.store.held(open_only=False, ids=[row.id for row in run])) == 4
    slips = [row for row in list_held(shop).rows if any(r.id == "decimal-slip" for r in row.reasons)][:2]
    asked.clear()
    done = settle_rows(shop, [row.id for row in slips], Decision.BY_HAND, {"value": "99999"}, who="IS")
    assert [row.state for row in done.rows] == ["held", "held"] and len(asked) == 1


@pytest.mark.parametrize("decision", [Decision.AS_TYPED, Decision.DROP])
def test_how_far_a_run_has_come_is_told_row_by_row_and_kept_all_at_once(shop, decision):
    """Whoever has the progress told and breaks off within it has none of the rows settled."""
    run = next(group.rows for group in list_held(shop).groups() if len(group.rows) > 3)[:4]
    numbers = [row.id for row in run]

    def broken(done, of):
        if done == 3:
            raise RuntimeError

    with pytest.raises(RuntimeError):
        settle_rows(shop, numbers, decision, who="IS", progress=broken)
    assert [row.state for row in shop.store.held(open_only=False, ids=numbers)] == ["open"] * 4
    told = []
    settle_rows(shop, numbers, decision, who="IS", progress=lambda *so_far: told.append(so_far))
    assert told == [(1, 4), (2, 4), (3, 4), (4, 4)]


def test_rows_may_be_settled_one_after_the_other_and_judged_once(shop):
    rows = [row for row in list_held(shop).rows if row.proposal][:3]
    catch_up(shop)
    for row in rows:
        assert settle_rows(shop, [row.id], Decision.PROPOSAL, who="IS").rows[0].state == "accepted"
        assert not_judged_since(shop) is not None
    assert catch_up(shop) and not_judged_since(shop) is None


def test_alike_neighbours_are_listed_together(shop):
    listed = list_held(shop)
    groups = listed.groups()
    assert sorted(row.id for group in groups for row in group.rows) == [row.id for row in listed.rows]
    assert len(groups) < len(listed.rows) / 2
    assert f"That is {len(groups)} questions" in listed.to_text()


def test_only_one_sheet(shop):
    row = list_held(shop).rows[0]
    file = row.where.split(",")[0]
    only = list_held(shop, sheet=file)
    assert {r.where.split(",")[0] for r in only.rows} == {file}


def test_every_held_row_says_where_why_and_what_to_do(shop):
    for row in list_held(shop).rows:
        assert row.where and row.reasons
        for reason in row.reasons:
            assert reason.id and reason.sentence.endswith(".") and reason.mend.endswith(".")


def test_export_is_harmless_in_a_spreadsheet(shop, tmp_path):
    out = tmp_path / "held.csv"
    done = export_held(shop, out)
    with out.open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    assert len(rows) == done.rows + 1 == len(list_held(shop).rows) + 1
    assert not any(cell[:1] in {"=", "+", "-", "@"} for row in rows for cell in row)


def test_a_file_that_cannot_be_written_is_the_machines_fault(shop, tmp_path):
    with pytest.raises(MachineError, match=r"nowhere.*cannot be written \(.*\)\. Name another one\."):
        export_held(shop, tmp_path / "nowhere" / "held.csv")


def test_json_is_strict(shop):
    json.dumps(list_held(shop).to_dict(), allow_nan=False)


def test_an_empty_list_is_quiet(tmp_path):
    workshop = open_workshop(tmp_path / "new", create=True)
    assert list_held(workshop).to_text() == "Nothing is held."
    workshop.store.close()
