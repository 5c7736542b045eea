import io
import zipfile
from datetime import date

import pypdfium2
import pytest

from qc.errors import QcError, UsageError
from qc.jobs.monthly import month, month_content
from qc.jobs.workshop import open_workshop


@pytest.fixture
def shop(demo_folder):
    workshop = open_workshop(demo_folder)
    yield workshop
    workshop.store.close()


@pytest.fixture(scope="module")
def report(demo_folder, tmp_path_factory):
    workshop = open_workshop(demo_folder)
    made = month(workshop, "2026-10", out=tmp_path_factory.mktemp("report"))
    workshop.store.close()
    return made


def pdf_text(path):
    document = pypdfium2.PdfDocument(path)
    return [page.get_textpage().get_text_range() for page in document]


def test_three_documents_are_written(report):
    assert [p.suffix for p in report.files] == [".pdf", ".html", ".xlsx"]
    assert all(p.stat().st_size > 5_000 for p in report.files)
    assert not list(report.files[0].parent.glob("*.part"))


def test_two_pages_then_a_panel_for_every_series(report):
    pages = pdf_text(report.files[0])
    front, rest = " ".join(pages[:2]), " ".join(pages[2:])
    for block in (
        "What changed",
        "Shipped",
        "First pass",
        "Rework",
        "Dies",
        "Gauges",
        "What to decide",
        "Open reactions",
    ):
        assert block in front
    assert "Does each process keep its limits?" in pages[2]
    for verdict in report.content.verdicts:
        assert verdict.title in rest


def test_the_page_says_the_same_and_loads_nothing(report):
    page = report.files[1].read_text("utf-8")
    for change in report.content.changes:
        assert change.sentence in page
    assert "<script" not in page and 'src="' not in page and "@import" not in page


def test_the_workbook_holds_numbers(report):
    import polars as pl

    frame = pl.read_excel(report.files[2], sheet_name="Capability", engine="calamine")
    assert frame.height == len(report.content.verdicts)
    assert frame["pieces"].dtype.is_numeric()


def test_a_report_is_the_same_whenever_it_is_asked_for(shop, report, tmp_path):
    again = month(shop, "2026-10", out=tmp_path)
    assert again.content == report.content
    assert again.files[0].read_bytes() == report.files[0].read_bytes()
    assert again.files[1].read_bytes() == report.files[1].read_bytes()
    first, second = (zipfile.ZipFile(io.BytesIO(r.files[2].read_bytes())) for r in (report, again))
    assert {n: first.read(n) for n in first.namelist()} == {n: second.read(n) for n in second.namelist()}


def test_a_past_month_is_judged_as_of_its_last_day(report):
    assert report.content.as_of == date(2026, 10, 31)
    assert max(p.day for v in report.content.verdicts for p in v.points) <= date(2026, 10, 31)


def test_the_running_month_is_reported_as_it_stands(shop):
    content = month_content(shop, "2026-11")
    assert content.as_of == shop.today
    assert content.headline.startswith(f"{content.shipped_total} instruments shipped")


def test_yields_are_shares_of_what_went_through(report):
    content = report.content
    assert content.yields
    for line in content.yields:
        assert 0 <= line.passed <= line.through
    product = 1.0
    for line in content.yields:
        product *= line.share
    assert content.rolled.share == pytest.approx(product)


@pytest.mark.parametrize("which", ["2026-13", "2026-1", "october", "2026/10", "", "20261-0"])
def test_what_is_no_month_is_said(shop, which):
    with pytest.raises(UsageError, match="is not a month"):
        month_content(shop, which)


def test_a_month_to_come_is_refused(shop):
    with pytest.raises(QcError, match="has not begun"):
        month_content(shop, "2027-01")


def test_a_folder_that_cannot_be_written_is_said(made, tmp_path):
    (tmp_path / "file").write_text("x")
    small = open_workshop(made, as_of=date(2026, 6, 2))
    with pytest.raises(QcError, match="cannot be written"):
        month(small, "2026-05", out=tmp_path / "file" / "below")
    small.store.close()
