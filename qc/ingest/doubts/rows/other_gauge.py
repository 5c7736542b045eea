"""A gauge of another kind than the figure is read with: a coating gauge on a wall."""

from __future__ import annotations

from qc.ingest.doubts.facts import Doubted, Doubts, Facts
from qc.ingest.frames import INDEX
from qc.ingest.reasons import Finding, Reason


def find_other_gauge(facts: Facts, doubted: Doubts) -> Doubted:
    """Find readings whose gauge is of a class that the plan does not name for the figure."""
    if facts.readings.is_empty():
        return Doubted()
    classes = {gauge.id: gauge.gauge_class for gauge in facts.plan.gauges}
    found = []
    columns = ["stage", "characteristic", "gauge"]
    for (stage, name, gauge), group in facts.readings.group_by(columns, maintain_order=True):
        characteristic = facts.plan.characteristic(str(stage), str(name))
        wanted = characteristic.gauge_class if characteristic else None
        if not wanted or classes.get(str(gauge), wanted) == wanted:
            continue
        # where nobody has such a gauge the plan's word cannot be kept to
        fitting = [one for one, kind in classes.items() if kind == wanted]
        if not fitting:
            continue
        problem = f"{gauge} is a {classes[str(gauge)]}, and {name} is read with a {wanted}"
        mend = f"If {' or '.join(fitting[:3])} was used, accept or type it; else confirm it."
        proposal: dict[str, object] = {"gauge": fitting[0]} if len(fitting) == 1 else {}
        found += [Finding(index, Reason.OTHER_GAUGE, problem, mend, proposal) for index in group[INDEX]]
    return Doubted(found)
