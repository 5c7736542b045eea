"""Opening a workshop: its folder, its plan as of today, its store."""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path

from qc import clock
from qc.errors import MachineError, UsageError
from qc.ingest import days_of
from qc.jobs.errors import JobError
from qc.plain import as_meant
from qc.plan import Plan, PlanError, keep_past, load_plan, read_plan_text, template_text
from qc.store import OWN_FILE, Store, open_store, private_folder, refuse_network_share
from qc.words import dated_words

PLAN = "plan.yaml"
FOLDER_VARIABLE = "QC_WORKSHOP"
DATABASE_VARIABLE = "QC_DATABASE_URL"  # address of a PostgreSQL database to use instead of qc.db
OLDER_VARIABLE = "QC_DATABASE"  # its name in earlier programs
ADDRESS = "database.txt"
"""File of a folder whose rows are in PostgreSQL: the address, which holds whatever the environment says."""
DEFAULT_FOLDER = "workshop"
FIRST_DAY, LAST_DAY = date(1900, 1, 1), date(2999, 12, 31)
"""Days a workshop can stand on; chosen: no notebook is older, and days around them can be reckoned with."""
_NOBODY = "plan"  # stands for the person where the plan names no quality lead


class NoWorkshop(MachineError, JobError):
    """The system does not let us make a workshop there, or look into it."""


