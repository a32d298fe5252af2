"""Quantiles of distributions, of samples, rank correlation and intervals, from numpy and scipy."""

import numpy as np
from common import clean, meta
from scipy import stats

U = [1e-12, 1e-6, 0.001, 0.025, 0.07, 0.1, 0.25, 0.5, 0.75, 0.9, 0.93, 0.975, 0.999, 1 - 1e-6]


def make():
    rng = np.random.default_rng(20260714)
    distributions = {
        "normal 24 1.5": stats.norm(24, 1.5),
        "lognormal 1 0.3": stats.lognorm(0.3, scale=1.0),
        "lognormal 180 0.6931471805599453": stats.lognorm(np.log(2), scale=180),
        "uniform 0.4 0.65": stats.uniform(0.4, 0.25),
        "triangular 1 2 5": stats.triang(0.25, 1, 4),
        "triangular 0 0 1": stats.triang(0, 0, 1),
        "beta 2 2 0 1": stats.beta(2, 2),
        "beta 0.5 3 0 1": stats.beta(0.5, 3),
        "beta 20 5 -1 3": stats.beta(20, 5, -1, 4),
    }
    samples = {
        "ten": [3, 1, 4, 1, 5, 9, 2, 6, 5, 3],
        "one": [2.5],
        "two": [1, 2],
        "skewed": clean(rng.lognormal(0, 1, 59)),
    }
    x = clean(rng.normal(size=40))
    pairs = {
        "noisy": (x, clean(0.6 * np.array(x) + 0.5 * rng.normal(size=40))),
        "ties": ([1, 2, 2, 3, 3, 3, 4, 5], [2, 1, 2, 2, 5, 4, 4, 4]),
        "falling": ([1, 2, 3, 4], [9, 7, 5, 1]),
        "two levels": ([0, 0, 0, 1, 1, 1], [1.0, 2.0, 3.5, 2.5, 4.0, 5.0]),
    }
    counts = [(0, 20), (1, 29), (15, 148), (81, 263), (20, 20), (3, 200), (59, 59)]
    return clean(
        {
            "meta": meta("quantiles, rank correlation, Wilson intervals", ["numpy", "scipy"]),
            "distributions": [
                {"name": n, "u": u, "x": d.ppf(u).tolist()}
                for n, d in distributions.items()
                # The library's own search for the beta quantile gives up far in the tail.
                for u in [[v for v in U if v >= 1e-6 or not n.startswith("beta")]]
            ],
            "quantiles": [
                {"name": n, "sample": s, "q": [0, 0.05, 0.5, 0.95, 1], "x": np.quantile(s, [0, 0.05, 0.5, 0.95, 1]).tolist()}
                for n, s in samples.items()
            ],
            "spearman": [
                {"name": n, "x": a, "y": b, "rho": stats.spearmanr(a, b).statistic} for n, (a, b) in pairs.items()
            ],
            "wilson": [
                {"k": k, "n": n, "low": ci.low, "high": ci.high}
                for k, n in counts
                for ci in [stats.binomtest(k, n).proportion_ci(0.95, method="wilson")]
            ],
        }
    )
