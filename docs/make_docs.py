"""Make what follows from the program: command reference, pictures with --pictures.

Run by `make docs`. The reference is text and is compared by a test; the pictures are made from the sample
workshop with the board in a real browser and the report's first page.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path

from typer.main import get_command

DOCS = Path(__file__).resolve().parent
HEAD = """# Commands

Made from the commands' own help by `make docs`. Every command takes `--help`; those that answer with data
take `--json` and then print one JSON object and nothing else. Exit code 0: done; 1: the data are at fault;
2: wrong usage.
"""
BROWSER_FLAGS = [
    *("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking"),
    *("--disable-component-update", "--disable-sync", "--disable-dev-shm-usage"),
]


def command_reference() -> str:
    """Return the reference page: every command's help, groups unfolded."""
    from qc.cli.main import app

    root = get_command(app)
    pages = [HEAD]
    for words, command in _walk(root, ["qc"]):
        context = command.make_context(" ".join(words), [], resilient_parsing=True)
        context.max_content_width = 100
        pages.append(f"## `{' '.join(words)}`\n\n```text\n{command.get_help(context).rstrip()}\n```\n")
    return "\n".join(pages)


def _walk(command, words):
    if getattr(command, "commands", None):
        for name in command.commands:
            yield from _walk(command.commands[name], [*words, name])
    else:
        yield words, command


def make_pictures() -> None:
    """Photograph the board and the report of the sample workshop."""
    import pypdfium2
    from playwright.sync_api import sync_playwright

    from qc.jobs.board.serving import running
    from qc.jobs.demo import make_demo

    with tempfile.TemporaryDirectory() as place:
        demo = make_demo(Path(place) / "workshop")
        page = pypdfium2.PdfDocument(demo.report.files[0])[0]
        page.render(scale=1.5).to_pil().save(DOCS / "pictures" / "report.png", optimize=True)
        with running(demo.folder) as (address, _), sync_playwright() as player:
            chromium = shutil.which("chromium") or shutil.which("chromium-browser")
            browser = player.chromium.launch(executable_path=chromium, args=BROWSER_FLAGS)
            tab = browser.new_page(viewport={"width": 1440, "height": 900})
            tab.goto(address)
            tab.wait_for_selector("svg")
            tab.wait_for_timeout(800)
            tab.screenshot(path=DOCS / "pictures" / "board.png")
            browser.close()


if __name__ == "__main__":
    (DOCS / "reference" / "commands.md").write_text(command_reference(), "utf-8")
    if "--pictures" in sys.argv:
        make_pictures()
