"""Sheets that wait for their layout: their list, and the page on which one is shown."""
