"""What follows for fields from a public row by arithmetic alone: for a stranger, and for a grower who knows the own fields.

The pressures of a row, sorted, are unknowns: they rise, as many are at threshold as the row says, the median is in its class and
the mean within 0.1 of what is printed. That is a linear program; as its unknowns are a chain, the least and the greatest
pressure at a place follow without a solver (`disclosure_intervals.py 3000` holds them against scipy's HiGHS on so many random
rows). A grower's own values take their places among the others; as the grower does not know which, every arrangement is tried.
Sums over the region add nothing: they are sums of rows.
"""

import itertools
import math
import random
import sys
from collections import Counter, defaultdict

import numpy
from scipy.optimize import linprog

NARROW = 1.5
MEAN_REACH = 0.1
MOST = 1e6  # no bound
# More arrangements than this are not tried: the grower is then given the true one, which is more than he knows.
ARRANGEMENTS_MOST = 2000
# A bound is sought until two tries are so close, as a ratio. What is narrow by less is not called narrow.
CLOSE = 1e-3


def attackers(fields):
    """The stranger, and every grower: name and own fields. A field without a farm has a grower of its own."""
    own = defaultdict(list)
    for field in fields:
        own[field.farm or f"field {field.field_id}"].append(field)
    return [("stranger", []), *own.items()]


def arrangements(values, truth):
    """Places of the grower's values among those of others: how many others are below each."""
    if math.comb(len(truth) + len(values), len(values)) <= ARRANGEMENTS_MOST:
        return list(itertools.combinations_with_replacement(range(len(truth) + 1), len(values)))
    return [tuple(sum(one < value for one in truth) for value in values)]


