"""The name of every state that board, terminal and report say, each with what it means: the one list of them.

A state has one name on every face. The faces take the names from here; what a name means stands in
`docs/reference/words.md`, which is held to this list, and beside the charts that use it.
"""

from __future__ import annotations

from collections.abc import Mapping

LEARNING, STEADY, DRIFTING = "learning", "steady", "drifting"

KEPT, NOT_PROVEN, NOT_KEPT = "limits kept", "limits unproven", "limits not kept"
TOO_FEW, NOT_JUDGED, NO_LIMITS = "too few pieces", "limits not judged", "no limits set"
NOTHING_MEASURED = "nothing measured yet"

NEW, WORSE, BETTER, GONE = "new", "worse", "better", "gone"

OPEN, IN_HAND, CLOSED, CLOSED_FALSE, OVER = "open", "in hand", "closed", "closed as false", "over by itself"

OFF, OVERDUE, NEVER_CHECKED, MOVED = "off", "overdue", "never checked", "moved"
DUE, IN_ORDER = "due", "in order"

INSIDE, OUTSIDE, NEAR, ROW_WAITS = "inside", "outside", "inside, not proven", "a held row waits"

HELD, KEPT_BACK, RELEASED = "held", "kept back", "released"

BEHAVIOUR: Mapping[str, str] = {
    LEARNING: "Fewer than four pieces so far: nothing is judged yet.",
    STEADY: "The series is as it was: no change of its level, its spread or its course is found.",
    DRIFTING: "The series has moved: its newest pieces are not those of the state before.",
}
"""Is the series the same process as before?"""

LIMITS: Mapping[str, str] = {
    KEPT: "The Ppk wanted is reached with confidence: the lower end of its interval is not below it.",
    NOT_PROVEN: "There are pieces enough for a Ppk, but its interval reaches to both sides of the one "
    "wanted; or the series still climbs or falls, and no Ppk would last.",
    NOT_KEPT: "The Ppk wanted is missed with confidence: even the upper end of its interval is below it.",
    TOO_FEW: "Fewer than 20 pieces since the last change: no Ppk is given.",
    NOT_JUDGED: "Counts and pass or fail have no Ppk: see how often a fault comes.",
    NO_LIMITS: "The plan sets no limits for this figure.",
    NOTHING_MEASURED: "No piece has been measured for this figure.",
}
"""Does the process keep its limits, with confidence? Behaviour says nothing of it, nor it of behaviour."""

WORST_LIMITS = (NOT_KEPT, NOT_PROVEN, TOO_FEW, KEPT, NOT_JUDGED, NO_LIMITS, NOTHING_MEASURED)
"""By which of its series a stage is called, the first of these that there is."""

SINCE: Mapping[str, str] = {
    NEW: "A finding that was not there on the day compared with.",
    WORSE: "A finding that was there and has grown, or limits that are less well kept.",
    BETTER: "A finding that was there and has shrunk, or limits that are better kept.",
    GONE: "The series had moved and has not any more.",
}
"""What became of a series since an earlier day."""

SIGNAL: Mapping[str, str] = {
    OPEN: "Nobody has taken it in hand.",
    IN_HAND: "Somebody looks into it.",
    CLOSED: "It was closed with its cause; what became of that stands beside it.",
    CLOSED_FALSE: "It was closed as a false signal: there was no cause.",
    OVER: "Nobody answered it, and the series came back to the state before.",
}
"""How a signal stands."""

SIGNAL_WORDS: Mapping[str, str] = {
    "open": OPEN,
    "in-hand": IN_HAND,
    "closed": CLOSED,
    "closed-false": CLOSED_FALSE,
    "over": OVER,
}
"""The name of each state that the store keeps of a signal, and of one that is over."""

GAUGE: Mapping[str, str] = {
    OFF: "Its last check was beyond the limit of a check.",
    OVERDUE: "A daily check was missed, or its calibration ran out before today.",
    NEVER_CHECKED: "It is to be checked daily, and no check is on record.",
    MOVED: "Its checks read otherwise than before, though the last one is inside the limit of a check.",
    DUE: "Its daily check is to be made today, or its calibration runs out within two weeks.",
    IN_ORDER: "Nothing is to be done about it.",
}
"""How a gauge stands, the worst first."""

FIGURE: Mapping[str, str] = {
    INSIDE: "The figure of this piece keeps its limits, at its worst place unless the plan says otherwise.",
    OUTSIDE: "The figure of this piece breaks a limit.",
    NEAR: "It is inside by less than the gauge's own spread, so that it may be outside.",
    ROW_WAITS: "A reading of it stands in a held row: it is not judged until somebody decides on the row.",
    NO_LIMITS: "The plan sets no limits for this figure.",
}
"""How one figure of one piece stands to its limits."""

LET_GO = "released by name and reason, or let go by an answer"
"""How rows left the list of pieces to hold, in the words of every face: an answer names no piece."""

ROW_OR_PIECE: Mapping[str, str] = {
    HELD: "A row of a sheet that could not be accepted as typed; said of rows only.",
    KEPT_BACK: "A piece that a lead keeps in the house, by name and reason; said of pieces only.",
    RELEASED: "A piece on the list of pieces to hold that a lead let go, by name and reason.",
}
"""What is done to rows and to pieces."""

KINDS: Mapping[str, Mapping[str, str]] = {
    "A series: its behaviour": BEHAVIOUR,
    "A series: its limits": LIMITS,
    "A series: since an earlier day": SINCE,
    "A signal": SIGNAL,
    "A gauge": GAUGE,
    "A figure of one piece": FIGURE,
    "Rows and pieces": ROW_OR_PIECE,
}
"""All states by what they are states of."""

FIGURES: Mapping[str, str] = {
    "mean": "The average of the pieces in brackets, all of one state: since the last change, if any.",
    "before, now": "The mean of the state before the last change, and that of the state since; of a tool "
    "that wears, where the line of its pieces ends.",
    "usual from, usual to": "The next piece of the present state is expected between these two; one beyond "
    "them stands apart. They come from the pieces themselves, limits from the plan.",
    "limit, target": "What the plan asks for.",
    "Ppk": "The distance from the mean to the nearer limit, in units of three spreads: at 1 about one piece "
    "in a thousand lies beyond that limit.",
    "spread": "The standard deviation: about two pieces in three lie no further than this from their mean.",
    "size beside the spread": "The size of a change divided by the spread from piece to piece: below 1 it "
    "hides among the pieces, above 3 anybody sees it.",
    "running rate": "Of the newest pieces up to each one, so many as the axis says, those with a fault in "
    "100, or the faults a piece.",
    "first-pass yield": "The share of pieces that went through a stage without rework.",
    "two figures in brackets": "Of a size: 95 in 100 sure that the true one lies between them.",
    "in brackets": "The number of pieces that a figure rests on.",
}
"""Names of figures that a chart or a list bears, and what they mean."""
