"""Writes golden/odds_scipy.csv: what a drawn fleet teaches, and chances where months stray, by numpy and scipy.

Run from anywhere: python odds_scipy.py (needs numpy and scipy).
Rows "count": uses of a host in a month since January 2024; every month of a host is whole.
Rows "season", "learnt", "spread", "prior": what is learnt of them (domain brief 4.7): month factors held to the
shipped ones by 25 uses a month, the spread held to 0.3 by a weight of 2 / 0.3^2, the prior of the hosts by Paule and
Mandel's variance between them, whose relative size is averaged with the service's 1 / 8 for four hosts.
Rows "group": the prior of the first five hosts as a station group: the relative size of the variance between them is
averaged with 1 / uses of the whole prior for four hosts, and their mean with the whole prior's, each for the uses it
is known from.
Rows "crossing": probability that at least `remaining` uses fall ahead: X ~ nbinom with mean a / b x months and
n = 1 / (1 / a + spread x squares / months^2), where a = (a0 + uses) / phi, b = (b0 + log) / phi and
phi = 1 + spread x (a0 + uses) / (b0 + log) x log squares / log.
"""

import csv
import pathlib

import numpy as np
from scipy.optimize import brentq
from scipy.stats import nbinom

SEED = 20261012
TARGET = pathlib.Path(__file__).parent.parent / "golden" / "odds_scipy.csv"
SHIPPED = np.array([0.70, 0.65, 0.80, 0.95, 1.15, 1.25, 1.50, 1.55, 1.10, 0.90, 0.75, 0.70])
HOSTS, MONTHS = 8, 27
GROUP = 5
BELIEVED, BELIEVED_WEIGHT = 0.3, 2 / 0.3**2
MONTH = np.arange(MONTHS) % 12


def drawn(rng):
    season = SHIPPED * np.exp(0.2 * rng.normal(size=12))
    season /= season.mean()
    rates = rng.gamma(3, 2, size=HOSTS)
    shocks = rng.gamma(4, 1 / 4, size=(HOSTS, MONTHS))
    return rng.poisson(rates[:, None] * season[MONTH] * shocks)


def season_of(counts, spread):
    months, learnt = SHIPPED, 0.0
    onto = np.eye(12)[MONTH]                      # which month of the year each month is
    for _ in range(6):
        rates = counts.sum(axis=1) / months[MONTH].sum()
        times = onto.sum(axis=0)
        expected = rates.sum() * times
        phi = 1 + spread * months * (rates**2).sum() / rates.sum()
        own, borrowed = expected / phi, 25 / SHIPPED
        found = (25 + counts.sum(axis=0) @ onto / phi) / (own + borrowed)
        months, learnt = found / found.mean(), (own / (own + borrowed)).mean()
    return months, learnt


def spread_of(counts, months):
    mean = counts.sum(axis=1)[:, None] / months[MONTH].sum() * months[MONTH]
    share = months[MONTH] / months[MONTH].sum()
    # What squares about a fitted mean are expected to be, for variances V: sum V (1 - 2 p) + sum p^2 sum V.
    expect = lambda v: (v * (1 - 2 * share)).sum(axis=1) + (share**2).sum() * v.sum(axis=1)
    squares, chance, slope = ((counts - mean) ** 2).sum(axis=1), expect(mean), expect(mean**2)
    lump = (mean**2).sum(axis=1) / mean.sum(axis=1)
    solve = lambda w: max(0.0, ((w * (squares - chance)).sum() + BELIEVED_WEIGHT * BELIEVED) / ((w * slope).sum() + BELIEVED_WEIGHT))
    even = solve(np.ones(HOSTS))
    return solve((1 + even * lump) ** -2.0)


def chance_of(mean, months, spread):
    exposure = months[MONTH].sum()
    return mean * (1 + spread * mean * (months[MONTH] ** 2).sum() / exposure) / exposure


def relative_of(counts, months, spread, fallback):
    hosts, rates = len(counts), counts.sum(axis=1) / months[MONTH].sum()
    within = chance_of((counts.sum() + 0.5) / (hosts * months[MONTH].sum()), months, spread)
    # Every host has the same months here, so that the weighed squares are plain ones over one variance.
    between = brentq(lambda t: ((rates - rates.mean()) ** 2).sum() / (within + t) - (hosts - 1), 0, 1e3, xtol=1e-14)
    return (4 / fallback + (hosts - 1) * between / rates.mean() ** 2) / (4 + hosts - 1), rates.mean()


def prior_of(counts, months, spread):
    relative, mean = relative_of(counts, months, spread, 8)
    uses = 1 / (relative * (1 + 1 / len(counts)))
    return uses, uses / mean


def group_of(counts, months, spread, uses, mean_months):
    relative, mean = relative_of(counts, months, spread, uses)
    # Relative variance of the group's mean, were nothing known of the kind.
    own = (relative + chance_of(mean, months, spread) / mean**2) / len(counts)
    centre = (uses + 1 / own) / (mean_months + 1 / (own * mean))
    worth = 1 / (relative + 1 / (uses + 1 / own))
    return worth, worth / centre


def learnt(counts):
    months, _ = season_of(counts, 0.0)
    months, share = season_of(counts, spread_of(counts, months))
    spread = spread_of(counts, months)
    yield from (["season", index, "", f"{factor:.12f}"] for index, factor in enumerate(months))
    yield ["learnt", "", "", f"{share:.12f}"]
    yield ["spread", "", "", f"{spread + (1 - share) / 25:.12f}"]
    uses, mean_months = prior_of(counts, months, spread)
    yield ["prior", "uses", "", f"{uses:.12f}"]
    yield ["prior", "months", "", f"{mean_months:.12f}"]
    uses, mean_months = group_of(counts[:GROUP], months, spread, uses, mean_months)
    yield ["group", "uses", "", f"{uses:.12f}"]
    yield ["group", "months", "", f"{mean_months:.12f}"]


def crossings(rng):
    for _ in range(60):
        a0, b0, spread = rng.uniform(1, 12), rng.uniform(0.3, 6), rng.choice([0.0, 0.05, 0.3, 0.8])
        log, uses = rng.uniform(1, 60), float(rng.integers(0, 400))
        log_squares, months = log * rng.uniform(0.9, 1.4), rng.uniform(0.05, 40)
        squares = months**2 * rng.uniform(0.05, 1)
        rate = (a0 + uses) / (b0 + log)
        phi = 1 + spread * rate * log_squares / log
        size = 1 / (phi / (a0 + uses) + spread * squares / months**2)
        remaining = max(1, round(rate * months * rng.choice([0.4, 0.8, 1.0, 1.3])))
        chance = nbinom.sf(remaining - 1, size, size / (size + rate * months))
        facts = [a0, b0, spread, log, uses, log_squares, months, squares]
        yield ["crossing", " ".join(map(repr, map(float, facts))), remaining, f"{chance:.15e}"]


if __name__ == "__main__":
    rng = np.random.default_rng(SEED)
    counts = drawn(rng)
    with TARGET.open("w", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["row", "what", "which", "value"])
        writer.writerows(["count", host, month, counts[host, month]] for host in range(HOSTS) for month in range(MONTHS))
        writer.writerows(learnt(counts))
        writer.writerows(crossings(rng))
