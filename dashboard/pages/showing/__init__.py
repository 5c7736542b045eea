"""Sheets that wait for their layout: their list on the page of sheets."""

from dashboard.pages.showing.waiting import waiting_card as waiting_card
