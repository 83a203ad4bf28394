"""Moran's I and empirical-Bayes rates as esda computes them, on data that libpysal carries; shares no code
with bractline.

Writes one JSON object: `moran`, a list of cases (values, neighbors by position, weights, figures), and
`rates`, a list of cases (events, population, neighbors by position, estimates). The data: neighborhoods
and crimes in Columbus, Ohio, 1980 (Anselin 1988, Spatial Econometrics); sudden infant deaths in the counties
of North Carolina, 1974 and 1979 (Cressie 1993, Statistics for Spatial Data).
"""

import json
import warnings

import esda
import libpysal
import numpy as np
from esda.smoothing import Empirical_Bayes, Spatial_Empirical_Bayes
from libpysal.examples import get_path

PERMUTATIONS = 9999
SEED = 20260721


def read_column(table, name):
    return np.array(libpysal.io.open(get_path(table)).by_col(name))


def read_weights(name):
    return libpysal.io.open(get_path(name)).read()


def positions(weights):
    """The neighbor lists with positions in place of ids, sorted."""
    return [sorted(weights.id2i[near] for near in weights.neighbors[own]) for own in weights.id_order]


def old_contiguity(weights):
    """Columbus as of Anselin 1988: queen contiguity but for four pairs, 232 links in all.

    The four pairs are the only change of that size that gives the figures printed for it in the documentation
    of R's spdep, all of them to the last digit.
    """
    neighbors = {own: list(near) for own, near in weights.neighbors.items()}
    for one, other in (("9", "25"), ("26", "29"), ("31", "39")):
        neighbors[one].remove(other)
        neighbors[other].remove(one)
    neighbors["12"].append("18")
    neighbors["18"].append("12")
    return libpysal.weights.W(neighbors, id_order=weights.id_order)


def moran(name, values, weights, transformation):
    np.random.seed(SEED)
    found = esda.Moran(values, weights, transformation=transformation, permutations=PERMUTATIONS)
    return {
        "name": name,
        "values": [float(value) for value in values],
        "neighbors": positions(weights),
        "weights": {"r": "row-standardised", "b": "binary"}[transformation],
        "statistic": float(found.I),
        "expectation": float(found.EI),
        "variance_normal": float(found.VI_norm),
        "variance_randomised": float(found.VI_rand),
        "z": float(found.z_rand),
        # esda's own p-value is the smaller of the two tails; this is the upper one.
        "p_value": float((np.sum(found.sim >= found.I - 1e-12) + 1) / (PERMUTATIONS + 1)),
        "permutations": PERMUTATIONS,
    }


def rates(name, events, population, weights):
    near = Spatial_Empirical_Bayes(events, population, weights).r.ravel()
    return {
        "name": name,
        "events": [int(event) for event in events],
        "population": [int(people) for people in population],
        "neighbors": positions(weights),
        "to_all": Empirical_Bayes(events, population).r.ravel().tolist(),
        # Where nobody died around, esda divides nothing by nothing.
        "to_neighbors": [None if np.isnan(rate) else float(rate) for rate in near],
    }


def main():
    warnings.simplefilter("ignore")
    columbus = read_weights("columbus.gal")
    carolina = read_weights("sids2.gal")
    cases = []
    for transformation in "rb":
        old = old_contiguity(columbus)
        cases.append(moran("old contiguity", read_column("columbus.dbf", "CRIME"), old, transformation))
        for column in ("CRIME", "INC", "OPEN"):
            values = read_column("columbus.dbf", column)
            cases.append(moran(f"columbus {column}", values, columbus, transformation))
        for column in ("SIDR74", "NWR79"):
            values = read_column("sids2.dbf", column)
            cases.append(moran(f"carolina {column}", values, carolina, transformation))
    deaths = []
    for year in ("74", "79"):
        events, births = (read_column("sids2.dbf", column + year) for column in ("SID", "BIR"))
        deaths.append(rates(f"carolina {year}", events, births, carolina))
    print(json.dumps({"moran": cases, "rates": deaths}))


if __name__ == "__main__":
    main()
