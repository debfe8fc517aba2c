"""The season book: records of beds and what they received, totals, verdicts and reminders."""
