"""Reminders of a season book, and their file for a calendar (RFC 5545)."""

from __future__ import annotations

import json
from datetime import date, datetime, timedelta
from importlib import resources

import icalendar
import pytest

from feedcalc.book.book_file import read_book
from feedcalc.book.records import Record, new_record, remove_record, write_fields
from feedcalc.book.reminders import Reminder, batch_reminders, calendar_text, reminders_of
from feedcalc.contract.request import Request, read_request
from feedcalc.words.errors import InputError, InputErrors

AT = "2026-05-01T09:00:00.000Z"
NOW = datetime(2026, 5, 10, 9)
DEMO = (resources.files("feedcalc.contract") / "demo.json").read_text(encoding="utf-8")


def asked(now: str | None = "2026-05-10T09:00") -> Request:
    return read_request(json.dumps({"schema": 1, "ask": "book", **({"now": now} if now else {})}))


def record(identity: str, kind: str, **fields: str) -> Record:
    return write_fields(new_record(identity, kind), fields, AT, "phone")


def feed(day: str, **fields: str) -> Record:
    usual = {"bed": "south", "date": day, "what": "liquid feed", "amount": "9 L", "request": DEMO, "batch": "Oak"}
    return record(f"feed-{day}", "entry", **usual | fields)


def soil_test(day: str) -> Record:
    return record(f"test-{day}", "soil test", bed="south", date=day, ph="6.2", tested_with="laboratory")


SOUTH = record("south", "bed", name="South", area="6 m^2", texture="loam")


def by_kind(*records: Record, now: str = "2026-05-10T09:00") -> dict[str, Reminder]:
    return {reminder.kind: reminder for reminder in reminders_of(asked(now), [SOUTH, *records])}


def test_the_next_feed_is_due_at_the_usual_interval_and_names_the_earliest_day():
    found = by_kind(feed("2026-05-08"))["next-feed"]
    assert isinstance(found.start, date)
    assert found.start > date(2026, 5, 10)
    assert found.description[0].endswith(" May 2026.")
    assert "South" in found.summary


def test_a_feed_that_was_due_long_ago_has_no_reminder():
    assert "next-feed" not in by_kind(feed("2025-05-08"))


def test_a_soil_test_is_due_years_after_the_last_and_at_once_when_overdue():
    assert by_kind(soil_test("2026-03-01"))["soil-retest"].start > date(2028, 1, 1)
    assert by_kind(soil_test("2016-03-01"))["soil-retest"].start == NOW.date()
    assert "soil-retest" not in by_kind()


def test_liquor_is_clear_at_a_local_time_and_old_on_a_day():
    begun = json.dumps(json.loads(DEMO) | {"now": "2026-05-10T07:00", "steep": {"time": "24 h"}})
    found = by_kind(feed("2026-05-10", request=begun))
    ready = found["settle-ready"].start
    assert isinstance(ready, datetime)
    assert ready.tzinfo is None
    assert datetime(2026, 5, 10, 7) < ready < datetime(2026, 5, 12)
    # Steeped for a day, then kept for ten in a closed vessel (feed_practice.csv, keeping_time).
    assert found["use-by"].start == date(2026, 5, 11) + timedelta(days=10)


def test_past_reminders_are_left_out_and_those_of_today_are_kept():
    begun = json.dumps(json.loads(DEMO) | {"now": "2026-04-29T07:00"})
    found = by_kind(feed("2026-05-08", request=begun))
    assert "settle-ready" not in found
    assert found["use-by"].start == NOW.date()


def test_one_batch_in_two_entries_has_one_reminder():
    begun = json.dumps(json.loads(DEMO) | {"now": "2026-05-09T07:00"})
    twice = [SOUTH, feed("2026-05-09", request=begun), feed("2026-05-10", request=begun)]
    kinds = [reminder.kind for reminder in reminders_of(asked(), twice)]
    assert kinds.count("use-by") == 1


def test_removed_entries_and_unreadable_batches_have_no_reminders():
    begun = json.dumps(json.loads(DEMO) | {"now": "2026-05-09T07:00"})
    gone = remove_record(feed("2026-05-09", request=begun), "2026-05-10T00:00:00.000Z", "phone")
    assert by_kind(gone) == {}
    assert "use-by" not in by_kind(feed("2026-05-09", request="{"))


def test_reminders_of_steps_with_liquor_carry_their_cautions():
    begun = json.dumps(json.loads(DEMO) | {"now": "2026-05-10T07:00"})
    found = by_kind(feed("2026-05-10", request=begun))
    assert any("Goggles" in sentence for sentence in found["settle-ready"].description)
    assert any("food or drink bottle" in sentence for sentence in found["use-by"].description)
    assert any("alkaline" in sentence for sentence in found["next-feed"].description)


def test_reminders_without_a_day_are_refused():
    with pytest.raises(InputErrors) as refusal:
        reminders_of(asked(None), [SOUTH])
    assert refusal.value.errors[0].field == "now"