@dataclass(frozen=True, slots=True)
class Then:
    """The past day as of which a workshop is known, its last entry, and what must be said of that."""

    day: date
    entry: int
    notes: tuple[str, ...] = ()


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
    then : Then or None
        The past day whose knowledge this is: made by `qc.jobs.then.known`, and read-only.
    note : str
        What must be said of the day that was asked for, empty mostly.
    """

    folder: Path
    plan: Plan
    store: Store
    today: date
    now: datetime
    then: Then | None = None
    note: str = ""


@as_meant
def open_workshop(
    folder: Path | None = None,
    *,
    as_of: date | None = None,
    create: bool = False,
    writes: bool = False,
    first_plan: str = "",
) -> Workshop:
    """Open a workshop; a plan that changed since the last time is recorded as a new version.

    Parameters
    ----------
    folder : Path, optional
        The workshop folder; else what the environment says in ``QC_WORKSHOP``, else ``./workshop``.
    as_of : date, optional
        Judge as on this day.
    create : bool
        Make the folder with a first plan where there is none.
    writes : bool
        Something is going to be handed in: `as_of` is the day of that, and of a plan that changed, but never
        before the newest entry.
    first_plan : str
        The plan to make a workshop with; empty for the template.

    Raises
    ------
    JobError
        There is no workshop there.
    UsageError
        It cannot stand on the day asked for.
    PlanError
        Its plan has faults.
    StoreError
        Its store cannot be opened, or the folder is on a network share.
    """
    if as_of is not None:
        refuse_no_day(as_of)
    place = find_folder(folder)
    file = place / PLAN
    try:
        there = file.is_file()
    except OSError as error:
        shown = f"{str(place)[:80]}..." if len(str(place)) > 80 else str(place)
        raise NoWorkshop(f"{shown} cannot be looked into ({error.strerror}). Name another folder.") from error
    founded = None
    if not there:
        if not create:
            raise JobError(no_workshop(place))
        _lay_out(place, first_plan or template_text())
        founded = as_of
    text = read_plan_text(file)
    plan = load_plan(text, name=str(file))
    store = open_store(place, url=rows_address(place))
    try:
        _refuse_emptied(store, place)
        workshop = _on_its_day(Workshop(place, plan, store, date.min, clock.now()), as_of, writes=writes)
        if founded is not None:
            workshop = replace(workshop, now=clock.founding(founded))
        return replace(workshop, plan=_recorded(workshop, text, as_of, writes=writes))
    # whatever went wrong, an open store would keep its lock
    except BaseException:
        store.close()
        raise


def _on_its_day(workshop: Workshop, as_of: date | None, *, writes: bool) -> Workshop:
    """Return the workshop on the day asked for; no entry is dated before one that is there already."""
    zone, day = workshop.plan.workshop.time_zone, as_of or workshop.plan.workshop.today
    if day is not None:
        refuse_no_day(day)
    workshop = replace(workshop, today=clock.today(zone, day), now=clock.moment(zone, day))
    newest = workshop.store.newest_moment() if writes and as_of is not None else None
    if as_of is None or newest is None or newest <= workshop.now:
        return workshop
    handed_in = clock.day_of(newest, zone)
    note = (
        f"{dated_words(as_of)} lies before the newest entry, of {dated_words(handed_in)}: nothing is "
        f"handed in before what is there, so this is handed in as of {dated_words(handed_in)}. To bring in "
        f"old months day by day, make the workshop with `qc new DIR --as-of DAY`, on a day before the first "
        "of them, and hand them in there."
    )
    return replace(
        workshop,
        today=max(workshop.today, handed_in),
        now=newest,
        note="" if handed_in == as_of else note,
    )


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


def refuse_no_day(day: date) -> None:
    """Refuse a day on which no workshop stood or will stand.

    Raises
    ------
    UsageError
        It is such a day: a slip.
    """
    if not FIRST_DAY <= day <= LAST_DAY:
        raise UsageError(
            f"{day.isoformat()} is a day of no workshop: name one from {FIRST_DAY.year} to {LAST_DAY.year}."
        )


def find_folder(folder: Path | None = None) -> Path:
    """Return the workshop folder: as given, else ``QC_WORKSHOP``, else ``./workshop``."""
    if folder is not None:
        return folder
    return Path(os.environ.get(FOLDER_VARIABLE) or DEFAULT_FOLDER)


def rows_address(folder: Path) -> str | None:
    """Return the address of the database with a workshop's rows; None where they are in its ``qc.db``.

    As the folder's own ``database.txt`` says, else ``QC_DATABASE_URL``, else ``QC_DATABASE``.

    Raises
    ------
    JobError
        The file is empty or no text.
    """
    file = folder / ADDRESS
    if not file.is_file():
        return os.environ.get(DATABASE_VARIABLE) or os.environ.get(OLDER_VARIABLE) or None
    try:
        lines = file.read_text("utf-8").split()
    except (OSError, UnicodeDecodeError) as error:
        raise JobError(
            f"{file} cannot be read ({error}). Write the address of the database in it."
        ) from error
    if len(lines) != 1:
        raise JobError(
            f"{file} holds {len(lines)} words. Write one in it, the address of this workshop's database: "
            "postgresql://user@host/name."
        )
    return lines[0]


def keep_address(folder: Path, url: str) -> None:
    """Write into a folder where its rows are; for its owner alone, since it may hold a password."""
    (folder / ADDRESS).touch(OWN_FILE)
    (folder / ADDRESS).write_text(f"{url}\n", "utf-8")


def _lay_out(folder: Path, plan: str) -> None:
    refuse_network_share(folder)
    try:
        private_folder(folder)
        private_folder(folder / "reports")
        (folder / PLAN).touch(OWN_FILE)
        (folder / PLAN).write_text(plan, "utf-8")
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


def _recorded(workshop: Workshop, text: str, as_of: date | None, *, writes: bool) -> Plan:
    """Record the plan where it is new, and give it the past that the store knows."""
    store, plan, when = workshop.store, workshop.plan, workshop.now
    newest = store.newest_moment()
    if as_of is not None and not writes and (newest is None or when < newest):
        # looking back with `as_of` must not date a new plan back
        when = clock.moment(plan.workshop.time_zone, plan.workshop.today)

    def again() -> str:
        nonlocal plan
        file = workshop.folder / PLAN
        now = read_plan_text(file)
        plan = load_plan(now, name=str(file))
        return now

    store.record_plan(text, who=plan.workshop.lead or _NOBODY, when=when, again=again)
    return plan_of(store, plan)


def plan_of(store: Store, plan: Plan | None = None, *, version: int | None = None) -> Plan:
    """Return the plan with the past that a store knows of it.

    Parameters
    ----------
    store : Store
        Holds the versions.
    plan : Plan, optional
        The newest of them, where it was read already.
    version : int, optional
        Only this one, without any past.

    Raises
    ------
    PlanError
        It was written for an earlier program, which had other fields.
    """
    if version is not None:
        return load_plan(store.plan_text(version))
    versions = store.plan_versions()
    newest_plan = plan or load_plan(store.plan_text())
    if len(versions) == 1:
        return newest_plan
    zone = newest_plan.workshop.time_zone
    past: list[tuple[date, Plan]] = []
    for one in versions[:-1]:
        if not one.used:
            continue
        try:
            past.append((clock.day_of(one.when, zone), load_plan(store.plan_text(one.version))))
        except PlanError:
            continue  # written by an earlier program with other fields; its figures cannot be read any more
    return keep_past([*past, (clock.day_of(versions[-1].when, zone), newest_plan)])
