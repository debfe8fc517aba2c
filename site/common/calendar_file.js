// Reminders as a calendar file (iCalendar, RFC 5545), by the ical.js library. What to be reminded of, and when, is the
// engine's: nothing is decided here.

import ICAL from "ical.js";

/**
 * @typedef {object} Reminder
 * @property {string} uid
 * @property {string} start
 * @property {string} summary
 * @property {string[]} description
 * @property {number} alarm_minutes
 */

/** @param {string} text */
// eslint-disable-next-line no-control-regex -- these are what must not get into the file
const clean = (text) => text.replaceAll(/[\u0000-\u0009\u000b-\u001f\u007f]/g, " ");

/**
 * Return the text of a calendar with these reminders.
 * @param {Reminder[]} reminders
 * @param {Date} made
 */
export function textOf(reminders, made) {
  const calendar = new ICAL.Component("vcalendar");
  const fields = { prodid: "-//feedcalc//season book//EN", version: "2.0", calscale: "GREGORIAN", method: "PUBLISH" };
  for (const [name, value] of Object.entries(fields)) calendar.addPropertyWithValue(name, value);
  for (const reminder of reminders) calendar.addSubcomponent(eventOf(reminder, made));
  return `${calendar.toString()}\r\n`;
}

/** @param {Reminder} reminder @param {Date} made */
function eventOf({ uid, start, summary, description, alarm_minutes: minutes }, made) {
  const { Component, Duration, Time } = ICAL;
  const event = new Component("vevent");
  event.addPropertyWithValue("uid", uid);
  event.addPropertyWithValue("dtstamp", Time.fromJSDate(made, true));
  event.addPropertyWithValue("dtstart", start.includes("T") ? Time.fromDateTimeString(start) : Time.fromDateString(start));
  event.addPropertyWithValue("summary", clean(summary));
  event.addPropertyWithValue("description", clean(description.join("\n")));
  event.addPropertyWithValue("transp", "TRANSPARENT");
  const alarm = new Component("valarm");
  alarm.addPropertyWithValue("action", "DISPLAY");
  alarm.addPropertyWithValue("trigger", Duration.fromSeconds(minutes * 60));
  alarm.addPropertyWithValue("description", clean(summary));
  event.addSubcomponent(alarm);
  return event;
}
