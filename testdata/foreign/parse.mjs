// Reads an iCalendar file with ical.js and prints its events, sorted by UID.
// Use: node parse.mjs FILE
import { readFileSync } from "node:fs";
import ICAL from "ical.js";

ICAL.design.strict = true;
const calendar = new ICAL.Component(ICAL.parse(readFileSync(process.argv[2], "utf8")));
const date = (value) => {
  if (value.isDate !== true) throw new Error(`${value} is not a DATE`);
  return value.toString();
};
const events = calendar.getAllSubcomponents("vevent").map((e) => ({
  uid: e.getFirstPropertyValue("uid"),
  start: date(e.getFirstPropertyValue("dtstart")),
  end: date(e.getFirstPropertyValue("dtend")),
  summary: e.getFirstPropertyValue("summary"),
  sequence: e.getFirstPropertyValue("sequence"),
  last_modified: e.getFirstPropertyValue("last-modified").toString(),
  description: e.getFirstPropertyValue("description") ?? "",
  properties: e.getAllProperties().length,
  alarms: e.getAllSubcomponents("valarm").length,
}));
events.sort((a, b) => (a.uid < b.uid ? -1 : a.uid > b.uid ? 1 : 0));
process.stdout.write(JSON.stringify(events) + "\n");
