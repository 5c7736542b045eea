"""The story of the sample workshop: sizes, spreads, who works where, and what is planted when.

All figures are planning values (common practice, no source) of the size a small shop would meet; lengths are
mm, clearances um, tuning cents. The planted changes are large against the noise on purpose: this data checks
that the pipeline finds what is there, not how small a change the statistics can find.
"""

from __future__ import annotations

from datetime import date

FIRST_DAY = date(2025, 7, 7)
LAST_DAY = date(2026, 11, 23)
INSTRUMENTS = 220
FIRST_SERIAL = 1001

MODEL_COUNTS = {"alto": 26, "tenor": 60, "tenor-bass": 70, "bass": 44, "contrabass": 20}
TUBE_MODEL = {"alto": "alto", "tenor": "tenor", "tenor-bass": "tenor", "bass": "bass", "contrabass": "bass"}
VALVES = {"tenor-bass": ("F",), "bass": ("F", "D")}

# Working days from the bell to each later stage.
LEAD_DAYS = {
    "joints": 3,
    "slide": 7,
    "valves": 9,
    "tuning": 12,
    "polish": 15,
    "lacquer": 18,
    "final": 21,
    "ship": 23,
}
TUBE_LEAD_DAYS = 9  # drawn so long before the slide is fitted

# Drawn tube: target OD, target bore, blank OD, blank bore; each blank is 500 mm long.
TUBE_SIZES = {
    "alto": (13.550, 12.700, 14.05, 12.90),
    "tenor": (14.900, 14.050, 15.40, 14.25),
    "bass": (15.150, 14.350, 15.64, 14.55),
}
BLANK_MM = 500.0
OD_SD_MM = 0.0025
BORE_SD_MM = 0.0025
LENGTH_SPREAD = 0.004

# Die, first draw count, offset of a fresh die [mm], growth a draw [mm].
DIES = {
    "alto": (("D-11", 60, -0.006, 0.00005),),
    "tenor": (("D-21", 100, -0.014, 0.00012), ("D-24", 0, -0.024, 0.00008)),
    "bass": (("D-31", 30, -0.010, 0.00007),),
}
DIE_CHANGE = date(2026, 4, 1)
WEARING_DIE = "D-24"
# The hard chrome of D-24 is worn through after this draw; the steel beneath wears so much faster a draw.
WORN_THROUGH_DRAW, BARE_STEEL_MM = 163, 0.00060

WALL_MM = {"alto": 0.45, "tenor": 0.50, "tenor-bass": 0.50, "bass": 0.55, "contrabass": 0.60}
WALL_STATION_MM = (0.018, -0.006, -0.024, -0.004, 0.016)  # rim to throat
WALL_PIECE_SD_MM = 0.012
WALL_READING_SD_MM = 0.009

LEAK_MEDIAN, LEAK_SPREAD = 1.3, 1.4
JOINT_FAULT_SHARE = 0.06

STOCKING_GAP_MM = 0.150
STOCKING_PIECE_SD_MM = 0.007
STOCKING_LEG_SD_MM = 0.003
SLIDE_READING_SD_MM = 0.0025
BORE_STATION_MM = {"mouth": 0.002, "middle": -0.001, "crook": -0.001}
BODY_BELOW_STOCKING_MM = 0.100

# Loose tubes of old stock, drawn before the drawing log began, on shelves of their own.
RACK_MODEL = "tenor"
RACK_SERIALS = {
    "inner": ("RI-41", "RI-42", "RI-43", "RI-44", "RI-45"),
    "outer": ("RO-17", "RO-18", "RO-19", "RO-20"),
}
RACK_PIECE_SD_MM = 0.016  # tubes that matched no mate are left over: more unlike than those drawn for a slide

FORCE_MEDIAN, FORCE_SPREAD = 0.95, 1.17

PLAY_UM, PLAY_PIECE_SD_UM, PLAY_READING_SD_UM = 32.0, 3.0, 1.5
VALVE_LEAK_MEDIAN, VALVE_LEAK_SPREAD = 2.2, 1.3

NOTE_SD_CENTS = 4.5
MAIN_SD_SHARE = 0.0010  # of the length of the model
WRAP_SD_MM = 2.5
PARTIAL_SD_CENTS = 1.2
MARK_SD_MM = 0.4
TESTER_CENTS = {"MA": 0.6, "TW": -0.8, "RO": 0.3}
SITTING_SD_CENTS = 0.8

MASS_LOSS_G = {"alto": 12.0, "tenor": 18.0, "tenor-bass": 18.0, "bass": 22.0, "contrabass": 34.0}
MASS_LOSS_SD = 0.145  # of the target

LACQUER_UM, LACQUER_PIECE_SD_UM, LACQUER_SPOT_SD_UM = 15.0, 1.0, 1.4
LACQUER_AREA_UM = {"flare": 0.9, "stem": 0.4, "slide": -1.3}
DEFECTS_MEAN = 1.3
AREA_FACTOR = {"alto": 0.7, "tenor": 1.0, "tenor-bass": 1.1, "bass": 1.2, "contrabass": 1.8}

VERDICT_FAULT_SHARE = 0.09

# What is planted: the counts say how many finished pieces of each stage come after the change.
MANDREL_PIECES, MANDREL_MM = 11, 22.0
OLD_MANDREL, NEW_MANDREL = "M-61", "M-64"
OLD_NOZZLE, NEW_NOZZLE = "BN-2", "BN-3"
LEADPIPE_PIECES, LEADPIPE_CENTS, LEADPIPE_BATCH_SIZE = 14, -9.0, 23
LEADPIPE_NEWEST = 12  # number of the newest batch
NOZZLE_PIECES, NOZZLE_UM = 20, -3.0
UNZEROED_DAYS, UNZEROED_MM = 8, 0.028
UNZEROED_GAUGE = "BG-1"

DAILY_GAUGES = {"BG-1": 0.001, "BG-2": 0.001, "LR-1": 0.1, "EC-1": 0.1}

CREW = {
    "draw": ("BK", "EL"),
    "bell": ("EL", "FN"),
    "joints": ("DO", "BK"),
    "slide": ("FN", "JU"),
    "valves": ("JU", "DO"),
    "tuning": ("MA", "TW", "RO"),
    "polish": ("BK", "EL"),
    "lacquer": ("DO", "FN"),
    "final": ("MA", "TW"),
    "office": ("IS",),
}
RO_JOINED = date(2026, 3, 2)
