"""The board on a past day, in a real browser: chosen in a page's head, kept in the address, read only."""

from datetime import date, timedelta
from urllib.parse import urlsplit

import pytest

from qc.cli.main import main
from qc.jobs.board.serving import running

pytestmark = pytest.mark.browser

PLAN = """
workshop: {name: Tarn Foot Brass, time_zone: UTC, lead: ML, today: 2026-03-20}
models: [{id: alto, name: Alto, family: alto, pedal_midi: 34, length_mm: 2931.6}]
people: [{code: ML}, {code: FT}]
cards: [{id: bow, title: Bow card, source: bench, stage: bow, characteristics: [rise]}]
stages:
  - id: bow
    name: Bow
    characteristics:
      - {id: rise, name: Rise, unit: mm, pool: all, limits: [{lower: 46, upper: 54}]}
"""


SHOWN = (
    "[...document.querySelectorAll('form.desk')].filter(e => getComputedStyle(e).display != 'none').length"
)
"""How many forms that write are there, be they folded away or not."""


@pytest.fixture(scope="module")
def lived(tmp_path_factory):
    """Thirty bows as they should be by 12 March, then nine that rise too far."""
    place = tmp_path_factory.mktemp("bows")
    folder, day = place / "shop", date(2026, 3, 2)
    assert main(["new", str(folder), "--as-of", str(day)]) == 0
    (folder / "plan.yaml").write_text(PLAN)
    made = 0
    for number in range(13):
        rows = ["serial,model,date,person,rise"]
        for _ in range(3):
            made += 1
            rise = (50 if number < 10 else 57) + (made * 7 % 11 - 5) / 5
            rows.append(f"A-{made:03d},alto,{day},FT,{rise:.1f}")
        sheet = place / f"{day}.csv"
        sheet.write_text("\n".join(rows))
        words = ["upload", str(sheet), "--who", "FT", "--workshop", str(folder), "--as-of", str(day)]
        assert main(words) == 0
        day += timedelta(days=1)
    with running(folder) as (address, _):
        yield address.rstrip("/")


@pytest.fixture(scope="module")
def window(chromium):
    context = chromium.new_context(locale="en-GB")
    yield context.new_page()
    context.close()


@pytest.mark.parametrize("width", [1440, 820, 390])
def test_a_past_day_is_chosen_kept_and_left(window, put_back, lived, width):
    page = put_back(window, {"width": width, "height": 900})
    page.goto(f"{lived}/stages/bow/rise/all")
    page.wait_for_selector("#page-title")
    now = page.inner_text("main")
    assert page.evaluate(SHOWN) > 0
    page.fill("#known-form input", "2026-03-11")
    page.click("#known-form button")
    page.wait_for_selector("#past-banner")
    assert urlsplit(page.url)[2:4] == ("/stages/bow/rise/all", "known=2026-03-11")
    said = page.inner_text("#past-banner")
    assert "As it was known on Wednesday 11 March 2026." in said and "nothing can be written" in said
    assert page.inner_text("main") != now and page.evaluate(SHOWN) == 0
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.locator("#nav a", has_text="Today").click()
    page.wait_for_selector("text=Every stage is as it was.")
    assert urlsplit(page.url)[2:4] == ("/", "known=2026-03-11")
    page.click("#past-banner a")
    page.wait_for_selector("text=One stage has moved")
    assert urlsplit(page.url)[2:4] == ("/", "") and page.locator("#past-banner").count() == 0
