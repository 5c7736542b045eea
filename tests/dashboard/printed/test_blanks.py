"""Blank cards are fetched from the page of sheets, by plain addresses."""

from dashboard.pages import sheets


def test_a_card_is_printed_from_the_page_of_sheets(client, in_app):
    shown = str(sheets.layout())
    assert "/cards/bell-card.pdf" in shown and "/cards/bell-card.xlsx" in shown
    page = client.get("/cards/bell-card.pdf", base_url="http://127.0.0.1:8050")
    assert (page.status_code, page.mimetype, page.data[:4]) == (200, "application/pdf", b"%PDF")
    assert page.headers["Content-Disposition"] == 'inline; filename="bell-card.pdf"'


def test_a_card_that_the_plan_has_not_is_not_found(client):
    for name in ("no-card.pdf", "bell-card.docx", "bell-card"):
        assert client.get(f"/cards/{name}", base_url="http://127.0.0.1:8050").status_code == 404, name
