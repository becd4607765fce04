"""Demand for spares, by numpy and scipy: writes tests/golden/stores/demand_scipy.csv.

Chances that items are renewed are convolved one by one with numpy; random discards are scipy's Poisson, or its negative
binomial where their rate is known as a gamma of a shape. Run from the repository: python tests/generators/stores_scipy.py
(numpy and scipy from PyPI). poisson_spares.csv beside it comes from scipy.stats.poisson in the same way.
"""

import numpy as np
from scipy import stats

rng = np.random.default_rng(20261012)
LEVELS = (0.80, 0.90, 0.95, 0.99)


def demand(chances, mean, shape):
    pmf = np.array([1.0])
    for chance in chances:
        pmf = np.convolve(pmf, [1 - chance, chance])
    counts = np.arange(400)
    if mean == 0:
        random = np.array([1.0])
    elif np.isinf(shape):
        random = stats.poisson.pmf(counts, mean)
    else:
        random = stats.nbinom.pmf(counts, shape, shape / (shape + mean))
    return np.convolve(pmf, random)


with open("tests/golden/stores/demand_scipy.csv", "w", encoding="ascii") as out:
    heads = ",".join(f"s{level:.2f},p{level:.2f}" for level in LEVELS)
    out.write(f"chances,discards,shape,mean,{heads}\n")
    written = 0
    while written < 300:
        n = int(rng.integers(0, 40))
        chances = [round(float(c), 4) for c in rng.beta(0.3, 1.2, n)]
        mean = round(float(rng.choice([0.0, 0.25, 1.0, 3.0, 12.0]) * rng.uniform(0.5, 2)), 4)
        shape = float("inf") if rng.random() < 0.3 else round(float(rng.uniform(0.3, 12)), 3)
        pmf = demand(chances, mean, shape)
        total = np.cumsum(pmf)
        enough = [int(np.searchsorted(total, level)) for level in LEVELS]
        if any(abs(total[s] - level) < 1e-7 for s, level in zip(enough, LEVELS)) or total[-1] < 1 - 1e-9:
            continue
        cells = ",".join(f"{s},{total[s]:.10f}" for s in enough)
        mean_all = float((pmf * np.arange(len(pmf))).sum())
        out.write(f"{' '.join(map(str, chances))},{mean},{shape},{mean_all:.8f},{cells}\n")
        written += 1
