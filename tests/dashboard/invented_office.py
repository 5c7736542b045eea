"""The office of the invented workshop: it keeps what was asked of it, and a few people and versions."""

from __future__ import annotations

from datetime import UTC, date, datetime

from qc.errors import UsageError
from qc.jobs.errors import JobError
from qc.jobs.office import FigureLine, PlanDifference, PlanPage, PlanSaved, StagePage, VersionLine
from qc.jobs.people import People, PersonAnswer
from qc.plan import PlanFault
from qc.store import PersonRecord

TODAY = date(2026, 11, 24)
WHEN = datetime(2026, 5, 14, 16, 30, tzinfo=UTC)
PLAN_TEXT = "# the shop\nworkshop: {name: Tern Quay Brassworks}\n"


class InventedOffice:
    """Keeps three people and two versions of a plan, and what was asked of it."""

    def __init__(self) -> None:
        self.did = []
        self.listed = True

    def people(self):
        own = (
            PersonRecord("OW", "owner", "Oda Wren", WHEN, None, True, None),
            PersonRecord("KM", "technician", "", WHEN, None, False, None),
            PersonRecord("XL", "lead", "", WHEN, WHEN, True, None),
        )
        return People(own if self.listed else (), "Europe/Vienna")

    def _answer(self, *did):
        self.did.append(did)
        if did[1] == "OW":
            raise JobError("OW is the only owner at work.")
        return PersonAnswer(
            did[1], "lead", "", f"{did[1]} is done.", "herd-<b>-9", WHEN, ("Add it <there>.",)
        )

    def add(self, code, role, name, who):
        return self._answer("add", code, role, name, who)

    def reset(self, code, who):
        return self._answer("reset", code, who)

    def leave(self, code, who):
        return self._answer("leave", code, who)

    def plan(self):
        figures = (FigureLine("Clearance [µm]", ("target 150, from 100 to 200 (bass)",), True),)
        more = (FigureLine("Tube length [mm]", (), False),)
        versions = (
            VersionLine(2, TODAY, "RA", "tighter since the new reamer", False),
            VersionLine(1, date(2026, 1, 5), "RA", "", True),
        )
        stages = (StagePage("Slide", figures + more), StagePage("Store", ()))
        return PlanPage(stages, (("Models", "bass, alto"),), versions, PLAN_TEXT)

    def difference(self, before, after):
        if after > 2:
            raise JobError(f"The plan has no version {after}. It has 1 to 2.")
        one, two = reversed(self.plan().versions)
        lines = (("@", ""), (" ", "stages:"), ("-", "upper: 210"), ("+", "upper: 200 # <b>"))
        return PlanDifference(one, two, ("Slide: Clearance: to 210 µm, now to 200 µm.",), lines)

    def check(self, text):
        return (PlanFault(3, "stages", "is <missing>", "Write it."),) if "fault" in text else ()

    def save(self, text, who, why, mark):
        self.did.append(("save", text, who, why, mark))
        if not why:
            raise UsageError("Say why in a few words.")
        return PlanSaved((), 3)
