"""A column of figures nobody knows costs no more than its own cells, and a mapping frees them."""

from qc.ingest import read_mapping
from qc.jobs.headings import propose_mapping
from qc.jobs.upload import upload
from qc.jobs.workshop import open_workshop
from sample_measurements import folder as sample_folder

SHEET = (
    b"Joints card\n\nDate;Serial;Model;Durchgang;Joint faults\n"
    b"2026-11-12;QH-1391;tenor;1,1;ok\n2026-11-12;QH-1392;tenor;1,2;ok\n"
)


def test_cells_under_an_unknown_heading_are_held_and_a_mapping_adds_only_them(tmp_path):
    (tmp_path / "plan.yaml").write_bytes((sample_folder() / "plan.yaml").read_bytes())
    shop = open_workshop(tmp_path)
    first = upload(shop, [("a.csv", SHEET)], who="IS")
    count = first.sheets[0].count
    assert (count.accepted, count.held, first.refused) == (2, 2, ())
    assert any("Held until it is said" in mark for mark in first.sheets[0].to_dict()["marks"])
    proposal = propose_mapping(shop, [("a.csv", SHEET)])
    assert [c.typed for c in proposal.questions[0].columns] == ["Durchgang"]
    answer = read_mapping("card: joints-card\ncolumns: {Durchgang: Joint leak}\n", "m.yaml", shop.plan)
    again = upload(shop, [("a.csv", SHEET)], who="IS", mappings=answer)
    assert again.sheets[0].count.accepted == 2 and again.sheets[0].count.held == 0
    shop.store.close()
