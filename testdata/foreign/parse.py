"""Reads an iCalendar file with icalendar and prints its events, sorted by UID.

Use: python3 parse.py FILE
"""

import datetime
import json
import sys

from icalendar import Calendar


def date(prop):
    if isinstance(prop.dt, datetime.datetime):
        raise ValueError(f"{prop.dt} is not a DATE")
    return prop.dt.isoformat()


def main():
    with open(sys.argv[1], "rb") as f:
        calendar = Calendar.from_ical(f.read())
    if calendar.errors:
        raise ValueError(calendar.errors)
    events = []
    for e in calendar.walk("VEVENT"):
        if e.errors:
            raise ValueError(e.errors)
        events.append({
            "uid": str(e["UID"]),
            "start": date(e["DTSTART"]),
            "end": date(e["DTEND"]),
            "summary": str(e["SUMMARY"]),
            "sequence": int(e["SEQUENCE"]),
            "last_modified": e["LAST-MODIFIED"].dt.strftime("%Y-%m-%dT%H:%M:%SZ"),
            "description": str(e.get("DESCRIPTION", "")),
            "properties": sum(len(v) if isinstance(v, list) else 1 for v in e.values()),
            "alarms": sum(1 for s in e.subcomponents if s.name == "VALARM"),
        })
    events.sort(key=lambda e: e["uid"])
    json.dump(events, sys.stdout, ensure_ascii=False)
    print()


main()
