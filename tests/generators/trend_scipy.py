"""Writes golden/trend_scipy.csv: lines through readings, their prediction bounds and crossings, by numpy and scipy.

Run from anywhere: python trend_scipy.py (needs numpy and scipy).
Columns "used" and "readings" hold the points, parted by blanks; "level" is one-sided.
Rows "line": slope, intercept and residual standard deviation (scipy.stats.linregress and the residuals).
Rows "margin": "result" = t(level; n - 2) x sd x sqrt(1 + 1/n + (at - mean)^2 / spread).
Rows "crossing": "result" = the use at which the one-sided bound meets the limit, by scipy.optimize.brentq, at or after
the last reading; "limit" is least for shrinking readings, most for growing ones.
Norris: the data of the NIST StRD linear regression set; the rest are worked readings and drawn ones, fixed seed.
"""

import csv
import pathlib

import numpy as np
from scipy.optimize import brentq
from scipy.stats import linregress, t

SEED = 20261012
HERE = pathlib.Path(__file__).parent
TARGET = HERE.parent / "golden" / "trend_scipy.csv"
NORRIS = HERE.parent / "golden" / "nist_norris.csv"
HEADER = ["row", "used", "readings", "slope", "intercept", "residual_sd", "at", "level", "limit", "way", "result"]


def fitted(used, readings):
    line = linregress(used, readings)
    residuals = readings - (line.intercept + line.slope * used)
    return line.slope, line.intercept, np.sqrt((residuals**2).sum() / (len(used) - 2))


def margin(used, readings, at, level):
    sd, n, mean = fitted(used, readings)[2], len(used), used.mean()
    spread = ((used - mean) ** 2).sum()
    return t.ppf(level, n - 2) * sd * np.sqrt(1 + 1 / n + (at - mean) ** 2 / spread)


def crossing(used, readings, limit, way):
    slope, intercept, _ = fitted(used, readings)

    def short(at):
        return way * (limit - (intercept + slope * at)) - margin(used, readings, at, 0.95)

    last, line = used.max(), (limit - intercept) / slope
    return last if short(last) <= 0 else brentq(short, last, max(line, last) + 1, xtol=1e-10, rtol=1e-14)


def words(values):
    return " ".join(f"{value:.6f}".rstrip("0").rstrip(".") for value in values)


def rows_of(used, readings, levels, ats, limit=None, way=None):
    used, readings = np.array(used), np.array(readings)
    points = [words(used), words(readings)]
    slope, intercept, sd = (f"{value:.15e}" for value in fitted(used, readings))
    yield ["line", *points, slope, intercept, sd, "", "", "", "", ""]
    for at in ats:
        for level in levels:
            yield ["margin", *points, "", "", "", at, level, "", "", f"{margin(used, readings, at, level):.15e}"]
    if limit is not None:
        kind = "least" if way < 0 else "most"
        yield ["crossing", *points, "", "", "", "", "", limit, kind, f"{crossing(used, readings, limit, way):.12e}"]


def drawn(rng):
    for _ in range(30):
        n = int(rng.integers(3, 13))
        used = np.sort(rng.choice(400, size=n, replace=False)).astype(float)
        way = -1 if rng.random() < 0.6 else 1
        start, rate = round(rng.uniform(10, 25), 2), way * rng.uniform(0.002, 0.006)
        readings = np.round(start + rate * used + rng.normal(0, 0.02, size=n), 2)
        limit = round(start + way * 0.1 * start, 2)
        yield from rows_of(used, readings, [0.9, 0.95, 0.975], [float(used[-1]), 500.0], limit, way)


def main():
    with open(NORRIS, newline="") as file:
        pairs = [(float(row["x"]), float(row["y"])) for row in csv.DictReader(file)]
    with open(TARGET, "w", newline="") as file:
        out = csv.writer(file, lineterminator="\n")
        out.writerow(HEADER)
        out.writerows(rows_of(*zip(*pairs), [0.95, 0.975], [100.0, 500.0, 1000.0, 1200.0]))
        chain = [0.0, 63.0, 121.0, 188.0, 240.0], [12.95, 12.71, 12.49, 12.21, 11.98]
        out.writerows(rows_of(*chain, [0.95], [300.0, 301.0], 11.70, -1))
        wire = [0.0, 110.0, 215.0, 330.0], [22.60, 22.31, 22.02, 21.74]
        out.writerows(rows_of(*wire, [0.95], [628.0], 20.95, -1))
        out.writerows(drawn(np.random.default_rng(SEED)))


if __name__ == "__main__":
    main()
