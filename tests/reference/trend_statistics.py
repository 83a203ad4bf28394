"""Reference values of trend tests by pymannkendall and scipy, as JSON with their inputs.

    python trend_statistics.py series|orders

`series` are published examples and 200 random series with ties and gaps; `orders` are short series whose
permutations are all gone through. Nothing of the program's own arithmetic is used.
"""

import itertools
import json
import sys

import numpy as np
import pymannkendall
from scipy import stats

SEED = 20260721
RANDOM_SERIES = 200

# US EPA 2009, Unified Guidance (EPA 530/R-09-007), example 17-6: sulfate, ppm, by date.
SULFATE = [
    (89.6, 480), (89.8, 450), (90.1, 490), (90.3, 520), (90.6, 485), (90.8, 510), (91.1, 510), (91.3, 530),
    (91.6, 510), (91.8, 560), (92.1, 560), (92.6, 540), (93.1, 590), (93.6, 550), (94.1, 600), (94.6, 700),
    (95.1, 570), (95.6, 610), (95.8, 650), (96.1, 620), (96.3, 830), (96.6, 720), (96.8, 590),
]


def nile():
    """Flow of the Nile at Aswan 1871-1970: Cobb, G.W. 1978, Biometrika 65:243-251; statsmodels carries it."""
    from statsmodels.datasets import nile as data

    frame = data.load_pandas().data
    return [(float(year), float(flow)) for year, flow in zip(frame["year"], frame["volume"])]


def random_series():
    chance = np.random.default_rng(SEED)
    for number in range(RANDOM_SERIES):
        length = int(chance.integers(4, 41))
        memory = chance.choice([0.0, 0.0, 0.6, -0.5])
        noise = np.zeros(length)
        for place in range(length):
            before = noise[place - 1] if place else 0.0
            noise[place] = memory * before + chance.normal()
        values = noise + chance.choice([0.0, 0.05, -0.1]) * np.arange(length)
        # Most have ties: values in few steps.
        step = chance.choice([0.0, 0.5, 1.0])
        if step:
            values = np.round(values / step) * step
        gaps = chance.random(length) < chance.choice([0.0, 0.2])
        if (~gaps).sum() < 4:
            gaps[:] = False
        yield f"random {number}", [(float(t), float(v)) for t, v, gap in zip(range(length), values, gaps) if not gap]


def in_full(moments):
    """The series with a place for each whole time, NaN where it is missing; None if times are not whole."""
    times = [time for time, _ in moments]
    if any(time != int(time) for time in times):
        return None
    full = np.full(int(times[-1] - times[0]) + 1, np.nan)
    for time, value in moments:
        full[int(time - times[0])] = value
    return full


def number(value):
    return None if value is None or not np.isfinite(value) else float(value)


def case(name, moments):
    times = np.array([time for time, _ in moments])
    values = np.array([value for _, value in moments])
    with np.errstate(all="ignore"):
        test = pymannkendall.original_test(values)
        memory = pymannkendall.hamed_rao_modification_test(values)
        full = in_full(moments)
        slope_in_full = None if full is None else pymannkendall.sens_slope(full).slope
        lines = {str(level): stats.theilslopes(values, times, 1 - level) for level in (0.95, 0.8)}
        tau_b = stats.kendalltau(np.arange(len(values)), values).statistic
    untied = len(np.unique(values)) == len(values)
    exact = stats.kendalltau(np.arange(len(values)), values, method="exact").pvalue if untied else None
    return {
        "name": name,
        "times": times.tolist(),
        "values": values.tolist(),
        # What pymannkendall takes for the rest when the trend is taken out.
        "left_over": (values - np.arange(1, len(values) + 1) * test.slope).tolist(),
        "s": int(test.s),
        "variance": number(test.var_s),
        "z": number(test.z),
        "p_value": number(test.p),
        "tau_b": number(tau_b),
        "exact_p_value": number(exact),
        "memory_variance": number(memory.var_s),
        "memory_z": number(memory.z),
        "memory_p_value": number(memory.p),
        "slope_in_full": number(slope_in_full),
        "slope": number(lines["0.95"].slope),
        "intercept": number(lines["0.95"].intercept),
        "slope_ends": {level: [number(line.low_slope), number(line.high_slope)] for level, line in lines.items()},
    }


def score(values):
    return sum(int(np.sign(later - one)) for one, later in itertools.combinations(values, 2))


def orders():
    """Two-sided probabilities of |S| over all orders of short series with ties."""
    chance = np.random.default_rng(SEED)
    for _ in range(12):
        values = [float(value) for value in chance.integers(0, 4, int(chance.integers(3, 8)))]
        size = abs(score(values))
        scores = [score(order) for order in itertools.permutations(values)]
        upper = sum(each >= size for each in scores) / len(scores)
        yield {"values": values, "upper": upper}


def main():
    if sys.argv[1] == "orders":
        print(json.dumps(list(orders())))
        return
    published = [("sulfate", [(t, float(v)) for t, v in SULFATE]), ("nile", nile())]
    print(json.dumps([case(*named) for named in itertools.chain(published, random_series())]))


main()
