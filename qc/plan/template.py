"""The commented plan that a new workshop starts from."""

from __future__ import annotations

from importlib.resources import files


def template_text() -> str:
    """Return the text of the template plan; it loads without faults."""
    return files("qc.plan").joinpath("template.yaml").read_text("utf-8")
