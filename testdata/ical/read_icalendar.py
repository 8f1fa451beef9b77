#!/usr/bin/python3
"""Reads an iCalendar feed with Debian's python3-icalendar and prints what a
client would take from it: one JSON array, an object an event, in file order."""
import json
import sys

import icalendar

cal = icalendar.Calendar.from_ical(open(sys.argv[1], "rb").read())
events = []
for e in cal.walk("VEVENT"):
    text = lambda name: str(e[name]) if name in e else ""
    stamp = lambda name: e[name].dt.strftime("%Y-%m-%dT%H:%M:%SZ")
    events.append({
        "uid": text("UID"),
        "sequence": int(e["SEQUENCE"]),
        "stamp": stamp("DTSTAMP"),
        "modified": stamp("LAST-MODIFIED"),
        "status": text("STATUS"),
        "start": e["DTSTART"].dt.isoformat(),
        "end": e["DTEND"].dt.isoformat(),
        "summary": text("SUMMARY"),
        "location": text("LOCATION"),
        "description": text("DESCRIPTION"),
        "transp": text("TRANSP"),
    })
json.dump({"name": str(cal.get("NAME", "")), "events": events}, sys.stdout)
