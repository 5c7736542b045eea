"""Why a row is held: stable names that the store keeps, the receipt counts and the month reports."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Literal


class Reason(StrEnum):
    """One stable name for each reason. Faults come from the plan's rules, doubts from knowing the figure."""

    # Faults: the rules over columns say them, as the plan declares them.
    NOT_A_NUMBER = "not-a-number"
    MISSING_VALUE = "missing-value"
    EXTRA_CELLS = "extra-cells"
    NO_DATE = "no-date"
    FUTURE_DATE = "future-date"
    OLD_DATE = "old-date"
    MISSING_SERIAL = "missing-serial"
    MISSING_MODEL = "missing-model"
    UNKNOWN_MODEL = "unknown-model"
    UNKNOWN_PERSON = "unknown-person"
    UNKNOWN_GAUGE = "unknown-gauge"
    UNKNOWN_TOOL = "unknown-tool"
    UNKNOWN_PLACE = "unknown-place"
    UNKNOWN_CODE = "unknown-code"
    GAUGE_OVERDUE = "gauge-overdue"
    OUTSIDE_SENSIBLE = "outside-sensible"
    OUT_OF_RANGE = "out-of-range"
    NEGATIVE_COUNT = "negative-count"
    NOT_WHOLE = "not-whole"
    # Doubts: a module each under qc/ingest/doubts.
    UNKNOWN_SERIAL = "unknown-serial"
    MODEL_DIFFERS = "model-differs"
    COMMA_DECIMAL = "comma-decimal"
    DECIMAL_SLIP = "decimal-slip"
    INCH_FOR_MM = "inch-for-mm"
    RADIUS_FOR_DIAMETER = "radius-for-diameter"
    PER_SIDE = "per-side"
    FACTOR_1000 = "factor-1000"
    DAY_MONTH_DATE = "day-month-date"
    SPREADSHEET_DATE = "spreadsheet-date"
    EPOCH_1904 = "epoch-1904"
    BODY_FOR_STOCKING = "body-for-stocking"
    VOLUME_BALANCE = "volume-balance"
    COPIED_RUN = "copied-run"
    DOUBLED_ROW = "doubled-row"
    DOUBLED_SERIAL = "doubled-serial"
    PART_USED_TWICE = "part-used-twice"
    DIFFERS_FROM_RECORDED = "differs-from-recorded"
    NEVER_BEGUN = "never-begun"
    SAME_CARD_TWICE = "same-card-twice"
    AFTER_SHIPPING = "after-shipping"
    WRONG_DAY = "wrong-day"
    OTHER_GAUGE = "other-gauge"
    COLUMNS_SWAPPED = "columns-swapped"
    SIGN_LOST = "sign-lost"
    DIGITS_SWAPPED = "digits-swapped"
    OTHER_MODEL = "other-model"
    FAR_FROM_USUAL = "far-from-usual"
    MANY_COUNTED = "many-counted"
    GAUGE_NOT_ZEROED = "gauge-not-zeroed"


DOUBTS: frozenset[Reason] = frozenset(list(Reason)[list(Reason).index(Reason.UNKNOWN_SERIAL) :])
"""Reasons that a person may confirm as "it is really so"; the others can only be put right."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One reason on one row.

    Attributes
    ----------
    index : int
        Which row of the checked frame.
    reason : Reason
        Stable name.
    problem : str
        What is wrong, a sentence part without a full stop; the address is put before it.
    mend : str
        What to do, a whole sentence.
    proposal : mapping
        Columns to change for one-click acceptance; empty where none can be offered.
    """

    index: int
    reason: Reason
    problem: str
    mend: str
    proposal: Mapping[str, object] = field(default_factory=dict)

    def to_dict(self, where: str) -> dict[str, object]:
        """Return the finding as it is kept with a held row; `where` is file, tab and cell."""
        return {
            "id": str(self.reason),
            "sentence": f"{where}: {self.problem}.",
            "mend": self.mend,
            "proposal": dict(self.proposal),
        }


@dataclass(frozen=True, slots=True)
class SheetMark:
    """Something worth knowing about a sheet that holds nothing back.

    Attributes
    ----------
    id : {"backdated", "rounded-readings", "gauge-unchecked"}
        Stable name.
    sentence : str
        What was seen and where.
    """

    id: Literal["backdated", "rounded-readings", "gauge-unchecked"]
    sentence: str

    def to_dict(self) -> dict[str, str]:
        """Return the mark as plain values."""
        return {"id": self.id, "sentence": self.sentence}
