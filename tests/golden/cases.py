"""The commands whose words are pinned: what is asked, by name; `{demo}` is the workshop, `{t}` the tables."""

W = ["--workshop", "{demo}"]
KINDS = {
    "individuals": ["--value", "mm"],
    "mean-range": ["--value", "mm", "--subgroup", "piece"],
    "mean-sd": ["--value", "mm", "--subgroup", "piece"],
    "three-way": ["--value", "mm", "--subgroup", "piece", "--place", "place"],
    "ewma": ["--value", "mm"],
    "cusum": ["--value", "mm", "--target", "14", "--sigma", "0.02"],
    "self-starting": ["--value", "mm"],
    "changepoint": ["--value", "mm"],
    "trend": ["--value", "die", "--against", "draws", "--baseline", "1:32"],
    "t2": ["--value", "a,b,c"],
    "mewma": ["--value", "a,b,c"],
    "defects": ["--value", "faults"],
    "defects-per-unit": ["--value", "faults", "--size", "inspected"],
    "number-defective": ["--value", "bad", "--size", "24"],
    "proportion": ["--value", "bad", "--size", "inspected"],
    "time-between": ["--value", "days"],
}
"""Every chart kind with the columns it needs; those over pieces read `places.csv`, the rest `pieces.csv`."""

MM = ["study", "{t}/pieces.csv", "--value", "mm"]
LIMITED = [*MM, "--lower", "13.9", "--upper", "14.1"]
TRIAL = ["gauge", "{t}/trial.csv", "--value", "mm", "--part", "part"]
DAYS = ["gauge", "{t}/days.csv", "--value", "mm", "--day", "day"]
STANDARD = ["gauge", "{t}/standard.csv", "--value", "mm", "--day", "day", "--check-standard"]
VERDICTS = ["gauge", "{t}/trial.csv", "--value", "verdict", "--part", "part", "--person", "person"]
TUNE = ["tune", "{t}/notes.csv", "--length-mm", "2944.9", "--valve", "F=986.1"]
PAIR = ["pair", "--inner", "{t}/inner.csv", "--outer", "{t}/outer.csv"]
PAIR += ["--target-um", "150", "--lower-um", "100", "--upper-um", "200"]
WEAR = ["wear", "{t}/wear.csv", "--value", "od", "--against", "draws", "--tool", "die", "--upper", "14.612"]
COAT = ["coat", "{t}/coat.csv", "--nominal", "15", "--lower", "10"]


def chart(kind, *more):
    """Return the words of a study of one kind."""
    table = "places" if "place" in KINDS[kind] or "piece" in KINDS[kind] else "pieces"
    return ["study", f"{{t}}/{table}.csv", "--chart", kind, *KINDS[kind], *more]


