"""Answers in words and drawings: batch, season and dry-ash sheets, rendered by templates."""
