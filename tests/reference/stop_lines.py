"""Stop lines of the least expected cost, and what samples of them end with, computed over all sums by SciPy.

    stop_lines.py THRESHOLD K UNITS SITES_MIN SITES_MAX MISS_COST

Prints JSON: the sums of each number of sites, and the exact chances at the means that the program simulates. It shares
nothing with the program: probabilities of sums are SciPy's, and what a further site brings is a sum over all means.
"""

import json
import sys

import numpy
from scipy.special import gammaln
from scipy.stats import nbinom

SITE_COST = 0.005
RATIOS = 2.0 ** ((numpy.arange(32) - 15.5) / 8)
TRIED = [0.25, 0.5, 0.625, 0.75, 0.875, 1.0, 1.25, 1.5, 2.0]


def total(mean, k, sites, sums):
    """Probabilities of the sums of so many sites."""
    return nbinom.pmf(sums, sites * k, k / (k + mean))


def posterior(sums, sites, means, k):
    """Row a sum, column a mean; logarithms, since far sums are not likely under any mean."""
    n = sites * k
    share = k / (k + means)
    logs = (gammaln(sums[:, None] + n) - gammaln(n) - gammaln(sums[:, None] + 1)
            + n * numpy.log(share) + sums[:, None] * numpy.log1p(-share))
    weights = numpy.exp(logs - logs.max(axis=1, keepdims=True))
    return weights / weights.sum(axis=1, keepdims=True)


def stop_lines(threshold, k, least, most, miss):
    """Sites to (highest sum that says below, lowest that does not rule the threshold out)."""
    means = threshold * RATIOS
    of_low = miss * numpy.maximum(RATIOS - 1, 0)
    of_high = numpy.maximum(1 - RATIOS, 0)
    lines, after = {}, None
    for sites in range(most, least - 1, -1):
        sums = numpy.arange(int(numpy.ceil(4 * sites * threshold)) + 1)
        weights = posterior(sums, sites, means, k)
        low, high = weights @ of_low, weights @ of_high
        further = numpy.full(len(sums), numpy.inf)
        if after is not None:
            site = numpy.array([total(mean, k, 1, numpy.arange(len(after))) for mean in means])
            for s in sums:
                likely = weights[s] @ site[:, : len(after) - s]
                further[s] = SITE_COST + likely @ after[s:] + (1 - likely.sum()) * after[-1]
        stop = numpy.minimum(low, high)
        is_low = (low <= high) & (stop <= further)
        is_high = (low > high) & (stop <= further)
        below = int(numpy.argmin(numpy.append(is_low, False))) - 1
        above = len(sums) - int(numpy.argmin(numpy.append(is_high[::-1], False)))
        lines[sites] = (below, below + 1 if after is None else above)
        after = numpy.minimum(stop, further)
    return lines


def ends(lines, mean, k, least, most):
    """Chance of "not ruled out", and the mean number of sites."""
    width = int(8 * most * max(mean, lines[most][1] / most)) + 50
    site = total(mean, k, 1, numpy.arange(width))
    at = numpy.zeros(width)
    at[0] = 1
    not_ruled_out = sites_in_all = beyond = 0.0
    for sites in range(1, most + 1):
        before = at.sum()
        at = numpy.convolve(at, site)[:width]
        beyond += before - at.sum()
        if sites < least:
            continue
        below, above = lines[sites]
        ended_low, ended_high = at[: below + 1].sum(), at[above:].sum() + beyond
        beyond = 0.0
        not_ruled_out += ended_high
        sites_in_all += sites * (ended_low + ended_high)
        at[: below + 1] = 0
        at[above:] = 0
    return not_ruled_out, sites_in_all


def main():
    threshold, k = float(sys.argv[1]), float(sys.argv[2])
    units, least, most = (int(text) for text in sys.argv[3:6])
    of_site = threshold * units
    lines = stop_lines(of_site, k, least, most, float(sys.argv[6]))
    points = []
    for ratio in TRIED:
        not_ruled_out, sites = ends(lines, ratio * of_site, k, least, most)
        points.append({"ratio": ratio, "not_ruled_out": not_ruled_out, "sites": sites})
    rows = [[sites, below if below >= 0 else None, above] for sites, (below, above) in sorted(lines.items())]
    print(json.dumps({"rows": rows, "points": points}))


main()