def test_reminders_of_a_request_that_is_not_a_batch_are_refused():
    with pytest.raises(InputError):
        batch_reminders("x", "[]")
    assert (
        batch_reminders("x", json.dumps({"schema": 1, "ash": {"amount": "1 us_cup"}, "water": {"amount": "5 L"}})) == []
    )


# -- the file -------------------------------------------------------------------------------------------------


def demo_reminders(now: str = "2026-05-10T09:00") -> list[Reminder]:
    text = (resources.files("feedcalc.book") / "demo_book.json").read_text(encoding="utf-8")
    return [*reminders_of(asked(now), read_book(text)[0]), *batch_reminders("Oak", DEMO)]


def events(text: str) -> list[icalendar.Event]:
    return list(icalendar.Calendar.from_ical(text).walk("VEVENT"))


def unfolded(text: str) -> list[str]:
    return text.replace("\r\n ", "").split("\r\n")


def test_the_file_reads_back_as_the_reminders():
    reminders = demo_reminders()
    read = events(calendar_text(reminders, NOW))
    assert {reminder.kind for reminder in reminders} >= {"settle-ready", "use-by", "soil-retest"}
    assert [str(event["uid"]) for event in read] == [reminder.uid for reminder in reminders]
    assert [event["dtstart"].dt for event in read] == [reminder.start for reminder in reminders]
    assert [str(event["summary"]) for event in read] == [reminder.summary for reminder in reminders]
    assert [str(event["description"]).split("\n") for event in read] == [list(r.description) for r in reminders]


def test_the_file_follows_rfc_5545():
    text = calendar_text(demo_reminders(), NOW)
    # 3.1: lines end in CRLF and are at most 75 octets long without it.
    assert text.endswith("END:VCALENDAR\r\n")
    assert "\n" not in text.replace("\r\n", "")
    assert all(len(line.encode("utf-8")) <= 75 for line in text.split("\r\n"))
    lines = unfolded(text)
    # 3.6: PRODID and VERSION once; 3.6.1: UID and DTSTAMP in every event, DTSTART where there is a METHOD; UTC stamps.
    assert lines[0] == "BEGIN:VCALENDAR"
    assert lines.count("VERSION:2.0") == sum(line.startswith("PRODID:") for line in lines) == 1
    count = lines.count("BEGIN:VEVENT")
    for name in ("UID:", "DTSTART", "SUMMARY:"):
        assert sum(line.startswith(name) for line in lines) == count
    assert lines.count("DTSTAMP:20260510T090000Z") == count
    # 3.6.6: an alarm that displays has ACTION, DESCRIPTION and TRIGGER.
    for name in ("ACTION:DISPLAY", "TRIGGER:P0D", "TRIGGER:PT9H"):
        assert name in lines
    assert sum(line.startswith("TRIGGER") for line in lines) == lines.count("BEGIN:VALARM") == count


def test_times_float_and_days_are_dates():
    starts = [line for line in unfolded(calendar_text(demo_reminders(), NOW)) if line.startswith("DTSTART")]
    assert any(line.startswith("DTSTART;VALUE=DATE:20") for line in starts)
    floating = [line for line in starts if "VALUE=DATE" not in line]
    assert floating
    assert all("TZID" not in line and not line.endswith("Z") for line in floating)


def test_the_same_book_gives_the_same_uids_on_another_day():
    first, later = demo_reminders(), demo_reminders("2026-05-11T18:30")
    assert {reminder.uid for reminder in later} == {reminder.uid for reminder in first}
    assert len({reminder.uid for reminder in first}) == len(first)
    assert calendar_text(first, NOW) == calendar_text(demo_reminders(), NOW)


@pytest.mark.parametrize(
    "name",
    ["Süd-Beet, “links”; unten\\oben", "बगीचा 🌱" * 9, "x" * 200, "two\r\nBEGIN:VEVENT\nlines", "bell\x07\x00", " "],
)
def test_any_name_is_written_and_comes_back_on_one_line(name):
    bed = record("south", "bed", name=name, area="6 m^2")
    reminders = reminders_of(asked(), [bed, soil_test("2026-03-01")])
    text = calendar_text(reminders, NOW)
    (event,) = events(text)
    shown = str(event["summary"])
    assert shown == "".join(character if character.isprintable() else " " for character in reminders[0].summary)
    assert len(shown) < 120
    assert all(len(line.encode("utf-8")) <= 75 for line in text.split("\r\n"))
    assert unfolded(text).count("BEGIN:VEVENT") == 1


def test_no_reminders_give_a_calendar_without_events():
    assert events(calendar_text([], NOW)) == []


def test_the_file_is_in_the_requested_language():
    text = calendar_text(demo_reminders(), NOW, lambda sentence: f"¡{sentence}!")
    (event, *_) = events(text)
    assert str(event["summary"]).startswith("¡")
    assert all(line.startswith("¡") for line in str(event["description"]).split("\n"))
