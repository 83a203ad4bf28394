"""Reference values of sampling statistics by scipy and statsmodels, as JSON with the inputs beside them.

    python sampling_statistics.py k|laws|lines|plans|thirds

Nothing of the program's own arithmetic is used: k comes from statsmodels' regression and from scipy's root
of the likelihood equation, Wald's lines from likelihood ratios of
scipy's probabilities, and what a plan does from the exact distribution of its running total.
"""

import json
import sys

import numpy as np
from scipy import optimize, special, stats
from statsmodels.discrete.discrete_model import NegativeBinomial

# Units with a count of 0, 1, 2 ... European red mites on 150 apple leaves: Bliss & Fisher 1953, Biometrics
# 9:176-200. Corn borers on 120 hills a treatment: Beall 1940, Ecology 21:460-474, in Bliss & Fisher, table 3.
# Beet webworms on 325 units a treatment: Beall 1940, table 6. Yeast cells in 400 squares: Student 1907,
# Biometrika 5:351-360 (B and D from memory, their means and variances confirmed).
MITES = [70, 38, 17, 10, 9, 3, 2, 1]
CORN_BORERS = [
    [19, 12, 18, 18, 11, 12, 7, 8, 4, 4, 1, 0, 1, 1, 0, 1, 0, 1, 0, 1, 0, 0, 0, 0, 0, 0, 1],
    [24, 16, 16, 18, 15, 9, 6, 5, 3, 4, 3, 0, 1],
    [43, 35, 17, 11, 5, 4, 1, 2, 2],
    [47, 23, 27, 9, 7, 3, 1, 1, 0, 0, 1, 1],
]
WEBWORMS = [
    [117, 87, 50, 38, 21, 7, 2, 2, 0, 1],
    [205, 84, 30, 4, 2],
    [162, 88, 45, 23, 5, 2],
    [227, 70, 21, 6, 1],
]
YEAST_A = [213, 128, 37, 18, 3, 1]
YEAST_B = [103, 143, 98, 42, 8, 4, 2]
YEAST_D = [0, 20, 43, 53, 86, 70, 54, 37, 18, 10, 5, 2, 2]
# Codling moth larvae in 30 strip traps: data set codling_moths of the R package epiphy.
CODLING_MOTHS = [
    4, 11, 4, 3, 2, 0, 0, 0, 0, 1, 1, 0, 3, 1, 1, 14, 1, 12, 4, 0, 0, 7, 1, 9, 10, 14, 18, 16, 14, 16,
]
# Webworms by plots of 25 units, as (sum, sum of squares): Beall 1940, table 6; treatment by treatment.
WEBWORM_PLOTS = [
    (47, 153), (34, 102), (22, 54), (32, 80), (14, 26), (52, 192), (63, 283), (33, 81), (40, 112), (50, 162),
    (28, 62), (22, 46), (18, 38), (9, 15), (15, 23), (13, 17), (13, 21), (10, 12), (12, 26), (20, 44), (12, 14),
    (5, 5), (18, 36), (12, 24), (17, 27), (8, 8), (38, 94), (10, 14), (20, 44), (13, 31), (15, 31), (27, 71),
    (41, 117), (29, 53), (14, 24), (27, 55), (20, 38), (14, 22), (9, 11), (16, 22), (9, 13), (18, 32), (13, 21),
    (3, 3), (13, 21), (10, 16), (16, 38), (2, 2), (12, 16), (11, 21), (10, 18), (1, 1),
]


def counts_of(frequencies):
    return [count for count, units in enumerate(frequencies) for _ in range(units)]


def k_by_root(samples):
    """The root of the likelihood equation in k, each sample at its own mean."""
    samples = [np.asarray(sample, dtype=float) for sample in samples]

    def slope(log_k):
        k = np.exp(log_k)
        return sum(
            np.sum(special.digamma(k + sample) - special.digamma(k)) - sample.size * np.log1p(sample.mean() / k)
            for sample in samples
        )

    return float(np.exp(optimize.brentq(slope, np.log(1e-4), np.log(1e3), xtol=1e-14, rtol=1e-14)))


def k_by_regression(samples):
    """k, its standard error and the log-likelihood from a regression with one mean a sample."""
    counts = np.concatenate([np.asarray(sample, dtype=float) for sample in samples])
    sample_of = np.repeat(np.arange(len(samples)), [len(sample) for sample in samples])
    design = (sample_of[:, None] == np.arange(len(samples))).astype(float)
    start = np.append(np.log([np.mean(sample) for sample in samples]), 0.5)
    model = NegativeBinomial(counts, design, loglike_method="nb2")
    fitted = model.fit(start_params=start, method="newton", maxiter=500, tol=1e-14, disp=False)
    inverse = fitted.params[-1]
    return 1 / inverse, fitted.bse[-1] / inverse**2, fitted.llf


