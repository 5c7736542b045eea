"""Keeping: tables, migrations, writing and reading into frames; the only part that knows the database."""

from __future__ import annotations

from qc.store.chain import Entry
from qc.store.errors import StoreError
from qc.store.intake import NewSheet, SheetCount
from qc.store.location import refuse_network_share
from qc.store.pieces import News
from qc.store.plans import PlanVersion
from qc.store.records import HeldReason, HeldRecord, SheetRecord, SignalRecord, VerdictRecord, reasons_of
from qc.store.sheetfiles import sheet_hash
from qc.store.store import Store, open_store
from qc.store.verdicts import signal_id

__all__ = [
    "Entry",
    "HeldReason",
    "HeldRecord",
    "NewSheet",
    "News",
    "PlanVersion",
    "SheetCount",
    "SheetRecord",
    "SignalRecord",
    "Store",
    "StoreError",
    "VerdictRecord",
    "open_store",
    "reasons_of",
    "refuse_network_share",
    "sheet_hash",
    "signal_id",
]
