"""The invented workshop and a board over it."""

import importlib.util
from pathlib import Path

import pytest

from dashboard.app import build_app


def _load(name):
    spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name(f"{name}.py"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


shop = _load("invented_shop")
office_of = _load("invented_office")
remedies = _load("invented_remedies")
showing = _load("invented_showing")
shop.InventedBoard.shown_sheets = showing.InventedShowing()
shop.InventedBoard.answers = remedies.InventedRemedies()


@pytest.fixture
def board():
    return shop.InventedBoard()


@pytest.fixture
def desk():
    return shop.InventedDesk()


@pytest.fixture
def office():
    return office_of.InventedOffice()


@pytest.fixture
def app(board, desk, office):
    return build_app(board, desk, office=office)


@pytest.fixture
def client(app):
    return app.server.test_client()


@pytest.fixture
def in_app(app):
    """A request to the board is under way, so pages can be built by hand."""
    with app.server.test_request_context("/", base_url="http://127.0.0.1:8050"):
        yield app


@pytest.fixture
def view(board):
    """The drifting wrap: 35 pieces before, 11 since."""
    verdict = next(v for v in board.verdicts() if v.key.characteristic == "f-wrap")
    return board.series(verdict.key)


@pytest.fixture
def wearing(board):
    verdict = next(v for v in board.verdicts() if v.forecast is not None)
    return board.series(verdict.key)


@pytest.fixture
def texts():
    """Every text of a Dash component tree, joined."""

    def gather(part):
        if part is None or isinstance(part, (str, int, float)):
            return "" if part is None else str(part)
        if isinstance(part, (list, tuple)):
            # A serial in a sentence is a part of its own, so that it does not break at its hyphen.
            whole = any(getattr(p, "className", "") == "whole" for p in part)
            return ("" if whole else " ").join(gather(p) for p in part)
        return gather(getattr(part, "children", None))

    return gather


@pytest.fixture
def answers():
    """Invented answers about remedies, to be changed by a test; the board gives its own."""
    return remedies.InventedRemedies()


@pytest.fixture
def decide():
    """A function that gives a series as it is after a lead froze a state and left two pieces out."""
    return shop.decided


@pytest.fixture
def today():
    return shop.TODAY


@pytest.fixture
def study():
    """The answer of a gauge study, as the worker gives it."""
    return shop.STUDY