WORKSHOP = {
    "status": ["status", *W],
    "status-past": ["status", *W, "--as-of", "2026-09-15"],
    "status-first-days": ["status", *W, "--as-of", "2025-07-20"],
    "signals": ["signals", *W],
    "signals-list": ["signals", "list", *W],
    "signals-all": ["signals", "list", "--all", *W],
    "signals-past": ["signals", "--all", *W, "--as-of", "2025-12-31"],
    "signal-wear": ["signals", "show", "4ae10cd369dd", *W],
    "signal-shift": ["signals", "show", "432aadfcf36d", *W],
    "signal-batch": ["signals", "show", "bb7f01a3450e", *W],
    "signal-over": ["signals", "show", "b4d3365398d2", *W],
    "signal-past": ["signals", "show", "90a3d356d380", *W, "--as-of", "2026-08-20"],
    "signal-none": ["signals", "show", "none", *W],
    "held-list": ["held", "list", *W],
    "held-of-sheet": ["held", "list", "--sheet", "slide-force_2026-05.csv", *W],
    "also-gauge": ["also", "--gauge", "BG-1", "--since", "last-good-check", *W],
    "also-gauge-day": ["also", "--gauge", "MIC-1", "--since", "2026-11-10", *W],
    "also-tool": ["also", "--tool", "M-64", *W],
    "also-batch": ["also", "--batch", "LP-12", *W],
    "also-none": ["also", "--gauge", "XX-1", *W],
    "also-nothing": ["also", *W],
    "also-soon": ["also", "--gauge", "BG-1", "--since", "soon", *W],
    "hold": ["hold", *W],
    "hold-all": ["hold", "list", "--all", *W],
    "hold-past": ["hold", *W, "--as-of", "2026-09-15"],
    "hold-release-nobody": ["hold", "release", "QH-1200", "--why", "seen", *W],
    "hold-release-technician": ["hold", "release", "QH-1200", "--who", "BK", "--why", "seen", *W],
    "hold-keep-unknown": ["hold", "keep", "QH-9999", "--who", "IS", "--why", "dent", *W],
    "piece": ["piece", "QH-1195", *W],
    "piece-due": ["piece", "QH-1205", "--due", "2026-12-01", *W],
    "piece-returned": ["piece", "QH-1071", *W],
    "piece-part": ["piece", "T-0424", *W],
    "piece-unknown": ["piece", "qh 1l95", *W],
    "piece-past": ["piece", "QH-1195", *W, "--as-of", "2026-11-10"],
    "baseline-list": ["baseline", "list", *W],
    "baseline-no-reason": ["baseline", "freeze", "tuning/wrap_f/all", "--from", "QH-1104", "--who", "IS", *W],
    "plan-check": ["plan", "check", *W],
    "plan-show": ["plan", "show", *W],
    "plan-faults": ["plan", "check", "{t}/faulty_plan.yaml"],
    "verify": ["verify", *W],
    "rejudge": ["rejudge", *W],
    "tune-piece": ["tune", "--serial", "QH-1195", *W],
    "pair-rack": ["pair", *W],
    "wear-tools": ["wear", *W],
    "coat-piece": ["coat", "--serial", "QH-1195", *W],
    "no-workshop": ["status", "--workshop", "{demo}/none"],
    "wrong-day": ["status", "--as-of", "yesterday", *W],
    "wrong-command": ["nonsense"],
}
TABLES = {
    **{f"study-{kind}": chart(kind) for kind in KINDS},
    "study-checks": [*LIMITED, "--checks", "--series", "model"],
    "study-checks-places": [*chart("mean-sd"), "--checks"],
    "study-fitted": ["study", "{t}/pieces.csv", "--value", "skewed", "--upper", "9", "--fitted", "lognormal"],
    "study-fitted-empirical": [*LIMITED, "--fitted", "empirical", "--signals-only"],
    "study-gauge-sd": [*LIMITED, "--gauge-sd", "0.008"],
    "study-capability": [*LIMITED, "--target", "14", "--wanted", "1.33", "--signals-only"],
    "study-capability-subgroups": [*chart("mean-sd"), "--lower", "9.9", "--upper", "10.1"],
    "study-rules": [*MM, "--rules", "all"],
    "study-rules-subgroups": chart("mean-range", "--rules", "all"),
    "study-series": [*MM, "--series", "batch", "--signals-only"],
    "study-models": [*MM, "--model", "model", "--nominal", "nominal"],
    "study-prediction": [*MM, "--limits", "prediction", "--baseline", "30"],
    "study-guaranteed": [*MM, "--limits", "guaranteed:0.95", "--baseline", "1:40"],
    "study-screened": [*MM, "--screen", "--robust"],
    "study-given": [*MM, "--center", "14", "--sigma", "0.02", "--resolution", "0.001"],
    "study-positive": ["study", "{t}/pieces.csv", "--value", "skewed", "--shape", "positive"],
    "study-ewma-opening": chart("ewma", "--weight", "0.1", "--width", "2.7", "--time-varying"),
    "study-cusum-fast": chart("cusum", "--reference", "0.4", "--decision", "4.5", "--fast-start"),
    "study-changepoint-counts": ["study", "{t}/pieces.csv", "--value", "faults", "--chart", "changepoint"]
    + ["--counts", "defects"],
    "study-changepoint-wear": ["study", "{t}/pieces.csv", "--value", "die", "--chart", "changepoint"]
    + ["--against", "draws", "--tool", "tool"],
    "study-three-way-sd": chart("three-way", "--within", "sd"),
    "study-exact": chart("proportion", "--exact"),
    "study-corrected": chart("proportion", "--corrected"),
    "study-order": [*MM, "--order", "days"],
    "study-no-column": ["study", "{t}/pieces.csv", "--value", "weight"],
    "study-no-kind": [*MM, "--chart", "moving"],
    "study-wrong-option": [*MM, "--decision", "5"],
    "study-no-file": ["study", "{t}/none.csv", "--value", "mm"],
    "study-words": ["study", "{t}/pieces.csv", "--value", "model"],
    "gauge-crossed": [*TRIAL, "--person", "person", "--lower", "13.9", "--upper", "14.1"],
    "gauge-crossed-by-hand": [*TRIAL, "--person", "person", "--by-hand", "--keep-interaction"],
    "gauge-nested": [*TRIAL, "--person", "person", "--nested"],
    "gauge-one-person": [*TRIAL, "--resolution", "0.001", "--upper", "14.1"],
    "gauge-linearity": ["gauge", "{t}/trial.csv", "--value", "mm", "--reference", "true"],
    "gauge-agreement": [*VERDICTS, "--agreement"],
    "gauge-agreement-truth": [*VERDICTS, "--agreement", "--truth", "right", "--bad", "bad"],
    "gauge-days": [*DAYS, "--part", "part", "--run", "run", "--lower", "9.95", "--upper", "10.05"],
    "gauge-check-standard": STANDARD,
    "gauge-check-standard-wide": [*STANDARD, "--factor", "3"],
    "gauge-no-column": ["gauge", "{t}/trial.csv", "--value", "weight"],
    "gauge-wrong-options": [*TRIAL, "--factor", "2"],
    "run-length-limits": ["run-length", "limits"],
    "run-length-limits-wanted": ["run-length", "limits", "--wanted", "500", "--n", "4", "--judged", "1000"],
    "run-length-rules": ["run-length", "rules", "--shifts", "1", "--rules", "limit"],
    "run-length-ewma": ["run-length", "ewma", "--weight", "0.2", "--wanted", "370"],
    "run-length-cusum": ["run-length", "cusum", "--fast-start", "--sides", "1"],
    "run-length-mewma": ["run-length", "mewma", "--figures", "2", "--limit", "8.6", "--shifts", "0,1"],
    "run-length-estimated": ["run-length", "estimated", "--points", "30", "--under", "20,100"],
    "run-length-no-kind": ["run-length", "moving"],
    "factors": ["factors", "2", "5", "10", "25"],
    "factors-tolerance": ["factors", "5", "10", "20", "--tolerance"],
    "factors-tolerance-one-sided": ["factors", "10", "--tolerance", "--one-sided", "--content", "0.99"],
    "factors-t2": ["factors", "30", "--figures", "3"],
    "factors-too-few": ["factors", "1"],
    "tune": [*TUNE, "--reading-sd", "3"],
    "tune-reference": [*TUNE, "--reference", "{t}/notes_reference.csv"],
    "tune-changed": [*TUNE, "--before", "{t}/notes_before.csv", "--changed", "F=-16"],
    "tune-no-instrument": ["tune", "{t}/notes.csv"],
    "pair": PAIR,
    "pair-legs": [*PAIR, "--cost", "leg-squares"],
    "pair-absolute": [*PAIR, "--cost", "mean-absolute"],
    "pair-swapped": ["pair", "--inner", "{t}/outer.csv", "--outer", "{t}/inner.csv", "--target-um", "150"],
    "wear": [*WEAR, "--per-week", "70", "--as-of", "2026-11-24"],
    "wear-no-column": ["wear", "{t}/wear.csv", "--value", "weight", "--against", "draws", "--upper", "1"],
    "coat": COAT,
    "coat-wet": [*COAT, "--wet-um", "60", "--solids", "0.25", "--wall-mm", "0.5"],
    "coat-no-limit": ["coat", "{t}/coat.csv"],
}
WRITTEN = {
    "plot-study.png": [*LIMITED],
    "plot-study.html": [*LIMITED],
    "plot-tune.png": TUNE,
    "plot-pair.png": PAIR,
    "plot-wear.png": WEAR,
    "plot-coat.png": COAT,
    "out-study.parquet": [*MM, "--rules", "all", "--series", "batch"],
}
"""What a study or a remedy writes: the file's end says with `--plot` or `--out`."""

