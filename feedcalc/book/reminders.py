"""Reminders for a calendar (iCalendar, RFC 5545): liquor that is clear or too old, the next feed, the next soil test.

* This module decides what to remind of. The icalendar library writes the file and is loaded only then; where it is not
  installed, as in the page, the caller writes the file from the reminders.
* The same book gives the same UIDs, so a calendar that imports a newer file moves its events instead of doubling them.
* Times float (RFC 5545, 3.3.5: local time wherever the calendar is). No clock is read: ``now`` is an argument.
* A reminder of a step with liquor carries the cautions of that step.
"""

from __future__ import annotations

import json
import uuid
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from feedcalc.book.batches import AnsweredBatches
from feedcalc.book.book_file import book_document
from feedcalc.book.entries import Bed, entry_records
from feedcalc.book.reader import Reader
from feedcalc.book.records import LIQUID, SLUDGE, Record
from feedcalc.book.totals import next_feed_day, retest_day
from feedcalc.book.winter import BedPlan, winter_answer_in_steps
from feedcalc.contract.cautions import cautions_for
from feedcalc.contract.figures import exact_figure, figure_words
from feedcalc.contract.request import Request
from feedcalc.frozen import frozen
from feedcalc.liquor.times import settled_at, use_by
from feedcalc.uncertainty.estimates import run_to_end
from feedcalc.words.errors import InputError, InputErrors
from feedcalc.words.languages import date_words
from feedcalc.words.messages import Speak, said

REMINDER_KINDS = ("settle-ready", "use-by", "next-feed", "soil-retest", "share-ash", "share-feed")
# The time of day at which the reminder of a whole day rings.
MORNING = timedelta(hours=9)
# A longer name is cut, so that it fits on a line of a calendar.
LONGEST_NAME = 80


@frozen
class Reminder:
    """A reminder; ``start`` is a `date` for a whole day, a `datetime` without a zone for a local time."""

    uid: str
    kind: str
    start: date | datetime
    summary: str
    description: tuple[str, ...]

    @property
    def alarm(self) -> timedelta:
        """When the reminder rings, after its start."""
        return timedelta(0) if isinstance(self.start, datetime) else MORNING

    def as_dict(self) -> dict[str, Any]:
        """Return the row of ``values.book.reminders``."""
        return {
            "uid": self.uid,
            "kind": self.kind,
            "start": self.start.isoformat(),
            "summary": self.summary,
            "description": list(self.description),
            "alarm_minutes": round(self.alarm.total_seconds() / 60),
        }


def reminders_of(request: Request, records: Iterable[Record]) -> list[Reminder]:
    """Return the reminders of a book from the request's ``now`` on, sorted by time.

    A request that tells of a winter's ash adds those of its shares. Raises `InputErrors` without ``now``.
    An overdue soil test is due today. Anything else in the past is left out.
    """
    if request.moment is None:
        problem, accepted = said("Reminders need to know what day it is."), said("a time such as 2026-05-01T09:00")
        raise InputErrors([InputError("now", "", problem, accepted)])
    now = request.moment
    records = list(records)
    reader = Reader(AnsweredBatches("off"), request.locale, request.customs)
    book = reader.book(entry_records(records), now.date())
    found = [reminder for bed in book.beds for reminder in _of_bed(bed, now.date())]
    if {"ash.amount", "ash.wood"} & request.readings.keys():
        winter = run_to_end(winter_answer_in_steps(replace(request, carried={"book": book_document(records)})))
        found += [reminder for plan in winter.plans for reminder in _of_share(plan, request)]
    for name, text in _batches(records):
        with suppress(InputError):  # the season book itself reports what cannot be read
            found += [reminder for reminder in batch_reminders(name, text) if _moment(reminder.start) >= now]
    return sorted(
        found, key=lambda reminder: (_moment(reminder.start), REMINDER_KINDS.index(reminder.kind), reminder.uid)
    )


def batch_reminders(name: str, request: str) -> list[Reminder]:
    """Return when the liquor of a batch (its request as JSON) is clear and when it should be used up.

    Empty if the request does not say when the steep began. Raises `InputError` if it is not a batch.
    """
    answer = run_to_end(AnsweredBatches("off").answer(request, ""))
    begun, ready = answer.request.moment, settled_at(answer)
    old = use_by(ready)
    if begun is None or ready is None or old is None:
        return []
    named = _short(name) or said("the batch of {day}", day=date_words(begun))
    key = json.dumps(json.loads(request), sort_keys=True)
    clear = said("Fill a clear glass. If you can't see the bottom, leave it longer.")
    weaker = said("It has taken up carbon dioxide, so it is milder than its label says.")
    return [
        _reminder(
            "settle-ready",
            key,
            start=ready,
            summary=said("The liquor should be clear: {batch}", batch=named),
            description=(clear, *_cautions("liquor", "pouring")),
        ),
        _reminder(
            "use-by",
            key,
            start=old.date(),
            summary=said("Check the pH of the liquor again: {batch}", batch=named),
            description=(weaker, *_cautions("keeping", "storing", "diluting")),
        ),
    ]


