#!/usr/bin/env python3
"""Compares what local times mean here with Python's zoneinfo: every zone, every change of offset 2025 to 2037.

Test only, one command from the root of the tree:

    python3 tests/bench/zones_agreement.py

It makes its own environment under target/ with the zone data of the version that the example `civil_answers` has, asks
it for local times around every change of offset (a daily rule at the skipped, doubled and neighbouring times: the instant
of that day and of the next), and ends with 1 where one differs. A time that is skipped takes the offset before the gap,
one that happens twice is the first (RFC 5545, 3.3.5), which zoneinfo calls fold 0.
"""

import datetime as dt
import subprocess
import sys

import environment
from environment import ROOT

PINNED = ["tzdata==2025.2"]

environment.enter("zones-agreement", PINNED)

import zoneinfo  # noqa: E402

import tzdata  # noqa: E402

zoneinfo.reset_tzpath(to=[])
MINUTES = [-61, -30, -1, 0, 1, 15, 30, 59, 60, 720]
DAY = dt.timedelta(days=1)
SECOND = dt.timedelta(seconds=1)


def offset(zone, at):
    return at.replace(tzinfo=dt.timezone.utc).astimezone(zone).utcoffset()


def changes(zone):
    """The instants at which the offset changes, found by days and then by halving."""
    at, end = dt.datetime(2025, 1, 1), dt.datetime(2038, 1, 1)
    before = offset(zone, at)
    while at < end:
        after = offset(zone, at + DAY)
        if after != before:
            low, high = at, at + DAY
            while high - low > SECOND:
                middle = low + (high - low) // 2
                if offset(zone, middle) == before:
                    low = middle
                else:
                    high = middle
            yield high.replace(microsecond=0)
        at, before = at + DAY, after


def utc(local, zone):
    """RFC 5545: fold 0 takes the first of two, and for a skipped time the offset before the gap."""
    aware = local.replace(tzinfo=zone, fold=0)
    return (local - aware.utcoffset()).strftime("%Y-%m-%dT%H:%M:%S")


def main():
    questions, expected, seen = [], [], 0
    for name in sorted(zoneinfo.available_timezones()):
        zone = zoneinfo.ZoneInfo(name)
        for change in changes(zone):
            seen += 1
            wall = change - SECOND + offset(zone, change - SECOND) + SECOND
            for minutes in MINUTES:
                for day in (-1, 0, 1):
                    local = wall + dt.timedelta(minutes=minutes) + day * DAY
                    questions.append(f"{name} {local.isoformat()}")
                    expected.append((utc(local, zone), utc(local + DAY, zone)))
    program = ["cargo", "run", "--locked", "--quiet", "-p", "domain", "--example", "civil_answers"]
    said = subprocess.run(program, cwd=ROOT, input="\n".join(questions), capture_output=True, text=True, check=True)
    version, *answers = said.stdout.splitlines()
    assert len(answers) == len(questions), (len(answers), len(questions))
    unknown, wrong = set(), []
    for question, answer, wanted in zip(questions, answers, expected):
        if answer == "unknown":
            unknown.add(question.split(" ")[0])
        elif answer != " ".join(wanted):
            wrong.append(f"{question}: {answer}, zoneinfo {' '.join(wanted)}")
    print(f"zone data {version} here, {tzdata.IANA_VERSION} there; {seen} changes of offset, {len(questions)} local times")
    print(f"{len(wrong)} differ; zones unknown here: {', '.join(sorted(unknown)) or 'none'}")
    print("\n".join(wrong[:20]))
    return 1 if wrong or unknown else 0


sys.exit(main())
