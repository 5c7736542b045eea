"""Make what follows from the program: references of commands and exported tables, pictures with --pictures.

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


EXPORT_HEAD = """# Exported tables

Made from the lists by which the tables are written. `qc export --out DIR` writes Parquet, `--format csv` or
`--format xlsx` the same as csv or as one workbook, `export.xlsx`. Nothing in a workshop is changed by it but
that what waits is judged first; all tables show one moment.

- `readings` are sorted by series and, within it, by the order of making: a program that asks for one series
  of the Parquet file reads little more than that. What was corrected or taken back is left out.
- Names of people are not exported, only their codes. What was typed in held rows is not either: they are
  counted.
- Moments are UTC. A csv is UTF-8 with commas and decimal points; the same data give the same bytes.
- No cell becomes a formula: a text of a csv that a spreadsheet would run has an apostrophe before it (Parquet
  keeps the text as it is); in a workbook every text is stored as a text.
- A sheet of a workbook holds 1,048,575 rows below its head, so longer tables go on in `readings 2` and so on,
  and a text ends after 32,767 letters there.
- With `--as-of DAY` only what was measured by that day, judged as on that day.
- `pieces` holds what is still read to judge a series; how many were made before that stands in `limits` as
  `before`.
- Readings are fetched about 25,000 at once. Measured: a million of them took 350 MB of memory as csv and
  about 500 MB as Parquet, a quarter of a million 290 and 370 MB; the program alone takes 140 MB.
"""


def export_reference() -> str:
    """Return the reference page of the exported tables: the data dictionary."""
    from qc.jobs.export import TABLES

    pages = [EXPORT_HEAD]
    for table, columns in TABLES.items():
        rows = [f"| `{c.name}` | {c.kind} | {c.unit} | {c.meaning} |" for c in columns]
        head = [f"## `{table}`", "", "| column | type | unit | meaning |", "| --- | --- | --- | --- |"]
        pages.append("\n".join([*head, *rows]) + "\n")
    return "\n".join(pages)


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
    (DOCS / "reference" / "export.md").write_text(export_reference(), "utf-8")
    if "--pictures" in sys.argv:
        make_pictures()
