"""Every example in the documents is run: Python prompts by doctest, shell prompts by the command itself."""

import doctest
import importlib.util
import re
import shlex
import shutil
from pathlib import Path

import pytest

from qc.cli.main import main

ROOT = Path(__file__).resolve().parents[1]
PAGES = sorted([ROOT / "README.md", ROOT / "DEVELOPERS.md", *(ROOT / "docs").rglob("*.md")])
BLOCK = re.compile(r"^```(\w*)\n(.*?)^```", re.MULTILINE | re.DOTALL)
LINK = re.compile(r"\[[^\]]*\]\(([^)#\s]+)(#[^)]*)?\)")
FLAGS = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE


def blocks(page, language):
    return [body for name, body in BLOCK.findall(page.read_text("utf-8")) if name == language]


def names(pages):
    return [str(p.relative_to(ROOT)) for p in pages]


WITH_PYTHON = [p for p in PAGES if any(">>>" in body for body in blocks(p, "python"))]
WITH_SHELL = [p for p in PAGES if any("$ qc " in body for body in blocks(p, "console"))]


@pytest.mark.parametrize("page", WITH_PYTHON, ids=names(WITH_PYTHON))
def test_python_examples(page):
    """The blocks of a page are one session."""
    text = "\n".join(blocks(page, "python"))
    test = doctest.DocTestParser().get_doctest(text, {}, page.name, str(page), 0)
    said = []
    doctest.DocTestRunner(optionflags=FLAGS).run(test, out=said.append)
    assert not said, "".join(said)


def commands(body):
    """Split a console block into (command, output printed in the document)."""
    parts = re.split(r"^\$ ", body, flags=re.MULTILINE)[1:]
    for part in parts:
        command, _, output = part.partition("\n")
        yield command, output.strip("\n")


@pytest.fixture
def shop_here(demo_folder, tmp_path, monkeypatch):
    """Stand in a folder with the sample workshop in ./workshop and its sheets in ./sample_measurements."""
    shutil.copytree(demo_folder, tmp_path / "workshop")
    (tmp_path / "sample_measurements").symlink_to(ROOT / "sample_measurements")
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("QC_WORKSHOP", raising=False)
    return tmp_path


@pytest.mark.parametrize("page", WITH_SHELL, ids=names(WITH_SHELL))
def test_shell_examples(page, shop_here, capsys):
    check = doctest.OutputChecker()
    for body in blocks(page, "console"):
        for command, expected in commands(body):
            words = shlex.split(command, comments=True)
            if words[:1] != ["qc"] or "--help" in words:
                continue
            main(words[1:])
            shown = capsys.readouterr()
            got = "\n".join(line.rstrip() for line in (shown.out + shown.err).strip("\n").splitlines())
            wanted = "\n".join(line.rstrip() for line in expected.splitlines())
            same = check.check_output(wanted + "\n", got + "\n", doctest.ELLIPSIS)
            assert same, f"$ {command}\n--- in the document\n{wanted}\n--- printed\n{got}"


@pytest.mark.parametrize("page", PAGES, ids=names(PAGES))
def test_links_lead_somewhere(page):
    for target, _ in LINK.findall(page.read_text("utf-8")):
        if "://" not in target and not target.startswith("mailto:"):
            assert (page.parent / target).exists(), f"{page.name} links to {target}"


@pytest.mark.parametrize("page", PAGES, ids=names(PAGES))
def test_pages_load_nothing_from_outside(page):
    assert not re.search(r"!\[[^\]]*\]\(https?:", page.read_text("utf-8"))


STATISTICS = "capability change-points charts checks constants counts gauge-studies limits rules".split() + [
    "run-lengths",
    "short-runs",
]


@pytest.mark.parametrize("page", STATISTICS)
def test_a_page_of_statistics_says_when_not_and_whence_and_shows_an_example(page):
    text = (ROOT / "docs" / "reference" / f"{page}.md").read_text("utf-8")
    assert "## Sources" in text
    assert re.search(r"not for:|when not|not when", text, re.IGNORECASE)
    assert blocks(ROOT / "docs" / "reference" / f"{page}.md", "python")


def test_every_command_has_its_place_in_the_documents():
    text = "\n".join(p.read_text("utf-8") for p in PAGES)
    listed = re.findall(r"^  (\w[\w-]*)  ", _help(), re.MULTILINE)
    assert len(listed) > 8
    assert [c for c in listed if f"qc {c}" not in text] == []


def _help():
    from typer.testing import CliRunner

    from qc.cli.main import app

    return CliRunner().invoke(app, ["--help"]).output


@pytest.fixture(scope="module")
def maker():
    spec = importlib.util.spec_from_file_location("make_docs", ROOT / "docs" / "make_docs.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_command_reference_is_current(maker):
    page = (ROOT / "docs" / "reference" / "commands.md").read_text("utf-8")
    assert page == maker.command_reference(), "run `make docs`"


def test_the_data_dictionary_in_the_documents_is_the_one_that_is_exported(maker):
    page = (ROOT / "docs" / "reference" / "export.md").read_text("utf-8")
    assert page == maker.export_reference(), "run `make docs`"
