"""A part is in one instrument at a time, and never in itself."""

from datetime import date

from qc.ingest import Known

TODAY = date(2026, 5, 20)
MARCH = date(2026, 3, 2)


def assembly(*rows):
    head = [["Card", "Assembly card"], [], ["Date", "Serial", "Model", "Part", "Role", "Person"]]
    return head + [[day, serial, "tenor", part, role, "AB"] for day, serial, part, role in rows]


def reasons(found):
    return [one["id"] for one in found]


def test_a_part_on_record_in_another_instrument_is_held_with_the_question(judge, said):
    known = Known(today=TODAY, stays={"B-7": (("TH-1001", MARCH),)})
    found = said(judge(assembly(("2026-05-12", "TH-1002", "B-7", "bell")), past=known))
    assert reasons(found) == ["part-used-twice"]
    assert "B-7 is in TH-1001 already since 2026-03-02" in found[0]["sentence"]
    assert "taken out of TH-1001" in found[0]["mend"]


def test_two_cards_of_one_upload_cannot_share_a_part(judge, said):
    rows = ("2026-05-11", "TH-1001", "B-7", "bell"), ("2026-05-12", "TH-1002", "B-7", "bell")
    assert reasons(said(judge(assembly(*rows)))) == ["part-used-twice"]


def test_the_same_stay_told_again_is_no_doubt(judge, said):
    known = Known(today=TODAY, stays={"B-7": (("TH-1001", MARCH), ("TH-1002", date(2026, 4, 1)))})
    rows = ("2026-03-02", "TH-1001", "B-7", "bell"), ("2026-04-01", "TH-1002", "B-7", "bell")
    assert said(judge(assembly(*rows), past=known)) == []


def test_nothing_is_built_into_itself(judge, said):
    rows = ("2026-05-11", "TH-1001", "S-1", "slide"), ("2026-05-12", "S-1", "TH-1001", "bell")
    assert "part-used-twice" in reasons(said(judge(assembly(*rows))))
    assert "part-used-twice" in reasons(said(judge(assembly(("2026-05-12", "B-7", "B-7", "bell")))))


def test_a_part_built_into_an_instrument_that_has_left_is_asked_about(judge, said):
    gone = Known(today=TODAY, left={"TH-1001": date(2026, 5, 11)})
    found = said(judge(assembly(("2026-05-13", "TH-1001", "B-7", "bell")), past=gone))
    assert reasons(found) == ["after-shipping"]
    assert "TH-1001 was shipped on 2026-05-11, and this card builds B-7 into it" in found[0]["sentence"]
    # on the day it left it was here, and what is on record just so was answered before
    assert said(judge(assembly(("2026-05-11", "TH-1001", "B-7", "bell")), past=gone)) == []
    there = Known(today=TODAY, left=gone.left, stays={"B-7": (("TH-1001", date(2026, 5, 13)),)})
    assert said(judge(assembly(("2026-05-13", "TH-1001", "B-7", "bell")), past=there)) == []
