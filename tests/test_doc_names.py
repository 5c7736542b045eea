"""No page of the documents names a command, an option or a word of the board that is not there."""

import re
from pathlib import Path

import pytest
from typer.main import get_command

from qc.cli.main import app

ROOT = Path(__file__).resolve().parents[1]
PAGES = sorted([ROOT / "README.md", ROOT / "DEVELOPERS.md", *(ROOT / "docs").rglob("*.md")])
WITH_CALLS = [p for p in PAGES if p.name != "commands.md"]  # that one is made from the commands themselves
BOARD = [p for p in PAGES if p.parent.name in {"how-to", "tutorial"}]
FENCE = re.compile(r"^```(\w*)\n(.*?)^```", re.MULTILINE | re.DOTALL)
INLINE = re.compile(r"`([^`]+)`")
CALL = re.compile(r"(?:^|[\s(/\\\"])qc(?:\.exe)?[ \t]+([a-z][^|;&#`\n]*)", re.MULTILINE)
OPTION = re.compile(r"(?<![\w-])--[a-z][a-z-]*")
LABEL = re.compile(r"(?<![*\w])\*([A-Z][^*\n]*(?:\n[^*\n]+)?)\*(?![*\w])")
ADDRESS = re.compile(r"`(/[a-z][^`\s]*)`")
ROOT_COMMAND = get_command(app)
BUILT = {"Take 16"}
"""Words of the board that hold a figure, so that they stand nowhere as they are."""


def ids(pages):
    return [str(page.relative_to(ROOT)) for page in pages]


def calls(text):
    """Yield the words after `qc`, wherever a page gives a command: a line that is folded counts as one."""
    blocks = [
        re.sub(r"[\\^]?\n +(?=\S)", " ", body) for name, body in FENCE.findall(text) if name != "python"
    ]
    inline = [" ".join(code.split()) for code in INLINE.findall(FENCE.sub("", text))]
    for found in (found for code in [*blocks, *inline] for found in CALL.findall(code)):
        yield found.split()


def unknown(words):
    """Say what of a command there is not; nothing where all is."""
    command, path = ROOT_COMMAND, ["qc"]
    while getattr(command, "commands", None) and words:
        if words[0] not in command.commands:
            return f"{' '.join(path)} has no command {words[0]}" if words[0].isalpha() else ""
        path, command, words = [*path, words[0]], command.commands[words[0]], words[1:]
    known = {name for one in command.params for name in (*one.opts, *one.secondary_opts)} | {"--help"}
    strange = [word for word in OPTION.findall(" ".join(words)) if word not in known]
    return f"{' '.join(path)} has no option {strange[0]}" if strange else ""


@pytest.mark.parametrize("page", WITH_CALLS, ids=ids(WITH_CALLS))
def test_every_command_and_option_that_is_named_is_there(page):
    told = [unknown(words) for words in calls(page.read_text("utf-8"))]
    assert [one for one in told if one] == []


def test_a_command_and_an_option_that_are_not_there_are_found():
    assert unknown(["hold", "relese", "TB-1"]) == "qc hold has no command relese"
    assert unknown(["status", "--sort"]) == "qc status has no option --sort"
    text = "Type `qc held mend 7\n--acept` or\n\n```text\n$ qc month 2026-10 --cloze   # for good\n```\n"
    assert [unknown(words) for words in calls(text)] == [
        "qc month has no option --cloze",
        "qc held mend has no option --acept",
    ]


@pytest.fixture(scope="module")
def said():
    """Every word that the board and what stands behind it can say, strings over two lines joined."""
    kinds = {".py", ".js", ".html"}
    files = [p for room in ("dashboard", "qc") for p in (ROOT / room).rglob("*") if p.suffix in kinds]
    text = "\n".join(path.read_text("utf-8") for path in sorted(files))
    return " ".join(re.sub(r'"\s*\n\s*f?"', "", text).split())


@pytest.mark.parametrize("page", BOARD, ids=ids(BOARD))
def test_every_button_and_page_of_the_board_that_is_named_is_there(page, said):
    text = INLINE.sub("", FENCE.sub("", page.read_text("utf-8")))
    named = {" ".join(label.split()) for label in LABEL.findall(text)} - BUILT
    assert sorted(label for label in named if label not in said) == []


@pytest.mark.parametrize("page", PAGES, ids=ids(PAGES))
def test_every_address_of_the_board_that_is_named_is_there(page, said):
    """An address stands in code marks by itself: `/wall`."""
    named = set(ADDRESS.findall(FENCE.sub("", page.read_text("utf-8"))))
    assert sorted(one for one in named if f'"{one}"' not in said) == []