class Chain:
    """The sorted pressures of a row: bounds of each place, of the sum of the middle two, and of the sum of all."""

    def __init__(self, row, own):
        """`own`: place in the sorted row to a value that is known."""
        n = row["fields_visited"]
        self.low, self.high = [0.0] * n, [MOST] * n
        for place in range(n - row["at_threshold_min"], n):
            self.low[place] = 1.0
        for place in range(n - row["at_threshold_max"]):
            self.high[place] = 1.0
        self.middle = None
        if row["median_class"] == "nothing-found":
            self.high = [0.0] * n
        elif row["median_class"] is not None:
            low, high = row["median_from"], MOST if row["median_below"] is None else row["median_below"]
            if n % 2:
                self.low[n // 2] = max(self.low[n // 2], low)
                self.high[n // 2] = min(self.high[n // 2], high)
            else:
                self.middle = n // 2 - 1, 2 * low, 2 * high
        mean = row["mean_pressure"]
        self.total = (-math.inf, math.inf) if mean is None else (n * (mean - MEAN_REACH), n * (mean + MEAN_REACH))
        for place, value in own.items():
            self.low[place], self.high[place] = max(self.low[place], value), min(self.high[place], value)

    def fits(self, place=0, least=0.0, most=MOST):
        """Whether there are pressures with at least and at most so much at a place."""
        low, high = [*self.low], [*self.high]
        low[place], high[place] = max(low[place], least), min(high[place], most)
        for one in range(1, len(low)):
            low[one] = max(low[one], low[one - 1])
            high[-one - 1] = min(high[-one - 1], high[-one])
        if any(one > other + 1e-12 for one, other in zip(low, high)):
            return False
        if self.middle is not None:
            at, first, last = self.middle
            if low[at] + low[at + 1] > last + 1e-12 or high[at] + high[at + 1] < first - 1e-12:
                return False
        return self.least_sum(low, high) <= self.total[1] + 1e-9 and self.greatest_sum(low, high) >= self.total[0] - 1e-9

    def least_sum(self, low, high):
        """All as low as they can be; the middle two together may have to be higher, and all above them with them."""
        if self.middle is None or low[self.middle[0]] + low[self.middle[0] + 1] >= self.middle[1]:
            return math.fsum(low)
        at, need, _ = self.middle
        upper = max(low[at + 1], need - high[at], need / 2)
        return math.fsum(low[:at]) + need + math.fsum(max(one, upper) for one in low[at + 2:])

    def greatest_sum(self, low, high):
        if self.middle is None or high[self.middle[0]] + high[self.middle[0] + 1] <= self.middle[2]:
            return math.fsum(high)
        at, _, most = self.middle
        lower = min(high[at], most - low[at + 1], most / 2)
        return math.fsum(high[at + 2:]) + most + math.fsum(min(one, lower) for one in high[:at])

    def least(self, place):
        """The least pressure at a place, to within CLOSE; 0 where it can be next to nothing."""
        if self.fits(place, most=0.01):
            return 0.0
        low, high = 0.01, MOST
        while high / low > 1 + CLOSE:
            middle = math.sqrt(low * high)
            low, high = (low, middle) if self.fits(place, most=middle) else (middle, high)
        return low

    def greatest(self, place, least):
        """The greatest pressure at a place whose least is known, infinite beyond the ratio that matters."""
        if self.fits(place, least=least * NARROW):
            return math.inf
        low, high = least, least * NARROW
        while high / low > 1 + CLOSE:
            middle = math.sqrt(low * high)
            low, high = (middle, high) if self.fits(place, least=middle) else (low, middle)
        return high


def targets(row, size):
    """The others whose interval can be the narrowest: around the median, around the threshold, and the ends."""
    n = row["fields_visited"]
    places = {0, n - 1, n // 2 - 1, n // 2, n // 2 + 1, n - row["at_threshold_min"], n - row["at_threshold_max"] - 1}
    return sorted({place - less for place in places for less in range(n - size + 1) if 0 <= place - less < size})


def placed(own, below):
    """Places in the whole row: of the own values, and of the others by their number."""
    taken = {other + number: value for number, (other, value) in enumerate(zip(below, own))}
    return taken, lambda number: number + sum(other <= number for other in below)


def narrow_places(row, fields, own):
    """The others' numbers, sorted by pressure, whose interval is narrow in every arrangement: number to (least, greatest).

    The number "any" has the span of all the others: what is known of a field that has a name."""
    names = {field.field_id for field in own}
    truth = sorted(field.pressure for field in fields if field.field_id not in names)
    values = sorted(field.pressure for field in own)
    alive = {number: (math.inf, 0.0) for number in [*targets(row, len(truth)), "any"]}
    for below in arrangements(values, truth):
        taken, place_of = placed(values, below)
        chain = Chain(row, taken)
        if not chain.fits():
            continue
        for number, (low, high) in [*alive.items()]:
            first, last = (0, len(truth) - 1) if number == "any" else (number, number)
            low = min(low, chain.least(place_of(first)))
            high = max(high, chain.greatest(place_of(last), low)) if low > 0 else math.inf
            alive[number] = low, high
            if low == 0 or high / low >= NARROW - 3 * CLOSE:
                del alive[number]
        if not alive:
            break
    return {number: ends for number, ends in alive.items() if ends[1] > 0}


def by_programs(rows):
    """Attack D. Counts rows by attacker: those with some narrow field that has no name, and those where a named field is."""
    found = {who: Counter() for who in ("stranger", "grower", "grower of several fields")}
    worst = []
    for row in rows:
        fields = [field for field in row.editions[-1].values() if field.in_window]
        figures = row.figures[-1]
        for name, own in attackers(fields):
            size = len(fields) - len(own)
            if size == 0 or not fields:
                continue
            who = "stranger" if not own else "grower" if len(own) == 1 else "grower of several fields"
            count = found[who]
            count["attacked"] += 1
            if figures["median_class"] is None or figures["median_class"] == "nothing-found":
                continue
            tight = narrow_places(figures, fields, own)
            count["some named narrow"] += tight.pop("any", None) is not None
            count["some unnamed narrow"] += bool(tight)
            if tight:
                key = "with mean" if figures["mean_pressure"] is not None else "without mean"
                count[f"some unnamed narrow, {key}"] += 1
                worst.append(min(high / low for low, high in tight.values()))
    return {**{who: dict(count) for who, count in found.items()}, "narrowest": min(worst, default=None)}


def between_editions(rows):
    """The fields added in a second edition: their sum from the two means, and how many are at threshold."""
    found = Counter()
    for row in rows:
        if len(row.editions) < 2:
            continue
        found["pairs"] += 1
        first, second = row.figures
        old, new = row.editions
        if any(new.get(name) != field for name, field in old.items()):
            found["pairs with a changed or removed field"] += 1
            continue
        added = [field for name, field in new.items() if name not in old and field.in_window]
        if not added or first["mean_pressure"] is None or second["mean_pressure"] is None:
            continue
        found["pairs with two means"] += 1
        high = (second["fields_visited"] * (second["mean_pressure"] + MEAN_REACH)
                - first["fields_visited"] * (first["mean_pressure"] - MEAN_REACH))
        at_threshold = second["at_threshold_min"] - first["at_threshold_max"]
        found["some unnamed narrow"] += at_threshold > 0 and high / at_threshold < NARROW
        low = high - 2 * MEAN_REACH * (first["fields_visited"] + second["fields_visited"])
        found["mean of the added narrow"] += low > 0 and high / low < NARROW
    return dict(found)


def by_solver(chain, place, sign):
    """The least of sign times the pressure at a place of a chain, by linear programming."""
    n = len(chain.low)
    left = [numpy.eye(n)[one] - numpy.eye(n)[one + 1] for one in range(n - 1)]
    right = [0.0] * (n - 1)
    if chain.middle is not None:
        at, first, last = chain.middle
        pair = numpy.eye(n)[at] + numpy.eye(n)[at + 1]
        left, right = [*left, pair, -pair], [*right, last, -first]
    if math.isfinite(chain.total[1]):
        left, right = [*left, numpy.ones(n), -numpy.ones(n)], [*right, chain.total[1], -chain.total[0]]
    if any(low > high for low, high in zip(chain.low, chain.high)):
        return None
    bounds = list(zip(chain.low, chain.high))
    solved = linprog(sign * numpy.eye(n)[place], numpy.array(left), right, bounds=bounds, method="highs")
    return solved.fun if solved.status == 0 else None


def check(tries):
    """Random rows: what fits, the least and the greatest, by the chain and by HiGHS."""
    chance, fitting = random.Random(5), 0
    for _ in range(tries):
        n = chance.randint(5, 14)
        row = {
            "fields_visited": n, "at_threshold_min": chance.randint(0, n), "mean_pressure": None,
            "median_class": "some", "median_from": chance.choice([0.0, 0.25, 0.5, 0.75, 1.0]),
        }
        row["at_threshold_max"] = chance.randint(row["at_threshold_min"], n)
        row["median_below"] = row["median_from"] + chance.choice([0.25, 0.5])
        if chance.random() < 0.7:
            row["mean_pressure"] = chance.randint(0, 10) / 5
        place = chance.randrange(n)
        own = {chance.randrange(n): chance.choice([0.3, 0.8, 1.2])} if chance.random() < 0.5 else {}
        chain = Chain(row, own)
        least, greatest = by_solver(chain, place, 1), by_solver(chain, place, -1)
        assert chain.fits() == (least is not None), (row, own)
        if least is None:
            continue
        fitting += 1
        ours = chain.least(place)
        assert ours <= least + 0.011 if ours == 0 else abs(math.log(ours / least)) < 2 * CLOSE, (row, own, place, ours, least)
        if ours > 0:
            top = chain.greatest(place, ours)
            expected = -greatest / ours
            same = expected > NARROW - 2 * CLOSE if math.isinf(top) else abs(math.log(top / ours / expected)) < 3 * CLOSE
            assert same, (row, own, place, expected, top)
    assert fitting > tries / 10, fitting
    print(f"{tries} random rows, {fitting} that fit: the same by HiGHS")


if __name__ == "__main__":
    check(int(sys.argv[1]))
