// Reminders as a calendar file (iCalendar, RFC 5545), by the ical.js library that the build puts before this script.
// What to be reminded of, and when, is the engine's: nothing is decided here.
//
//   feedcalcCalendar.text(reminders, made)   reminders as the engine tells them, `made` a Date

"use strict";

const feedcalcCalendar = (() => {
  const clean = (text) => text.replaceAll(/[\u0000-\u0009\u000b-\u001f\u007f]/g, " ");

  function text(reminders, made) {
    const { Component, Duration, Time } = feedcalcCalendarLibrary;
    const calendar = new Component("vcalendar");
    const fields = { prodid: "-//feedcalc//season book//EN", version: "2.0", calscale: "GREGORIAN", method: "PUBLISH" };
    for (const [name, value] of Object.entries(fields)) calendar.addPropertyWithValue(name, value);
    for (const { uid, start, summary, description, alarm_minutes: minutes } of reminders) {
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
      calendar.addSubcomponent(event);
    }
    return `${calendar.toString()}\r\n`;
  }

  return { text };
})();
