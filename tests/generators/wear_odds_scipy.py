"""Writes golden/wear_odds_scipy.csv: by when a reading is beyond its limit, by numpy and scipy.

Run from anywhere: python wear_odds_scipy.py (needs numpy and scipy).
Columns "used" and "readings" hold the points, parted by blanks; "way" is least for shrinking readings, most for growing.
Rows "reading": the chance that one more reading at the use "now" is beyond the limit: scipy.stats.t with n - 2 degrees
of freedom at the distance over sd x sqrt(1 + 1/n + (now - mean)^2 / spread); readings scatter no less than 0.01 / sqrt(12).
Rows "chance": that chance by the end of "day", "now" being the use at the end of "as_of": the sum over every count k of
scipy.stats.nbinom.pmf(k) x the highest chance up to the use now + k. The host has "uses" in "months" mean months of log,
with the sum "squares" of its months' squared exposures, the prior is 8 uses in 1 mean month, months stray by the variance
"stray", and the season is the domain's, January first.
Rows "dates": the first days after as_of by which that chance is 10, 50 and 90 %, looked for day by day; "-" for none in
7,305 days.
"""

import csv
import datetime
import pathlib

import numpy as np
from scipy.stats import nbinom, t

SEED = 20261013
TARGET = pathlib.Path(__file__).parent.parent / "golden" / "wear_odds_scipy.csv"
HEADER = ["row", "used", "readings", "limit", "way", "now", "uses", "months", "squares", "stray", "as_of", "day", "result"]
SEASON = [0.70, 0.65, 0.80, 0.95, 1.15, 1.25, 1.50, 1.55, 1.10, 0.90, 0.75, 0.70]
HORIZON = 7305
PRIOR = 8.0, 1.0
CHAIN = [0, 63, 121, 188, 240], [12.95, 12.71, 12.49, 12.21, 11.98], 11.70, "least"
WIRE = [0, 110, 215, 330], [22.60, 22.31, 22.02, 21.74], 20.95, "least"


def beyond(used, readings, limit, way, at):
    """The chance that one more reading at each use of `at` is beyond the limit."""
    used, readings, at = np.array(used, float), np.array(readings, float), np.asarray(at, float)
    slope, intercept = np.polyfit(used, readings, 1)
    n, mean = len(used), used.mean()
    residuals = readings - (intercept + slope * used)
    sd = max(np.sqrt((residuals**2).sum() / (n - 2)), 0.01 / np.sqrt(12))
    width = sd * np.sqrt(1 + 1 / n + (at - mean) ** 2 / ((used - mean) ** 2).sum())
    sign = -1 if way == "least" else 1
    return t.cdf(sign * (intercept + slope * at - limit) / width, n - 2)


def days_in(month):
    following = (month.replace(day=28) + datetime.timedelta(days=4)).replace(day=1)
    return (following - datetime.timedelta(days=1)).day


def ahead(as_of, days):
    """Exposure up to the end of each day ahead, and the sum of its months' squares."""
    exposures, squares, whole, before, own = [], [], 0.0, 0.0, 0.0
    day = as_of
    for _ in range(days):
        day += datetime.timedelta(days=1)
        if day.day == 1:
            whole, before, own = whole + own, before + own * own, 0.0
        own += SEASON[day.month - 1] / days_in(day)
        exposures.append(whole + own)
        squares.append(before + own * own)
    return np.array(exposures), np.array(squares)


def uses_law(uses, months, squares, stray, f, f2):
    widening = 1 + stray * (PRIOR[0] + uses) / (PRIOR[1] + months) * (squares / months if months else 0)
    a, b = (PRIOR[0] + uses) / widening, (PRIOR[1] + months) / widening
    r = 1 / (1 / a + stray * f2 / f**2)
    return r, r / (r + a / b * f)


