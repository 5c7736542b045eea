"""Blank cards as files: written for every card, filled in, handed in."""

import openpyxl
import pytest

from qc.errors import MachineError
from qc.jobs.errors import JobError
from qc.jobs.printed import blank_file, write_cards
from qc.jobs.upload import read_files, upload
from qc.jobs.workshop import open_workshop


def test_a_card_that_was_printed_and_filled_in_is_taken_in_the_same_order(shop, tmp_path):
    (written,) = write_cards(shop, tmp_path / "cards", card="Lacquer card").cards
    page, book = written.files
    assert (page.name, book.name) == ("lacquer-card.pdf", "lacquer-card.xlsx")
    assert page.read_bytes().startswith(b"%PDF") and written.room == 15 and not written.lines
    typed = openpyxl.load_workbook(book)
    tab = typed.active
    said = {"Serial": "QH-1213", "Model": "bass", "Date": "24.11.2026", "Person": "FN", "Gauge": "EC-1"}
    for line in tab.iter_rows(max_row=12):
        if line[0].value in said:
            line[1].value = said[line[0].value]
    heading = next(line[0].row for line in tab.iter_rows() if line[0].value == "Area")
    figures = ["15.2", "14,8", "16.0", "15.5", "14.90", "17.1", "16.6"]
    for row, text in enumerate(figures, heading + 1):
        tab.cell(row, 3).value = text
    typed.save(book)
    before = shop.store.readings(stage="lacquer").height
    (sheet,) = upload(shop, read_files([book]), who="FN").sheets
    assert (sheet.count.accepted, sheet.count.held) == (7, 0)
    kept = shop.store.readings(stage="lacquer")[before:]
    assert kept["text"].to_list() == figures
    places = [("flare", spot) for spot in range(1, 6)] + [("stem", 1), ("stem", 2)]
    assert kept.select("area", "spot").rows() == places


def test_every_card_of_the_plan_is_written_and_one_that_is_not_there_is_named(demo_folder, tmp_path):
    workshop = open_workshop(demo_folder)
    with pytest.raises(JobError, match=r"no card slide-crd\. Did you mean slide-card\?"):
        write_cards(workshop, tmp_path, card="slide-crd")
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(MachineError, match="Name another folder with --out"):
        write_cards(workshop, tmp_path / "file", card="slide-card")
    assert blank_file(workshop.plan, "slide-card", "docx", workshop.today) is None
    assert blank_file(workshop.plan, "no-card", "pdf", workshop.today) is None
    workshop.store.close()
