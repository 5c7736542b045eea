"""Each block of the month says what its own command, its page of the board and the three files say."""

import html
import io
import json
import re
import shutil
from datetime import date
from types import SimpleNamespace

import openpyxl
import pypdfium2
import pytest

from qc.cli.main import main
from qc.intervals import interval_words
from qc.jobs.board import StoreBoardData
from qc.words import quantity_words

MONTH, LAST = "2026-10", date(2026, 10, 31)


@pytest.fixture(scope="module")
def told(demo_folder, tmp_path_factory):
    """What every face says of the sample workshop's October, on its last day."""
    out = tmp_path_factory.mktemp("october")
    # a past day is judged on the way, and what that keeps must not be found by other tests
    demo = shutil.copytree(demo_folder, out / "shop")
    with pytest.MonkeyPatch.context() as patch:
        said = io.StringIO()
        patch.setattr("sys.stdout", said)

        def answer(*words):
            said.seek(0)
            said.truncate()
            on = ("--workshop", str(demo), "--json")
            assert main([*words, *on]) == 0
            return json.loads(said.getvalue())

        day = ("--as-of", LAST.isoformat())
        month = answer("month", MONTH, "--out", str(out), *day)
        commands = SimpleNamespace(
            month=month,
            rework=answer("rework", "--from", f"{MONTH}-01", "--to", LAST.isoformat()),
            status=answer("status", *day),
            hold=answer("hold", *day),
        )
    pdf, page, book = (out / f"month-{MONTH}.{kind}" for kind in ("pdf", "html", "xlsx"))
    paper = plain(" ".join(one.get_textpage().get_text_range() for one in pypdfium2.PdfDocument(pdf)))
    bare = re.sub(r"(?s)<svg.*?</svg>|<style.*?</style>|<[^>]+>", " ", page.read_text("utf-8"))
    sheets = openpyxl.load_workbook(book)
    rows = {}
    for name in sheets.sheetnames:
        heads, *body = sheets[name].iter_rows(values_only=True)
        rows[name] = [dict(zip(heads, row, strict=True)) for row in body]
    board = StoreBoardData(demo, as_of=LAST)
    return SimpleNamespace(
        commands=commands, paper=paper, page=plain(html.unescape(bare)), book=rows, board=board
    )


def plain(text):
    return re.sub(r"\s+", " ", text)


def test_rework_and_yields_are_those_of_the_command_and_of_their_page(told):
    command, page, month = (
        told.commands.rework,
        told.board.rework(date(2026, 10, 1), LAST),
        told.board.month(),
    )
    own = page.to_dict()
    assert (own["causes"], own["first_pass"], own["rolled"]) == (
        command["causes"],
        command["first_pass"],
        command["rolled"],
    )
    for one, row, words in zip(command["causes"], told.book["Rework"], month["rework"], strict=True):
        assert (row["hours [h]"], row["pieces"]) == (one["hours"], one["pieces"])
        assert row["share"] == pytest.approx(one["share"], rel=1e-12)
        assert words["hours"] == f"{one['hours']:.2f} h"
        for face in (told.paper, told.page):
            assert f"{words['cause']} {words['hours']} {words['pieces']}" in face
    assert sum(one["hours"] for one in command["causes"]) == command["hours"] > 0
    for one, row, words in zip(command["first_pass"], told.book["First pass"], month["yields"], strict=True):
        assert (row["passed"], row["through"]) == (one["passed"], one["of"])
        assert [row["from"], row["to"]] == pytest.approx(one["interval"], rel=1e-12)
        for face in (told.paper, told.page):
            assert plain(f"{words['share']} {words['of']}") in face
    assert told.commands.month["rolled"] == command["rolled"]


def test_capability_and_changes_are_those_of_the_status(told):
    status = {(s["stage"], s["characteristic"], s["family"]): s for s in told.commands.status["series"]}
    assert len(told.book["Capability"]) == len(status)
    for row in told.book["Capability"]:
        one = status[row["stage"], row["characteristic"], row["family"]]
        # without limits there is no verdict; the command then has the word for what is not shown
        assert (row["behaviour"], row["verdict"] or "unproven") == (one["behaviour"], one["capable"])
        if one["ppk"] is None:
            assert row["Ppk"] is None and row["reason"] == one["reason"]
            continue
        figures = [row["Ppk"], row["from"], row["to"]]
        assert figures == pytest.approx([one["ppk"], *one["ppk_interval"]], rel=1e-12)
        for face in (told.paper, told.page):
            assert f"{one['ppk']:.2f} {figures[1]:.2f} to {figures[2]:.2f}" in face
    moved = [one for one in status.values() if one["behaviour"] == "drifting"]
    assert len(told.book["Changes"]) == len(moved) > 0
    for one in moved:
        size = quantity_words(abs(one["size"]), one["unit"])
        sentences = [row["what"] for row in told.book["Changes"] if one["since_serial"] in row["what"]]
        assert any(size in sentence for sentence in sentences), (size, sentences)
        assert all(sentence in told.paper and sentence in told.page for sentence in sentences)
    forecasts = {one["forecast"] for one in status.values() if one["forecast"]}
    # the command begins with the tool, the block with its figure: the tool stands beside it
    tools = {f"{row['id']} at {row['state'].partition(' at ')[2]}" for row in told.book["Tools"]}
    assert tools and tools <= forecasts, "only tools that need a look stand in the month"


def test_pieces_to_hold_are_those_of_the_command_and_of_their_page(told):
    waits = {one["serial"] for one in told.commands.hold["pieces"] if one["shipped"] is None}
    assert told.commands.month["to_hold"] == told.board.month()["hold_total"] == len(waits) > 0
    here = {row["serial"] for row in told.book["To hold"] if row["shipped"] is None}
    assert waits <= here
    page = {row.serial for row in told.board.hold().rows if row.waits and row.whereabouts.shipped is None}
    assert page == waits
    outside = [
        one for one in told.commands.hold["pieces"] if one["why"] == "limit" and one["shipped"] is None
    ]
    assert outside
    for one in outside:
        value = quantity_words(one["value"], one["unit"])
        (row,) = [
            row for row in told.book["To hold"] if row["serial"] == one["serial"] and value in row["why"]
        ]
        for face in (told.paper, told.page):
            assert one["serial"] in face and plain(row["why"]) in face


def test_gauges_on_their_masters_are_those_of_their_page(told):
    views = {view.id: view for view in told.board.gauges()}
    assert told.book["Gauge checks"]
    for row in told.book["Gauge checks"]:
        own = [c.value for c in views[row["id"]].checks if (c.day.year, c.day.month) == (2026, 10)]
        assert row["checks"] == len(own)
        assert row["mean off its master"] == pytest.approx(sum(own) / len(own), abs=1e-12)
        words = interval_words(
            *(row[name] for name in ("mean off its master", "from", "to", "unit")), sure="", signed=True
        )
        assert words in told.paper and words in told.page


def test_reactions_carry_the_number_the_age_and_the_owner_of_the_list_of_signals(told):
    assert told.commands.month["open_reactions"] == len(told.book["Open"]) > 0
    listed = {str(one.name): one for one in told.board.signals()}
    for row in told.book["Open"]:
        own = listed[str(row["signal"])]
        assert ((row["owner"] or ""), row["age [d]"]) == (own.owner, own.age_days)
        for face in (told.paper, told.page):
            assert row["finding"] in face and f"signal {row['signal']}" in face
