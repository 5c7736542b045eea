"""The texts of the plan without the name of somebody who left: those the store keeps, and the file."""

from __future__ import annotations

from collections.abc import Collection

from qc.jobs.people.forgetting import name_in, without_name
from qc.jobs.plans import put_plan_file
from qc.jobs.workshop import PLAN, Workshop
from qc.plan import read_plan_text


def erased_plans(workshop: Workshop, code: str, name: str) -> tuple[set[str], dict[int, str]]:
    """Return what a person was ever called, and the texts of the plan without that, by version.

    Whatever any of the versions calls the person is taken out of all of them; a text in which nothing of it
    stands is left out.
    """
    store = workshop.store
    texts = {one.version: store.plan_text(one.version) for one in store.plan_versions()}
    names = {name, *(name_in(text, code) for text in texts.values())} - {""}
    new = {version: without_name(text, code, names) for version, text in texts.items()}
    return names, {version: text for version, text in new.items() if text != texts[version]}


def forget_in_file(workshop: Workshop, code: str, names: Collection[str]) -> None:
    """Take the name out of ``plan.yaml``: written beside it, flushed, then put in its place."""
    file = workshop.folder / PLAN
    text = read_plan_text(file)
    new = without_name(text, code, names)
    if new == text:
        return
    put_plan_file(file, new)
