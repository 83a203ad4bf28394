"""A season's clumping and what it says of each field, computed again with numpy and scipy; shares no code with bractline.

The counts of sites are negative binomial with variance m + phi m^2. phi is found by moments over the season's fields:
given its total, a field's variance between site totals has the expectation of a Dirichlet-multinomial count (Mosimann
1962, Biometrika 49:65-82). The range of a field's mean has the quantiles of F that belong to a negative binomial count
with known k (Johnson, Kotz & Kemp 1992, Univariate Discrete Distributions), with Student's t in place of the normal
distribution for how well phi is known. Citations from memory.
"""

import numpy as np
from scipy import optimize, special, stats

ASSUMED_PHI, ASSUMED_INFORMATION = 0.6, 4.0
FIELDS_DIFFER = 1 / 20
LEAST_INFORMATION = 9.0
LEAST_FIELDS_OF_PRIOR = 50


def scores(phi, sites, mean, variance):
    """Scores and information of fields: totals of a site's units, sites each."""
    expected = mean * sites * (1 + phi * mean) / (sites + phi)
    level = mean + 0.5 / sites
    clumped = phi * level / (1 + phi * level)
    of_variance = 1 / (level + phi * level**2)
    freedom = 2 / (2 / (sites - 1) + (6 * phi + of_variance) / sites)
    return freedom * clumped * (variance / expected - 1), freedom * clumped**2


def season(fields):
    """phi, its information, and whether a range is given, of fields (sites, units, mean, variance of site means)."""
    used = [
        (sites, mean * units / sites, variance * (units / sites) ** 2)
        for sites, units, mean, variance in fields
        if sites > 1 and mean > 0
    ]
    sites, mean, variance = np.array(used, dtype=float).reshape(-1, 3).T

    def over(phi):
        return scores(phi, sites, mean, variance)[0].sum() + ASSUMED_INFORMATION * np.log(ASSUMED_PHI / phi)

    phi = optimize.brentq(over, 0.001, 50, xtol=1e-15) if over(0.001) > 0 else 0.001
    known, assumed = (
        ASSUMED_INFORMATION + scores(at, sites, mean, variance)[1].sum() for at in (phi, ASSUMED_PHI)
    )
    return phi, known, bool(max(known, assumed) >= LEAST_INFORMATION)


def student(phi, information, sites, total):
    level = (total + 0.5) / sites
    clumped = phi * level / (1 + phi * level) if total > 0 else 1.0
    return stats.t(1 / (clumped**2 * (1 / information + FIELDS_DIFFER)))


def ends(phi, information, sites, units, mean, level=0.95):
    """Lower and upper end of the range, by the quantiles of F."""
    total = mean * units
    k = sites / phi
    beyond = stats.norm.sf(student(phi, information, sites, total).ppf((1 + level) / 2))
    if total == 0:
        return 0.0, k / units * np.expm1(-np.log(2 * beyond) / k)
    f = stats.f(2 * total + 1, 2 * k)
    scale = (total + 0.5) / units
    return scale * f.ppf(beyond), scale * f.isf(beyond)


def moved(above, t):
    return t.cdf(stats.norm.ppf(above))


def confidence(phi, information, sites, units, mean, threshold):
    total = mean * units
    k = sites / phi
    if total == 0:
        above = 0.5 * (1 + units * threshold / k) ** -k
    else:
        above = special.betainc(k, total + 0.5, k / (k + units * threshold))
    return moved(above, student(phi, information, sites, total))


def prior(phi, fields):
    """(a, b) of the Beta distribution of 1 / (1 + phi * site total) over the fields; None of too few."""
    if len(fields) < LEAST_FIELDS_OF_PRIOR or not any(field[2] > 0 for field in fields):
        return None
    k = np.array([field[0] / phi for field in fields])
    total = np.array([field[2] * field[1] for field in fields])

    def unlikely(logs):
        a, b = np.exp(np.clip(logs, np.log(1e-3), np.log(1e4)))
        return -(special.betaln(a + k, b + total) - special.betaln(a, b)).sum()

    def slope(logs):
        a, b = np.exp(logs)
        both = special.psi(a + b + k + total) - special.psi(a + b)
        return [(special.psi(a + k) - special.psi(a) - both).sum(), (special.psi(b + total) - special.psi(b) - both).sum()]

    near = optimize.minimize(unlikely, [0.0, 0.0], method="Nelder-Mead").x
    best = optimize.root(slope, near, tol=1e-13)
    return np.exp(best.x if best.success else near)


def probability(phi, information, of_prior, sites, units, mean, threshold):
    a, b = of_prior
    total = mean * units
    at = 1 / (1 + phi * units / sites * threshold)
    above = special.betainc(a + sites / phi, b + total, at)
    return moved(above, student(phi, information, sites, total)) if total > 0 else above


def further_sites(call, sites, units, mean, threshold):
    """The fewest further sites after which the field would be called, up to 24; None if none would do."""
    for further in range(1, 25):
        with_more = sites + further
        if call(with_more, round(units / sites * with_more), mean, threshold):
            return further
    return None


def figures(fields, certainty=0.9):
    """Of each field (season, protocol, in_window, after_treatment, sites, units, mean, variance, threshold): what its season says of it."""
    seasons = {}
    for field in fields:
        of_season = seasons.setdefault((field["season"], field["protocol"]), [])
        if not field["after_treatment"]:
            of_season.append(field)
    known = {}
    for key, of_season in seasons.items():
        samples = [[field[name] for name in ("sites", "units", "mean", "variance")] for field in of_season]
        within = [sample for sample, field in zip(samples, of_season) if field["in_window"]]
        phi, information, given = season(samples)
        known[key] = phi, information, given, prior(phi, within)
    return [of_field(field, *known[field["season"], field["protocol"]], certainty) for field in fields]


def of_field(field, phi, information, given, of_prior, certainty):
    sample = field["sites"], field["units"], field["mean"]
    bound = field["threshold"]
    told = dict.fromkeys([
        "mean_low", "mean_high", "confidence_at_threshold", "probability_at_threshold", "undetermined", "further_sites",
    ])
    told.update(season_k=1 / phi, season_k_information=information, mean_range="not-given")
    if not given:
        return told
    low, high = ends(phi, information, *sample)
    told.update(mean_low=low, mean_high=high, mean_range="between" if field["mean"] > 0 else "fewer-than")
    if field["mean"] > 0 and high > 10 * field["mean"]:
        told.update(mean_high=None, mean_range="at-least")
    told["confidence_at_threshold"] = confidence(phi, information, *sample, bound)
    if not field["in_window"] or field["after_treatment"]:
        return told

    def chance(*sample):
        if of_prior is None:
            return confidence(phi, information, *sample)
        return probability(phi, information, of_prior, *sample)

    def called(*sample):
        return not 1 - certainty <= chance(*sample) <= certainty

    if of_prior is not None:
        told["probability_at_threshold"] = chance(*sample, bound)
    told["undetermined"] = bool(not called(*sample, bound))
    if told["undetermined"]:
        told["further_sites"] = further_sites(called, *sample, bound)
    return told
