"""A column of the tidy table that has a heading is fetched from the row, or its cell would be lost unseen."""

import ast
import inspect
import textwrap

from qc.ingest.cards import rows
from qc.ingest.cells import names
from qc.ingest.frames import EVENT_ROW, READING_ROW
from qc.ingest.unfolded import PlaceColumns, UnfoldedEvent, UnfoldedReading
from qc.plan import PLACE, READING

ELSEWHERE = {"gauge", "unit"}  # by the class of the figure, and with the figure itself


def written(function):
    """Return the columns that a function writes: keys of its mappings and of what it assigns to."""
    found = set()
    for node in ast.walk(ast.parse(textwrap.dedent(inspect.getsource(function)))):
        if isinstance(node, ast.Dict):
            found |= {key.value for key in node.keys if isinstance(key, ast.Constant)}
        elif isinstance(node, ast.Subscript) and isinstance(node.slice, ast.Constant):
            found.add(node.slice.value)
    return found


def test_every_heading_of_a_reading_is_fetched():
    own = {name for name in names.KNOWN_NAMES if name in READING}
    assert {"air_c", "batch", "tool_count"} <= own
    fetched = written(rows.Row.common) | written(rows.Row.reading_fields) | ELSEWHERE
    assert own - fetched == set()


def test_what_the_adaptors_fill_in_are_the_columns_of_the_frames():
    """Else polars would drop a field without a column, and leave a column without a field empty, unseen."""
    later = {"entered_at"}  # by the store
    assert UnfoldedReading.__required_keys__ | UnfoldedReading.__optional_keys__ == set(READING_ROW) - later
    assert UnfoldedEvent.__required_keys__ == (set(EVENT_ROW) - later) | {"offset_min", "has_time"}
    assert PlaceColumns.__optional_keys__ == set(PLACE)
