"""Figures in, documents out: rooms for the month's report, for answers in words, and for drawings."""