def k_case(name, samples):
    poisson = sum(np.sum(stats.poisson.logpmf(sample, np.mean(sample))) for sample in samples)
    by_regression, standard_error, log_likelihood = k_by_regression(samples)
    return {
        "name": name,
        "samples": samples,
        "k_by_root": k_by_root(samples),
        "k_by_regression": by_regression,
        "standard_error": standard_error,
        "log_likelihood": log_likelihood,
        "poisson_log_likelihood": poisson,
    }


def k():
    borers = [counts_of(frequencies) for frequencies in CORN_BORERS]
    webworms = [counts_of(frequencies) for frequencies in WEBWORMS]
    chance = np.random.default_rng(3)
    visits = [
        chance.negative_binomial(0.9, 0.9 / (0.9 + mean), size=20).tolist()
        for mean in chance.gamma(2.0, 2.0, size=60)
    ]
    single = {"mites": MITES, "yeast A": YEAST_A}
    fitted = [k_case(name, [counts_of(frequencies)]) for name, frequencies in single.items()]
    fitted += [k_case(f"corn borers T{number}", [counts]) for number, counts in enumerate(borers, 1)]
    fitted += [k_case(f"webworms T{number}", [counts]) for number, counts in enumerate(webworms, 1)]
    fitted.append(k_case("codling moths", [CODLING_MOTHS]))
    fitted.append(k_case("corn borers, common", borers))
    fitted.append(k_case("webworms, common", webworms))
    # Drawn here with k = 0.9; 20 units per visit, a visit without eggs has no mean to regress on.
    fitted.append(k_case("60 visits, common", [visit for visit in visits if sum(visit)]))
    extreme = [[100_000_000, 0, 0, 0, 0], [1_000_000, 2_000_000, 500_000, 3], [0, 3]]
    return {
        "fitted": fitted,
        "extreme": [{"counts": counts, "k": k_by_root([counts])} for counts in extreme],
        "undefined": [
            {
                "name": name,
                "counts": counts_of(frequencies),
                "mean": float(np.mean(counts_of(frequencies))),
                "variance": float(np.var(counts_of(frequencies), ddof=1)),
            }
            for name, frequencies in [("yeast B", YEAST_B), ("yeast D", YEAST_D)]
        ],
    }


def laws():
    pairs = [(total / 25, (squares - total**2 / 25) / 24) for total, squares in WEBWORM_PLOTS]
    means, variances = np.array(pairs).T
    taylor = stats.linregress(np.log(means), np.log(variances))
    return {
        "pairs": pairs,
        "a": np.exp(taylor.intercept),
        "b": taylor.slope,
        "b_standard_error": taylor.stderr,
        "r_squared": taylor.rvalue**2,
    }


def log_probability(k, mean):
    """Of negative binomial counts; of Poisson counts without a k."""
    if k is None:
        return lambda count: stats.poisson.logpmf(count, mean)
    return lambda count: stats.nbinom.logpmf(count, k, k / (k + mean))


def lines_of(log_ratio, risks):
    """Slope and intercepts, from the log-likelihood ratios of a count of 0 and of 1."""
    of_unit = log_ratio(0)
    of_count = log_ratio(1) - of_unit
    false_high, false_low = risks
    return {
        "slope": -of_unit / of_count,
        "low_intercept": np.log(false_low / (1 - false_high)) / of_count,
        "high_intercept": np.log((1 - false_low) / false_high) / of_count,
    }


def end_of(log_ratio, risks, counts):
    """The decision that the ratio itself comes to, count by count."""
    false_high, false_low = risks
    ratio = 0.0
    for units, count in enumerate(counts, 1):
        ratio += log_ratio(count)
        if ratio >= np.log((1 - false_low) / false_high):
            return "High", units
        if ratio <= np.log(false_low / (1 - false_high)):
            return "Low", units
    return "Continue", len(counts)


