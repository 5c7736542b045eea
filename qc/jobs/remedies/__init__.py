"""Remedies from a file or from the store: what to do to which instrument, tube, tool or booth."""
