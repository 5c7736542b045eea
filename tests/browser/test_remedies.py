"""Remedies in a real browser: tubes kept together, a recording by file and by the machine's microphone."""

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from scipy.io import wavfile

from qc.cli.main import main
from qc.jobs.board.serving import running

pytestmark = pytest.mark.browser

MICROPHONE = """
navigator.mediaDevices.getUserMedia = async () => {
  const context = new AudioContext(), tone = context.createOscillator();
  const sink = context.createMediaStreamDestination();
  tone.type = "sawtooth"; tone.frequency.value = 116.54; tone.connect(sink); tone.start();
  return sink.stream;
};
"""
"""A player who holds B flat 2 (A4 = 440, ISO 16): no browser of a test has a microphone."""


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """A new workshop with a rack of four tubes and three notes of one tenor."""
    place = tmp_path_factory.mktemp("remedies")
    folder = place / "shop"
    assert main(["new", str(folder), "--as-of", "2026-11-02"]) == 0
    head = "date,serial,model,leg,station,direction,surface,inner od,outer bore,person"
    rows = [
        f"2026-11-02,{name},tenor,upper,mouth,{turn},{surface},{od},{bore},QL"
        for name, surface, od, bore in (
            ("IN-1", "stocking", 13.900, ""), ("IN-2", "stocking", 13.905, ""),
            ("OU-1", "", "", 14.048), ("OU-2", "", "", 14.056),
        )
        for turn in (0, 90)
    ]  # fmt: skip
    (place / "rack.csv").write_text("\n".join([head, *rows]))
    notes = [f"2026-11-02,TB-1,tenor,QL,{n},1,0,20" for n in (2, 3, 4)]
    (place / "notes.csv").write_text(
        "\n".join(["date,serial,model,person,partial,position,cents,room c", *notes])
    )
    sheets = [str(place / "rack.csv"), str(place / "notes.csv")]
    assert main(["upload", *sheets, "--workshop", str(folder), "--as-of", "2026-11-02"]) == 0
    with running(folder) as (address, _):
        yield address.rstrip("/")


@pytest.fixture
def page(chromium, shop):
    context = chromium.new_context(viewport={"width": 820, "height": 1000})
    context.add_init_script(MICROPHONE)
    opened = context.new_page()
    complaints = []
    opened.on("console", lambda said: complaints.append(said.text) if said.type == "error" else None)
    opened.on("pageerror", lambda error: complaints.append(str(error)))
    yield opened
    context.close()
    assert complaints == []


def test_two_tubes_put_together_by_hand_stay_together(page, shop):
    page.goto(f"{shop}/remedies/rack")
    page.wait_for_selector("#rack-form tbody tr")
    assert "IN-1\tOU-1" in page.inner_text("#rack-form tbody")
    page.select_option("select[name=inner]", "IN-1")
    page.select_option("select[name=outer]", "OU-2")
    page.wait_for_selector("input[name=keep]:checked")
    assert "IN-1\tOU-2" in page.inner_text("#rack-form tbody")
    assert "IN-2\tOU-1" in page.inner_text("#rack-form tbody")


def test_notes_are_heard_from_a_file_and_from_the_microphone(page, shop, tmp_path):
    rate, parts = 16000, [np.zeros(4000)]
    time = np.arange(rate) / rate
    for hz in (116.54, 174.61, 233.08):  # B flat 2, F 3, B flat 3 at A4 = 440
        tone = sum(np.sin(2 * np.pi * hz * k * time) / k for k in range(1, 9))
        parts += [0.3 * tone / np.abs(tone).max(), np.zeros(4000)]
    wavfile.write(tmp_path / "notes.wav", rate, (32767 * np.concatenate(parts)).astype(np.int16))
    page.goto(f"{shop}/remedies/tuning/TB-1")
    page.wait_for_selector("#tuning-recording")
    page.set_input_files("input[name=wav]", tmp_path / "notes.wav")
    page.click("text=Hear the notes")
    page.wait_for_selector("#tuning-heard .card", timeout=60_000)
    heard = page.inner_text("#tuning-heard")
    assert "partial 4, position 1" in heard and "Before the work" in heard
    page.click("button[data-record]")
    page.wait_for_timeout(1500)
    page.click("button[data-record]")
    page.wait_for_selector(".recorded a")
    page.click("text=Hear the notes")
    page.wait_for_selector("#tuning-heard .warn", timeout=60_000)
    assert "1 held note for 3 rows" in page.inner_text("#tuning-heard")
    assert "B-flat2" in page.inner_text("#tuning-heard")


@pytest.mark.parametrize("path", ["", "/tuning/TB-1", "/rack", "/dies", "/lacquer/TB-1"])
def test_everybody_can_use_every_remedy(page, shop, path):
    """Folded parts and forms opened, on a desk and on a phone, by day and by night."""
    page.emulate_media(reduced_motion="reduce")
    page.goto(f"{shop}/remedies{path}")
    page.wait_for_selector("#page-title")
    page.evaluate("document.querySelectorAll('details').forEach(part => { part.open = true; })")
    found = []
    for scheme, width in (("light", 1440), ("dark", 390)):
        page.emulate_media(color_scheme=scheme)
        page.set_viewport_size({"width": width, "height": 900})
        page.wait_for_timeout(100)
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        found += [(scheme, fault["id"]) for fault in Axe().run(page).response["violations"]]
    assert found == []


def test_a_remedy_is_asked_for_with_the_keyboard_alone(page, shop):
    page.goto(f"{shop}/remedies/rack")
    page.wait_for_selector("#rack-form tbody tr")
    page.keyboard.press("Tab")
    for _ in range(60):
        page.keyboard.press("Tab")
        name = page.evaluate("document.activeElement.name || ''")
        if name == "keep":
            page.evaluate("document.activeElement.dataset.before = 'yes'")
            with page.expect_response("**/_dash-update-component*"):
                page.keyboard.press("Space")
            break
    # the table is drawn anew, and whoever types goes on from there
    page.wait_for_selector("input[name=keep]:focus:checked:not([data-before])")
    assert page.locator("input[name=keep]:checked").count() == 1
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.closest('#rack-form') !== null")
