"""Beds, entries and days for tests of records."""

from __future__ import annotations

from feedcalc.book.records import Record, new_record, write_fields


def day(number: int) -> str:
    return f"2026-05-{number:02d}T09:00:00.000Z"


def bed(identity: str = "south", name: str = "South", at: str = day(1), by: str = "phone", **fields: str) -> Record:
    return write_fields(new_record(identity, "bed"), {"name": name, **fields}, at, by)


def entry(identity: str = "e1", **fields: str) -> Record:
    usual = {"bed": "south", "date": "2026-05-01", "what": "dry ash", "amount": "1 cup"}
    return write_fields(new_record(identity, "entry"), usual | fields, day(1), "phone")
