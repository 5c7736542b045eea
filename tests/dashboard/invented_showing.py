"""One invented sheet that waits for its layout, as the board's page of it asks."""

from dataclasses import replace

from qc.jobs.board import PointedLine, PointedSheet, Preview
from qc.jobs.rows import UnreadSheet
from qc.jobs.shown import Pointing

REFUSAL = "wall_0443.csv, line 1: the columns fit none of the plan's cards. Name the card."
WAITS = UnreadSheet("cd" * 32, "wall_0443.csv", 412, "KM", "24 Nov 2026", REFUSAL, "waits")
LINES = (
    PointedLine(0, "A", "Nr.", ("K-1", "K-2"), "serial"),
    PointedLine(1, "B", "Wand <b>", ("0,52", "0,55"), "wall|station=1", "mm"),
    PointedLine(2, "C", "", ("7", "8")),
)
SEEN = PointedSheet(
    about=WAITS,
    tab="",
    lines=((1, ("Wandkarte",)), (2, ("Nr.", "Wand <b>")), (3, ("K-1", "0,52", "7"))),
    columns=3,
    cut=False,
    cards=(("wall-card", "Wall card"), ("joint-card", "Joints card")),
    choices={
        "serial": "Serial",
        "model": "Model",
        "date": "Date",
        "person": "Person",
        "gauge": "Gauge",
        "wall|station=1": "Wall, 1",
        "wall|station=2": "Wall, 2",
    },
    heads={"A1": "Wandkarte"},
    pointing=Pointing("wall-card", "rows", 3, LINES, ()),
    name="wall_0443",
)


class InventedShowing:
    """Answers the page of one sheet; `asked` are the answers it was given."""

    def __init__(self):
        self.asked = []

    def waiting(self):
        return (WAITS,)

    def pointed(self, sheet, answer):
        self.asked.append(answer)
        card = next(iter(answer.get("card", ())), "wall-card")
        return replace(SEEN, pointing=replace(SEEN.pointing, card=card)) if sheet == WAITS.sheet else None

    def preview(self, sheet, answer):
        self.asked.append(answer)
        if sheet != WAITS.sheet:
            return None
        if "serial" not in answer.get("meant", ["serial"]):
            return Preview("layouts:\n", ("Say in which column the serial stands.",))
        return Preview("layouts:\n", (), (("K-1, 3 Mar 2026", ("Wall, 1: 0,52 mm",)),), 2, ("C3",))
