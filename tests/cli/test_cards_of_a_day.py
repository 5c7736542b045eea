"""The cards of a day: handed in, mended and looked at without the library that validates large sheets."""

import json
import sys

import pytest

from qc.cli.main import main
from qc.ingest.checking import expect


@pytest.fixture
def without_validator(monkeypatch):
    """Take the library and what it stands on away, be it that an earlier test has loaded them."""
    monkeypatch.setattr(expect, "_rows", lambda: pytest.fail("the validator was asked"))
    for name in ("great_expectations", "pandas"):
        monkeypatch.setitem(sys.modules, name, None)


def test_the_cards_of_a_day_need_no_validator(demo_copy, tmp_path, capsys, without_validator):
    def told(*words):
        assert main([*words, "--workshop", str(demo_copy), "--json"]) in {0, 1}
        return json.loads(capsys.readouterr().out)

    card = tmp_path / "slide.csv"
    lines = [f"2026-11-24,QH-{1180 + n},{0.9 + n / 100:.2f}" for n in range(23)]
    card.write_text("\n".join(["Card,Slide force card", "", "Date,Serial,Slide force [N]", *lines, lines[0]]))
    (sheet,) = told("upload", str(card), "--who", "IS")["sheets"]
    assert sheet["rows"] == 24
    (row, *_) = [one["row"] for one in told("held", "list")["held"] if one["proposal"]]
    assert told("held", "mend", str(row), "--accept", "--who", "IS")
    assert told("status")["series"]
