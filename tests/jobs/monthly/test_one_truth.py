"""Pdf, page, workbook, board and command say the same figures of a month."""

import html
import io
import json
import re
from datetime import date

import openpyxl
import pypdfium2
import pytest

from qc.cli.main import main
from qc.jobs.board import StoreBoardData
from qc.shares import percent_words


@pytest.fixture
def told(made, tmp_path, capsys):
    """What each face says of June, which is not over."""
    words = ("month", "2026-06", "--workshop", made, "--as-of", "2026-06-05", "--out", tmp_path, "--json")
    assert main([str(word) for word in words]) == 0
    answer = json.loads(capsys.readouterr().out)
    pdf, page, book = (tmp_path / f"month-2026-06.{kind}" for kind in ("pdf", "html", "xlsx"))
    paper = " ".join(one.get_textpage().get_text_range() for one in pypdfium2.PdfDocument(pdf))
    bare = re.sub(r"(?s)<svg.*?</svg>|<style.*?</style>|<[^>]+>", " ", page.read_text("utf-8"))
    sheets = openpyxl.load_workbook(io.BytesIO(book.read_bytes()))
    rows = {
        name: [[c.value for c in row] for row in sheets[name].iter_rows()][1:] for name in sheets.sheetnames
    }
    board = StoreBoardData(made, as_of=date(2026, 6, 5))
    return answer, plain(paper), plain(html.unescape(bare)), rows, board.month()


def plain(text):
    return re.sub(r"\s+", " ", text)


def test_every_face_says_the_same_figures(told):
    answer, paper, page, book, board = told
    month = {row[0]: row[1] for row in book["Month"]}
    assert answer["headline"] == board["headline"] == month["in one sentence"]
    assert answer["headline"] in paper and answer["headline"] in page
    assert answer["shipped"] == board["shipped_total"] == month["shipped"]
    assert answer["to_hold"] == board["hold_total"] == month["pieces to hold in the house"] == 2
    assert answer["rework_hours"] == month["rework [h]"]
    assert answer["open_reactions"] == len(board["reactions"]) == month["reactions open"]
    (stage,) = answer["first_pass"]
    (words,) = board["yields"]
    first = book["First pass"][0]
    assert first[:4] == [stage["stage"], stage["passed"], stage["of"], stage["share"]]
    assert first[4:6] == pytest.approx(stage["interval"], rel=1e-12), "a workbook keeps fifteen digits"
    assert (stage["passed"], stage["of"]) == (2, 2)
    assert words["of"] == "2 of 2" and words["share"].startswith(percent_words(stage["share"]))
    for text in (words["share"], words["of"], words["before"], f"house {board['rolled']}".split()[1]):
        assert text in paper and text in page
    assert answer["rolled"]["share"] == month["first pass, all stages in a row"]
    for sentence, own in zip(board["decisions"], answer["decisions"], strict=True):
        assert sentence == own and sentence in page and sentence in month.values()
