"""Writes golden/forecast_scipy.csv: chances of crossing a limit, by scipy.

Run from anywhere: python forecast_scipy.py (needs scipy).
Uses ahead are X ~ nbinom(n = a, p = b / (b + exposure_ahead)); a may be no whole number.
Rows "crossing": probability = P(X >= remaining).
Rows "quantile": quantile = the least k with P(X <= k) >= level.
Exposure of a stretch of days is the sum of each day's month factor over the length of
its month, so that a mean month is 1; "about" says which worked number a row stands for.
"""

import calendar
import csv
import datetime
import pathlib
import random

from scipy.stats import nbinom

SEED = 20261012
TARGET = pathlib.Path(__file__).parent.parent / "golden" / "forecast_scipy.csv"
HEADER = ["row", "a", "b", "exposure_ahead", "remaining", "probability", "level", "quantile", "about"]
FACTORS = [0.70, 0.65, 0.80, 0.95, 1.15, 1.25, 1.50, 1.55, 1.10, 0.90, 0.75, 0.70]
LEVELS = [0.05, 0.1, 0.5, 0.9, 0.95, 0.99]
DAY = datetime.timedelta(days=1)
TOMORROW = datetime.date(2026, 10, 12)

# Prior 8 uses in 1 mean month, then the log: (a, b, months shifted, uses left, dates).
QUARLE = (366, 37.32, 0, 8, ["2026-10-19", "2026-10-27", "2026-10-28", "2026-10-31", "2026-11-04",
                             "2026-11-08", "2026-11-09", "2026-11-25", "2026-11-26"])
QUENNA = (66, 37.34, 6, 31, ["2027-10-11", "2027-11-12", "2027-11-13", "2028-02-17", "2028-02-18",
                             "2028-03-31", "2028-09-04", "2028-09-05"])


def exposure(last, shift):
    total, day = 0.0, TOMORROW
    while day <= last:
        factor = FACTORS[(day.month - 1 + shift) % 12]
        total += factor / calendar.monthrange(day.year, day.month)[1]
        day += DAY
    return round(total, 9)


def crossing(a, b, ahead, remaining, about=""):
    chance = nbinom.sf(remaining - 1, a, b / (b + ahead))
    return ["crossing", a, b, ahead, remaining, f"{chance:.15e}", "", "", about]


def quantile(a, b, ahead, level):
    least = int(nbinom.ppf(level, a, b / (b + ahead)))
    return ["quantile", a, b, ahead, "", "", level, least, ""]


def worked():
    for a, b, shift, left, dates in (QUARLE, QUENNA):
        for text in dates:
            ahead = exposure(datetime.date.fromisoformat(text), shift)
            yield crossing(a, b, ahead, left, f"{left} left by {text}")


def clear_of_a_step(a, b, ahead, level):
    """A level within rounding of a step of the distribution would prove nothing."""
    at = int(nbinom.ppf(level, a, b / (b + ahead)))
    near = [nbinom.cdf(k, a, b / (b + ahead)) for k in (at - 1, at)]
    return all(abs(value - level) > 1e-7 for value in near)


def drawn():
    rng = random.Random(SEED)
    for n in range(120):
        a = rng.choice([8, 10, rng.randint(9, 900), round(rng.uniform(0.4, 60), 3)])
        b = rng.choice([1, 4, round(rng.uniform(0.5, 60), 3)])
        ahead = round(rng.choice([rng.uniform(0.02, 2), rng.uniform(2, 40), rng.uniform(40, 240)]), 6)
        mean = a / b * ahead
        remaining = max(1, round(mean * rng.choice([0.3, 0.7, 0.9, 1, 1.1, 1.4, 2])))
        yield crossing(a, b, ahead, remaining)
        level = LEVELS[n % len(LEVELS)]
        if clear_of_a_step(a, b, ahead, level):
            yield quantile(a, b, ahead, level)


if __name__ == "__main__":
    with TARGET.open("w", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(HEADER)
        writer.writerows(worked())
        writer.writerows(drawn())
