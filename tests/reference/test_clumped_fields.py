"""Tests of the reference of clumped counts itself, against distributions of scipy that it does not use.

Run: python test_clumped_fields.py.
"""

import math

import numpy as np
from scipy import stats
from statsmodels.discrete.discrete_model import NegativeBinomial

import clumped_fields

PHI, INFORMATION, SITES, UNITS = 0.55, 93.0, 4, 20
K = SITES / PHI


def left(total):
    """What is left beyond an end of the 95% range."""
    return stats.norm.sf(clumped_fields.student(PHI, INFORMATION, SITES, total).ppf(0.975))


def count_at(mean):
    """The total of a field with this mean."""
    return stats.nbinom(K, K / (K + UNITS * mean))


# Where nothing was found, the chance of finding nothing at the upper end is all that is left.
_, high = clumped_fields.ends(PHI, INFORMATION, SITES, UNITS, 0.0)
assert math.isclose(count_at(high).pmf(0), 2 * left(0.0), rel_tol=1e-12)

# 64 eggs: the upper end is between the exact ends of one egg less and of all, and so is the lower one.
low, high = clumped_fields.ends(PHI, INFORMATION, SITES, UNITS, 64 / UNITS)
assert count_at(high).cdf(63) < left(64.0) < count_at(high).cdf(64)
assert count_at(low).sf(64) < left(64.0) < count_at(low).sf(63)

# Fields that are all as clumped as is assumed leave it there.
sites, mean, assumed = 5, 12.0, clumped_fields.ASSUMED_PHI
expected = mean * sites * (1 + assumed * mean) / (sites + assumed)
found, information, given = clumped_fields.season([(sites, 25, mean / 5, expected / 25)] * 9)
assert math.isclose(found, assumed, rel_tol=1e-9) and given and information > 9
assert clumped_fields.season([])[2] is False

# A field is not called where its threshold is its mean, and is called far from it; more sites settle what is near.


def fields(mean, threshold, number):
    one = {
        "season": 2026, "protocol": "eggs", "in_window": True, "after_treatment": False, "sites": 5, "units": 25, "mean": mean,
        "variance": expected / 25, "threshold": threshold,
    }
    return clumped_fields.figures([one] * number)[0]


assert fields(2.4, 2.4, 9)["undetermined"] is True
assert fields(2.4, 9.0, 9)["undetermined"] is False
near = fields(2.4, 3.6, 9)
assert near["undetermined"] is True and near["probability_at_threshold"] is None and near["further_sites"] > 1
assert fields(2.4, 3.6, 60)["probability_at_threshold"] is not None
assert fields(2.4, 2.4, 1)["undetermined"] is None and fields(2.4, 2.4, 1)["mean_range"] == "not-given"

# Against statsmodels: on negative binomial totals of one mean, the season's root and the maximum likelihood of alpha agree
# within two standard errors of the latter.
totals = np.random.default_rng(20260721).negative_binomial(1 / PHI, 1 / (1 + PHI * 8), (800, 5))
likely = NegativeBinomial(totals.ravel(), np.ones(totals.size)).fit(disp=0)
root, _, _ = clumped_fields.season([
    (5, 25, field.mean() / 5, (field / 5).var(ddof=1)) for field in totals.astype(float)
])
assert abs(root - likely.params[1]) < 2 * likely.bse[1], (root, likely.params[1], likely.bse[1])
