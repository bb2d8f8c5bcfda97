"""Reads a studio's calendar feed with another library and says what is in it.

Needs icalendar (tried with 6.3 and 7.3). Fails when the library cannot read the feed, when an event
lacks what RFC 5545 section 3.6.1 asks for, when it ends before it starts, or when a folded line
is longer than 75 octets.

    read_calendar.py FILE.ics
"""

import sys
from datetime import datetime, timezone

from icalendar import Calendar

REQUIRED = ("UID", "DTSTAMP", "DTSTART", "DTEND", "SUMMARY")


def check(raw):
    for line in raw.split(b"\r\n"):
        assert b"\n" not in line, "a line ends without CR LF"
        assert len(line) <= 75, f"{len(line)} octets in a line"
    calendar = Calendar.from_ical(raw)
    assert calendar["VERSION"] == "2.0" and calendar["PRODID"]
    seen = set()
    events = calendar.walk("VEVENT")
    for event in events:
        assert not event.errors, event.errors
        for name in REQUIRED:
            assert name in event, f"{name} is missing"
        assert event["UID"] not in seen, "a UID twice"
        seen.add(str(event["UID"]))
        start, end = event.decoded("DTSTART"), event.decoded("DTEND")
        assert start < end, "it ends before it starts"
        if isinstance(start, datetime):
            assert start.tzinfo is not None and start.utcoffset() == timezone.utc.utcoffset(None)
    # What is written again is what was read.
    assert len(Calendar.from_ical(calendar.to_ical()).walk("VEVENT")) == len(events)
    return events


def main(path):
    with open(path, "rb") as file:
        events = check(file.read())
    print(len(events), "events")
    for event in events:
        print(event.decoded("DTSTART"), event["SUMMARY"])


if __name__ == "__main__":
    main(sys.argv[1])
