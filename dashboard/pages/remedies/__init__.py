"""Remedies: what to do to which instrument, tube, tool or booth, where the hands are."""