def lines():
    chance = np.random.default_rng(8)
    cases = []
    for k_of_plan in [0.6, 1.024592, 4.6, None]:
        for low, high in [(2.0, 4.0), (0.5, 1.5), (2.4, 3.2)]:
            for risks in [(0.1, 0.1), (0.05, 0.2)]:
                of_high, of_low = log_probability(k_of_plan, high), log_probability(k_of_plan, low)

                def log_ratio(count):
                    return of_high(count) - of_low(count)

                sequences = [chance.poisson(mean, size=40).tolist() for mean in [low, (low + high) / 2, high]]
                ends = [end_of(log_ratio, risks, sequence) for sequence in sequences]
                cases.append({
                    "k": k_of_plan,
                    "low": low,
                    "high": high,
                    "risks": risks,
                    **lines_of(log_ratio, risks),
                    "sequences": [
                        {"counts": counts, "decision": decision, "units": units}
                        for counts, (decision, units) in zip(sequences, ends)
                    ],
                })
    binomial = []
    for low, high in [(0.1, 0.3), (0.02, 0.05), (0.4, 0.8)]:
        risks = (0.1, 0.1)

        def ratio(count):
            return stats.bernoulli.logpmf(count, high) - stats.bernoulli.logpmf(count, low)

        binomial.append({"low": low, "high": high, "risks": risks, **lines_of(ratio, risks)})
    return {"lines": cases, "binomial": binomial}


def exact_ends(plan, mean):
    """What a plan does at a mean, from the distribution of the total of samples that still go on."""
    k_of_plan, last = plan["k"], plan["units_max"]

    def low_at(units):
        return plan["low_intercept"] + plan["slope"] * units

    def high_at(units):
        return plan["high_intercept"] + plan["slope"] * units

    totals = int(np.ceil(high_at(last))) + 1
    probability = stats.nbinom.pmf(np.arange(totals), k_of_plan, k_of_plan / (k_of_plan + mean))
    going_on = np.zeros(totals)
    going_on[0] = 1.0
    ended_low, ended_high, ends_at = 0.0, 0.0, np.zeros(last + 1)
    for units in range(1, last + 1):
        before = going_on.sum()
        # Totals beyond the array are above the upper line of every number of units.
        going_on = np.convolve(going_on, probability)[:totals]
        if units < plan["units_min"]:
            continue
        low = np.arange(totals) <= low_at(units)
        high = np.arange(totals) >= high_at(units)
        now_low = going_on[low].sum()
        going_on[low | high] = 0.0
        now_high = before - now_low - going_on.sum()
        ended_low, ended_high = ended_low + now_low, ended_high + now_high
        ends_at[units] += now_low + now_high
    at_limit = going_on.sum()
    ends_at[last] += at_limit
    nearer_high = going_on[np.arange(totals) >= (low_at(last) + high_at(last)) / 2].sum()
    units = np.arange(last + 1)
    mean_units = float((units * ends_at).sum())
    return {
        "mean": mean,
        "low": ended_low + at_limit - nearer_high,
        "high": ended_high + nearer_high,
        "at_limit": at_limit,
        "mean_units": mean_units,
        "sd_units": float(np.sqrt((units**2 * ends_at).sum() - mean_units**2)),
    }


def plans():
    cases = []
    for k_of_plan, low, high, units_min, units_max in [
        (4.6, 2.0, 4.0, 1, 60),
        (1.024592, 1.0, 2.5, 5, 60),
        (0.8, 1.6, 3.2, 5, 40),
    ]:
        risks = (0.1, 0.1)
        of_high, of_low = log_probability(k_of_plan, high), log_probability(k_of_plan, low)
        plan = {
            "k": k_of_plan,
            "low": low,
            "high": high,
            "risks": risks,
            "units_min": units_min,
            "units_max": units_max,
            **lines_of(lambda count: of_high(count) - of_low(count), risks),
        }
        means = [0.5 * low, low, (low + high) / 2, high, 1.5 * high]
        cases.append({**plan, "points": [exact_ends(plan, mean) for mean in means]})
    return {"plans": cases}


def thirds():
    """How often a rule of a third fires, and how sure a sample is that a third is passed."""
    rules = [
        {"fields": fields, "share": share, "chance": stats.binom.sf(-(-fields // 3) - 1, fields, share)}
        for fields in range(1, 41) for share in (0.05, 0.1, 0.2, 1 / 3, 0.5, 0.6)
    ]
    samples = [
        {"found": found, "all": size, "probability": stats.beta.sf(1 / 3, found + 0.5, size - found + 0.5)}
        for size in range(1, 31) for found in range(size + 1)
    ]
    return {"rules": rules, "samples": samples}


WHAT = {"k": k, "laws": laws, "lines": lines, "plans": plans, "thirds": thirds}

if __name__ == "__main__":
    if len(sys.argv) != 2 or sys.argv[1] not in WHAT:
        sys.exit(f"usage: sampling_statistics.py {'|'.join(WHAT)}")
    json.dump(WHAT[sys.argv[1]](), sys.stdout, default=float)
