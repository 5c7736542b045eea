"""Opening a workshop: its folder, its plan as of today, its store."""

from __future__ import annotations

import os
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from qc import clock
from qc.errors import MachineError, UsageError
from qc.ingest import days_of
from qc.jobs.errors import JobError
from qc.plan import Plan, PlanError, keep_past, load_plan, read_plan_text, template_text
from qc.store import OWN_FILE, Store, open_store, private_folder, refuse_network_share
from qc.words import dated_words

PLAN = "plan.yaml"
FOLDER_VARIABLE = "QC_WORKSHOP"
DATABASE_VARIABLE = "QC_DATABASE"  # address of a PostgreSQL database to use instead of qc.db
DEFAULT_FOLDER = "workshop"
_NOBODY = "plan"  # stands for the person where the plan names no quality lead


class NoWorkshop(MachineError, JobError):
    """The system does not let us make a workshop there, or look into it."""


@dataclass(frozen=True, slots=True)
class Workshop:
    """An open workshop.

    Attributes
    ----------
    folder : Path
        Where everything lies: ``plan.yaml``, ``qc.db``, ``sheets``, ``reports``.
    plan : Plan
        The plan as it stands in the file, with the targets and limits of earlier versions on their days.
    store : Store
        What was kept so far.
    today : date
        The day to judge by: as asked, else the day the plan fixes, else the day in the workshop's zone.
    now : datetime
        The moment of entry, UTC; fits `today`.
    """

    folder: Path
    plan: Plan
    store: Store
    today: date
    now: datetime


def open_workshop(folder: Path | None = None, *, as_of: date | None = None, create: bool = False) -> Workshop:
    """Open a workshop; a plan that changed since the last time is recorded as a new version.

    Parameters
    ----------
    folder : Path, optional
        The workshop folder; else what the environment says in ``QC_WORKSHOP``, else ``./workshop``.
    as_of : date, optional
        Judge as on this day.
    create : bool
        Make the folder with the template plan where there is none.

    Raises
    ------
    JobError
        There is no workshop there.
    PlanError
        Its plan has faults.
    StoreError
        Its store cannot be opened, or the folder is on a network share.
    """
    place = find_folder(folder)
    file = place / PLAN
    try:
        there = file.is_file()
    except OSError as error:
        shown = f"{str(place)[:80]}..." if len(str(place)) > 80 else str(place)
        raise NoWorkshop(f"{shown} cannot be looked into ({error.strerror}). Name another folder.") from error
    if not there:
        if not create:
            raise JobError(no_workshop(place))
        _lay_out(place)
    text = read_plan_text(file)
    plan = load_plan(text, name=str(file))
    store = open_store(place, url=os.environ.get(DATABASE_VARIABLE) or None)
    try:
        _refuse_emptied(store, place)
        plan = _recorded(store, text, plan)
    # whatever went wrong, an open store would keep its lock
    except BaseException:
        store.close()
        raise
    zone, day = plan.workshop.time_zone, as_of or plan.workshop.today
    return Workshop(place, plan, store, clock.today(zone, day), clock.moment(zone, day))


def no_workshop(place: Path) -> str:
    """Say that there is no workshop in a folder, and how to make or name one."""
    return (
        f"There is no workshop in {place} (no {PLAN}). Make one with `qc new {place}`, or look at "
        f"the sample with `qc demo`; `--workshop DIR` or {FOLDER_VARIABLE} names another folder."
    )


def asked_day(text: str) -> date:
    """Read a day that a person asks for, in any writing a card may have.

    Raises
    ------
    UsageError
        It is no day, or one that can be read two ways; both are said.

    Examples
    --------
    >>> asked_day("Tue 10 March 2026")
    datetime.date(2026, 3, 10)
    """
    days = days_of(text)
    if len(days) > 1:
        both = " or ".join(f"{dated_words(day)} ({day.isoformat()})" for day in days)
        raise UsageError(f"'{text}' can be read two ways: {both}. Write the one you mean.")
    if not days:
        raise UsageError(f"'{text}' is not a day. Write it as YYYY-MM-DD.")
    return days[0]


def find_folder(folder: Path | None = None) -> Path:
    """Return the workshop folder: as given, else ``QC_WORKSHOP``, else ``./workshop``."""
    if folder is not None:
        return folder
    return Path(os.environ.get(FOLDER_VARIABLE) or DEFAULT_FOLDER)


def _lay_out(folder: Path) -> None:
    refuse_network_share(folder)
    try:
        private_folder(folder)
        private_folder(folder / "reports")
        (folder / PLAN).touch(OWN_FILE)
        (folder / PLAN).write_text(template_text(), "utf-8")
    except OSError as error:
        raise NoWorkshop(f"{folder} cannot be made into a workshop ({error.strerror}).") from error


def _refuse_emptied(store: Store, folder: Path) -> None:
    """Raise where sheets lie beside a store without a single entry: its first one is always a plan."""
    if store.pulse()[0] == 0 and (lying := len(store.sheet_files())):
        raise JobError(
            f"The store in {folder} holds no entry, yet {lying} sheets lie beside it: it was emptied. "
            "Nothing was changed. Bring back the last backup with `qc restore BACKUP NEW_DIR`, or ask "
            f"`qc verify --workshop {folder}`."
        )


def _recorded(store: Store, text: str, plan: Plan) -> Plan:
    """Record the plan where it is new, and give it the past that the store knows."""
    zone = plan.workshop.time_zone
    # looking back with `as_of` must not date a new plan back
    when = clock.moment(zone, plan.workshop.today)
    store.record_plan(text, who=plan.workshop.lead or _NOBODY, when=when)
    versions = store.plan_versions()
    if len(versions) == 1:
        return plan
    past: list[tuple[date, Plan]] = []
    for version in versions[:-1]:
        if not version.used:
            continue
        day = version.when.astimezone(ZoneInfo(zone)).date()
        try:
            past.append((day, load_plan(store.plan_text(version.version))))
        except PlanError:
            continue  # written by an earlier program with other fields; its figures cannot be read any more
    newest = versions[-1].when.astimezone(ZoneInfo(zone)).date()
    return keep_past([*past, (newest, plan)])
