"""Writes golden/calendar_dateutil.csv: civil date arithmetic by python-dateutil.

Run from anywhere: python calendar_dateutil.py (needs python-dateutil).
Columns: start, span, plus = start + span, minus = start - span. relativedelta adds
months and years by the calendar and clamps to the month's end, as the contract asks.
"""

import calendar
import csv
import datetime
import pathlib
import random

from dateutil.relativedelta import relativedelta

SEED = 20281231
CASES = 6000
TARGET = pathlib.Path(__file__).parent.parent / "golden" / "calendar_dateutil.csv"
LARGEST = {"day": 1200, "week": 200, "month": 150, "year": 30}


def month_end(rng):
    year, month = rng.randint(1996, 2130), rng.randint(1, 12)
    return datetime.date(year, month, calendar.monthrange(year, month)[1])


def near_month_end(rng):
    return month_end(rng) + datetime.timedelta(days=rng.randint(-3, 3))


def leap_day(rng):
    year = rng.choice([y for y in range(1996, 2130) if calendar.isleap(y)])
    return datetime.date(year, 2, 29)


def about_2100(rng):
    return datetime.date(2100, 2, 28) + datetime.timedelta(days=rng.randint(-400, 400))


def any_day(rng):
    return datetime.date(1996, 1, 1) + datetime.timedelta(days=rng.randint(0, 48000))


STARTS = [month_end, near_month_end, leap_day, about_2100, any_day]
WORKED = [
    ("2024-01-31", 1, "month"), ("2024-01-31", 2, "month"), ("2025-01-31", 1, "month"),
    ("2024-02-29", 1, "year"), ("2024-02-29", 4, "year"), ("2024-02-29", 48, "month"),
    ("2026-08-31", 6, "month"), ("2026-08-31", 12, "month"), ("2025-10-31", 6, "month"),
    ("2096-02-29", 4, "year"), ("2096-02-29", 8, "year"), ("2104-02-29", 4, "year"),
    ("2100-01-31", 1, "month"), ("2100-02-28", 1, "day"), ("2100-03-31", 1, "month"),
]


def row(start, count, unit):
    delta = relativedelta(**{unit + "s": count})
    span = f"{count} {unit}" if count == 1 else f"{count} {unit}s"
    return [start.isoformat(), span, (start + delta).isoformat(), (start - delta).isoformat()]


def rows():
    rng = random.Random(SEED)
    for start, count, unit in WORKED:
        yield row(datetime.date.fromisoformat(start), count, unit)
    for _ in range(CASES):
        unit = rng.choice(["day", "week", "month", "month", "month", "year"])
        small = rng.random() < 0.5
        count = rng.randint(1, 13 if small else LARGEST[unit])
        yield row(rng.choice(STARTS)(rng), count, unit)


if __name__ == "__main__":
    with TARGET.open("w", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["start", "span", "plus", "minus"])
        writer.writerows(rows())