SPOKEN = [
    *([], ["demo"], ["upload"], ["status"], ["month"], ["board"], ["also"], ["rejudge"], ["tune"], ["pair"]),
    *(["wear"], ["coat"], ["study"], ["gauge"], ["run-length"], ["factors"], ["new"], ["verify"]),
    *(["cards"], ["backup"], ["restore"]),
    *(["held"], ["held", "list"], ["held", "mend"], ["held", "undo"], ["held", "export"], ["correct"]),
    *(["signals"], ["signals", "list"], ["signals", "show"], ["signals", "close"], ["signals", "take"]),
    *(["signals", "comment"], ["signals", "reopen"]),
    *(["baseline"], ["baseline", "freeze"], ["baseline", "leave-out"], ["baseline", "undo"]),
    *(["baseline", "list"], ["plan"], ["plan", "check"], ["plan", "show"]),
]
"""Commands that say what they take."""

CHANGES = [
    ["upload", "{sheets}/slide/slide-force_2026-05.csv", "--who", "FN", *W],
    ["upload", "{t}/bad_card.csv", "--who", "FN", *W],
    ["upload", "{t}/no_card.csv", "{t}/none.csv", *W],
    ["upload", "{t}/no_card.csv", *W],
    ["held", "list", "--sheet", "bad_card.csv", *W],
    ["held", "mend", "117", "--accept", "--who", "IS", *W],
    ["held", "mend", "118", "--set", "value=31", "--who", "IS", *W],
    ["held", "mend", "120-121", "--drop", "--who", "IS", *W],
    ["held", "mend", "119", "--as-typed", "--who", "IS", *W],
    ["held", "mend", "117", "--accept", "--who", "IS", *W],
    ["held", "export", "{out}/held.csv", *W],
    ["signals", "take", "ac266b196337", "--who", "BK", "--text", "gauge is being checked", *W],
    ["signals", "comment", "ac266b196337", "zeroed against the ring", "--who", "BK", *W],
    [
        "signals",
        "close",
        "ad5dad1e3d36",
        "--cause",
        "mandrel",
        "--action",
        "mandrel ground",
        "--outcome",
        "mended",
        "--who",
        "IS",
        *W,
    ],
    ["signals", "close", "90a3d356d380", "--false", "--who", "IS", *W],
    ["signals", "close", "bb7f01a3450e", "--cause", "batch", "--who", "IS", *W],
    ["signals", "close", "bb7f01a3450e", "--cause", "weather", "--who", "IS", *W],
    ["signals", "close", "bb7f01a3450e", "--cause", "batch", "--false", *W],
    ["signals", "reopen", "90a3d356d380", "--who", "IS", "--text", "it came again", *W],
    ["signals", "show", "ad5dad1e3d36", *W],
    ["signals", "list", "--all", *W],
    ["baseline", "freeze", "tuning/wrap_f/all", "--from", "QH-1104", "--to", "QH-1181", "--who", "IS"]
    + ["--why", "before the mandrel was changed", *W],
    ["baseline", "leave-out", "slide/force/all", "--from", "QH-1119", "--who", "IS", "--why", "bent rig", *W],
    ["baseline", "list", *W],
    ["status", *W],
    ["baseline", "undo", "tuning/wrap_f/all", "--who", "IS", "--why", "taken too early", *W],
    ["baseline", "list", *W],
    ["held", "list", *W],
    ["held", "undo", "117", "--who", "IS", "--why", "it was another card", *W],
    ["correct", "QH-1030/force", "--set", "value=0.970", "--who", "IS", "--why", "misread", *W],
    ["correct", "QH-1030/force", "--withdraw", "--who", "IS", "--why", "dry slide", *W],
    ["correct", "QH-1030/slide", *W],
    ["verify", *W],
]
"""What changes a copy of the workshop, one after the other, and the state after; answered in JSON."""

