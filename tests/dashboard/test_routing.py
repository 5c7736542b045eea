import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.pages import PAGES
from dashboard.routing import Page, address, instrument_address, match, series_address
from qc.jobs.board.views import SeriesKey


@pytest.mark.parametrize("path", ["/", "", "/stages", "/stages/", "/month", "/signals/abc"])
def test_known_addresses_are_found(path):
    assert match(PAGES, path) is not None


@pytest.mark.parametrize("path", ["/none", "/stages/a/b", "/month/2026-10", "/signals/a/b"])
def test_others_are_not(path):
    assert match(PAGES, path) is None


@given(st.text(min_size=1, max_size=20))
def test_any_serial_finds_its_page_again(serial):
    found = match(PAGES, instrument_address(serial))
    assert found is not None and found[1] == {"serial": serial}


@given(st.text(min_size=1, max_size=12), st.text(min_size=1, max_size=12), st.text(min_size=1, max_size=12))
def test_any_series_finds_its_page_again(stage, characteristic, family):
    found = match(PAGES, series_address(SeriesKey(stage, characteristic, family)))
    assert found is not None
    assert found[1] == {"stage": stage, "characteristic": characteristic, "family": family}


def test_a_fixed_part_is_no_placeholder():
    page = Page("/a/<b>", "/a", str, str)
    assert match([page], "/x/y") is None and address("/a/<b>", {"b": "y z"}) == "/a/y%20z"


def test_the_navigation_leads_to_pages_that_are_there():
    assert all(match(PAGES, page.path) is not None for page in PAGES if page.nav)
    assert {page.section for page in PAGES} == {page.path for page in PAGES if page.nav}