def chance(highest, law):
    r, p = law
    counts = np.arange(min(int(nbinom.ppf(1 - 1e-13, r, p)) + 1, len(highest)))
    mass = nbinom.pmf(counts, r, p)
    return float((mass * highest[counts]).sum() + (1 - mass.sum()) * highest[-1])


def dates(highest, host, as_of):
    f, f2 = ahead(as_of, HORIZON)
    found = []
    for level in (0.1, 0.5, 0.9):
        low, high = 0, HORIZON
        while low < high:
            middle = (low + high) // 2
            if chance(highest, uses_law(*host, f[middle], f2[middle])) < level:
                low = middle + 1
            else:
                high = middle
        found.append("-" if low == HORIZON else str(as_of + datetime.timedelta(days=low + 1)))
    return " ".join(found)


def words(values):
    return " ".join(f"{value:.6f}".rstrip("0").rstrip(".") for value in values)


def rows_of(used, readings, limit, way, now, host, as_of, days, dated=True):
    points = [words(used), words(readings), f"{limit:g}", way]
    for at in (now, now + 20, now + 60, 2 * now + 200):
        yield ["reading", *points, at, "", "", "", "", "", "", f"{beyond(used, readings, limit, way, at):.15e}"]
    highest = np.maximum.accumulate(beyond(used, readings, limit, way, now + np.arange(9000)))
    told = [f"{value:g}" for value in host]
    f, f2 = ahead(as_of, max(days))
    for day in days:
        result = chance(highest, uses_law(*host, f[day - 1], f2[day - 1]))
        on = as_of + datetime.timedelta(days=day)
        yield ["chance", *points, now, *told, as_of, on, f"{result:.15e}"]
    if dated:
        yield ["dates", *points, now, *told, as_of, "", dates(highest, host, as_of)]


def drawn(rng):
    for _ in range(24):
        n = int(rng.integers(3, 9))
        used = np.sort(rng.choice(300, size=n, replace=False)).astype(float)
        way = "least" if rng.random() < 0.6 else "most"
        sign = -1 if way == "least" else 1
        start, rate = round(rng.uniform(10, 25), 2), sign * rng.uniform(0.002, 0.006)
        readings = np.round(start + rate * used + rng.normal(0, 0.015, size=n), 2)
        now = int(used[-1] + rng.integers(0, 10))
        limit = round(start + rate * (now + rng.uniform(8, 120)), 2)
        months = round(float(rng.uniform(2, 40)), 2)
        uses = int(rng.poisson(rng.gamma(8) * months))
        stray = float(rng.choice([0.0, 0.0, 0.1, 0.3]))
        as_of = datetime.date(2026, 1, 1) + datetime.timedelta(days=int(rng.integers(0, 365)))
        host = (uses, months, round(months * 1.08, 2), stray)
        yield from rows_of(used, readings, limit, way, now, host, as_of, [10, 90, 400])


def main():
    with open(TARGET, "w", newline="") as file:
        out = csv.writer(file, lineterminator="\n")
        out.writerow(HEADER)
        day = datetime.date(2026, 10, 11)
        # The domain's chain: 175 uses in 37.32 mean months with the prior, 4.69 a mean month.
        out.writerows(rows_of(*CHAIN, 240, (167, 36.32, 40.0, 0.0), day, [30, 200, 327, 400, 500, 700]))
        out.writerows(rows_of(*CHAIN, 243, (3, 2.0, 2.1, 0.3), day, [30, 200, 400]))
        out.writerows(rows_of(*WIRE, 330, (358, 36.32, 40.0, 0.0), day, [200, 600, 1200]))
        # Three readings all but on a line, and far uses.
        line = [0.0, 50.0, 100.0], [10.0, 9.9, 9.8], 8.5, "least"
        out.writerows(rows_of(*line, 100, (1200, 36.32, 40.0, 0.0), day, [100, 600, 900]))
        out.writerows(drawn(np.random.default_rng(SEED)))


if __name__ == "__main__":
    main()