CHANGES_IN_TEXT = [
    ["upload", "{sheets}/slide/slide-force_2026-06.csv", "--who", "FN", *W],
    ["upload", "{t}/bad_card.csv", "--who", "FN", *W],
    ["upload", "{t}/no_card.csv", *W],
    ["held", "list", "--sheet", "bad_card.csv", *W],
    ["held", "mend", "116", "--accept", "--who", "IS", *W],
    ["held", "mend", "122", "--set", "value=33", "--who", "IS", *W],
    ["held", "mend", "1-3", "--drop", "--who", "IS", *W],
    ["held", "mend", "119", "--as-typed", "--who", "IS", *W],
    ["held", "export", "{out}/held.csv", *W],
    ["signals", "take", "5e2878281dd4", "--who", "BK", *W],
    ["signals", "comment", "5e2878281dd4", "nozzle is on order", "--who", "BK", *W],
    [
        "signals",
        "close",
        "5e2878281dd4",
        "--cause",
        "nozzle",
        "--action",
        "nozzle changed",
        "--outcome",
        "stays",
        "--who",
        "IS",
        *W,
    ],
    ["signals", "reopen", "5e2878281dd4", "--who", "IS", *W],
    ["signals", "close", "b739e9278008", "--false", "--who", "IS", *W],
    ["signals", "close", "b739e9278008", *W],
    ["baseline", "freeze", "slide/force/all", "--from", "QH-1041", "--to", "QH-1090", "--who", "IS"]
    + ["--why", "one rig", *W],
    [
        "baseline",
        "undo",
        "slide/force/all",
        "--from",
        "QH-1119",
        "--who",
        "IS",
        "--why",
        "rig was straight",
        *W,
    ],
    ["signals", "list", "--all", *W],
    ["baseline", "list", *W],
    ["status", *W],
    ["verify", *W],
]
"""Further changes in the same copy, answered in words."""