def calendar_text(reminders: Iterable[Reminder], now: datetime, speak: Speak = str) -> str:
    """Return the text of an iCalendar file made at ``now``, which counts as UTC if it has no zone.

    Raises `ImportError` if the icalendar library is not installed.
    """
    from icalendar import Alarm, Calendar, Event  # slow to load, and not in the page

    calendar = Calendar()
    calendar.add("prodid", "-//feedcalc//season book//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", "PUBLISH")
    made = now.astimezone(UTC) if now.tzinfo else now.replace(tzinfo=UTC)
    for reminder in reminders:
        event = Event()
        event.add("uid", reminder.uid)
        event.add("dtstamp", made)
        event.add("dtstart", reminder.start)
        event.add("summary", _clean(speak(reminder.summary)))
        event.add("description", "\n".join(_clean(speak(sentence)) for sentence in reminder.description))
        event.add("transp", "TRANSPARENT")
        alarm = Alarm()
        alarm.add("action", "DISPLAY")
        alarm.add("trigger", reminder.alarm)
        alarm.add("description", _clean(speak(reminder.summary)))
        event.add_component(alarm)
        calendar.add_component(event)
    return str(calendar.to_ical().decode("utf-8"))


def _of_bed(bed: Bed, today: date) -> list[Reminder]:
    name, found = _short(bed.name), []
    days = next_feed_day(bed, today)
    if days and days[1] >= today:
        earliest = said("Not before {day}.", day=date_words(days[0]))
        look = said("Look in the season book first: what this bed may still get depends on its soil.")
        summary = said("Feed {bed}, if it needs it", bed=name)
        about = (earliest, look, *_cautions("diluting", "applying"))
        found.append(_reminder("next-feed", bed.id, start=days[1], summary=summary, description=about))
    test, due = bed.test_before(today), retest_day(bed, today)
    if test and due:
        day = date_words(test.day)
        tested = said("It was last tested on {day}. How much it may still get depends on this.", day=day)
        summary = said("Test the soil of {bed}", bed=name)
        found.append(_reminder("soil-retest", bed.id, start=max(due, today), summary=summary, description=(tested,)))
    return found


def _of_share(plan: BedPlan, request: Request) -> list[Reminder]:
    """Return when a bed may get its share of a winter's ash."""
    bed, share, found = _short(plan.bed.name), plan.share, []
    if plan.dry_from:
        ash = figure_words(exact_figure(share.dry + share.sludge, "g"), request.locale, request.own)
        summary = said("Spread at most {ash} of ash or its sludge on {bed}", ash=ash, bed=bed)
        about = tuple(caution.text for caution in cautions_for({"dry"}) if caution.where == "spreading")
        found.append(_reminder("share-ash", plan.bed.id, start=plan.dry_from, summary=summary, description=about))
    if plan.feed_from:
        feed = figure_words(exact_figure(share.feed / plan.feeds, "L"), request.locale, request.own)
        summary = said("Give {bed} at most {feed} of feed, if its plants grow", bed=bed, feed=feed)
        about = tuple(_cautions("diluting", "applying"))
        found.append(_reminder("share-feed", plan.bed.id, start=plan.feed_from, summary=summary, description=about))
    return found


def _batches(records: Iterable[Record]) -> list[tuple[str, str]]:
    """Return the name and request of every batch in the book, each once."""
    found = {
        record.text("request"): record.text("batch")
        for record in records
        if not record.is_removed and record.kind == "entry" and record.text("what").strip() in (LIQUID, SLUDGE)
    }
    return [(name, text) for text, name in sorted(found.items()) if text.strip()]


def _reminder(kind: str, key: str, *, start: date | datetime, summary: str, description: tuple[str, ...]) -> Reminder:
    uid = uuid.uuid5(uuid.NAMESPACE_URL, f"feedcalc:{kind}:{key}")
    return Reminder(uid=str(uid), kind=kind, start=start, summary=summary, description=description)


def _cautions(*steps: str) -> list[str]:
    """Return the cautions of these steps, with those for corrosive liquor because the bottle is not known."""
    return [caution.text for caution in cautions_for({"corrosive"}) if caution.where in steps]


def _moment(start: date | datetime) -> datetime:
    """Return the moment until which a reminder is not over; a whole day lasts until its end."""
    return start if isinstance(start, datetime) else datetime.combine(start, time.max)


def _short(name: str) -> str:
    name = " ".join(name.split())
    return name if len(name) <= LONGEST_NAME else name[: LONGEST_NAME - 1] + "…"


def _clean(text: str) -> str:
    """Return the text without control characters, which RFC 5545 does not allow."""
    return "".join(character if character.isprintable() else " " for character in text)
