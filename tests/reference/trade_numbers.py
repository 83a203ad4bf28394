"""Numbers by Python and numpy, for comparison; no code of the program.

    trade_numbers.py weeks               the ISO week of every day from 1990 to 2040
    trade_numbers.py quantiles SEED      mean, median, ninth decile and maximum of random groups of 1 to 80
    trade_numbers.py sampling SEED       the sampling statistics of random visits

`weeks` prints a day and its week a line. The others print one JSON document a line. Needs numpy for the
latter two.
"""

import datetime
import json
import math
import random
import sys


def weeks():
    day = datetime.date(1990, 1, 1)
    while day.year <= 2040:
        year, week, _ = day.isocalendar()
        print(day.isoformat(), f"{year:04d}-W{week:02d}")
        day += datetime.timedelta(days=1)


def quantiles(seed):
    import numpy

    draw = random.Random(seed)
    for size in [*range(1, 81), *(draw.randint(1, 80) for _ in range(320))]:
        # Pressures as they come: many zeros, ties, a long tail.
        values = [
            draw.choice([0.0, 0.5, 1.0, draw.random(), 3 * draw.random(), draw.expovariate(0.5)])
            for _ in range(size)
        ]
        print(
            json.dumps(
                {
                    "values": values,
                    "mean": float(numpy.mean(values)),
                    "median": float(numpy.median(values)),
                    "p90": float(numpy.quantile(values, 0.9)),
                    "max": float(numpy.max(values)),
                }
            )
        )


def sampling(seed):
    import numpy

    draw = random.Random(seed)

    def head():
        return [draw.choice([0, 0, 0, 1, 2, draw.randint(0, 40)]) for _ in range(6)]

    def trap():
        return {"catch": draw.randint(0, 300), "nights": draw.randint(1, 14)}

    makers = {"heads": head, "plants": lambda: draw.randint(0, 30), "traps": trap}
    values = {
        "heads": sum,
        "plants": float,
        "traps": lambda one: one["catch"] / one["nights"],
    }
    for _ in range(300):
        form = draw.choice(list(makers))
        units = [[makers[form]() for _ in range(draw.randint(1, 7))] for _ in range(draw.randint(1, 9))]
        sites = [[values[form](one) for one in site] for site in units]
        means = [numpy.mean(site) for site in sites]
        several = len(sites) > 1
        within = sum(len(site) for site in sites) - len(sites)
        print(
            json.dumps(
                {
                    "sites": [
                        {"site": number, form: site} for number, site in enumerate(units, start=1)
                    ],
                    "field_mean": float(numpy.mean(means)),
                    "variance_between_sites": float(numpy.var(means, ddof=1)) if several else None,
                    "variance_within_sites": (
                        float(sum(len(site) * numpy.var(site) for site in sites) / within)
                        if within
                        else None
                    ),
                    "standard_error": (
                        float(numpy.std(means, ddof=1) / math.sqrt(len(sites))) if several else None
                    ),
                }
            )
        )


if __name__ == "__main__":
    {"weeks": weeks, "quantiles": quantiles, "sampling": sampling}[sys.argv[1]](*sys.argv[2:])