MONTHS = [*(f"2025-{month:02d}" for month in range(7, 13)), *(f"2026-{month:02d}" for month in range(1, 11))]
FORCE = [f"{{sheets}}/slide/slide-force_{month}.csv" for month in MONTHS]
POLISH = [f"{{sheets}}/polish/polishing_{month}.csv" for month in MONTHS]
BEFORE_MADE = [
    ["upload", *FORCE, "--who", "FN", *W],
    ["upload", *POLISH, "--who", "RO", *W],
    ["upload", "{t}/force_rises.csv", "--who", "FN", *W],
    ["held", "mend", "4", "--accept", "--who", "FN", *W],
    ["signals", "take", "8511de5d447d", "--who", "BK", "--text", "the plate is looked at", *W],
    [
        "signals",
        "close",
        "8511de5d447d",
        "--cause",
        "tight-slide",
        "--action",
        "lapped again",
        "--who",
        "IS",
        *W,
    ],
    ["signals", "close", "72e27fc778a3", "--false", "--who", "IS", "--text", "nothing was found", *W],
    ["baseline", "freeze", "polish/mass_loss/tenor", "--from", "QH-1021", "--to", "QH-1100", "--who", "IS"]
    + ["--why", "one wheel, one compound", *W],
    ["baseline", "leave-out", "slide/force/all", "--from", "QH-1040", "--to", "QH-1041", "--who", "IS"]
    + ["--why", "the spring balance hung askew", *W],
]
"""How the workshop of `workshop_before.zip` was made, once."""

BEFORE_ASKED = {
    "status": ["status", *W],
    "status-past": ["status", *W, "--as-of", "2026-06-30"],
    "signals": ["signals", "--all", *W],
    "held": ["held", "list", *W],
    "baseline": ["baseline", "list", *W],
    "verify": ["verify", *W],
    "rejudge": ["rejudge", *W],
}
BEFORE_LATER = {
    "later-upload": ["upload", "{sheets}/slide/slide-force_2026-11.csv", "--who", "FN", *W],
    "later-mend": ["held", "mend", "1", "--accept", "--who", "FN", *W],
    "later-status": ["status", *W],
    "later-signals": ["signals", "--all", *W],
    "later-verify": ["verify", *W],
}
"""What it is asked, and what is done to a copy of it afterwards."""
