"""Builds the page: one file that opens by double-click, and an installable site."""
