"""Dispersion of counts, and whether neighboring counties are alike, from what was handed in and
what was published; shares no code with bractline.

    dispersion.py scatter visits.ndjson
    dispersion.py moran county_week.csv counties.geojson

`scatter` writes an object of `counties` (k common to the visits of each county, by scipy's root of the
likelihood equation and by statsmodels' regression), `visits` (mean, variance and k of each) and `laws`
(scipy's line of the logarithms). It takes every visit as one field's only visit of its week, within the
stage window; the county is in the field's id before the Z. Of a visit the highest revision counts.

`moran` reads public rows and writes a list of weeks with esda's I of the middles of the classes of the median (of the
highest class its lower bound, of nothing found 0) and the upper tail of its permutations; the neighbors are those of
libpysal and shapely.
"""

import json
import statistics
import sys
import warnings
from fractions import Fraction

import esda
import geopandas
import numpy as np
import pandas
from libpysal.weights import W
from scipy import stats

from contiguity import by_vertices
from sampling_statistics import k_by_regression, k_by_root

PERMUTATIONS = 99_999
SEED = 20260722


def read_visits(path):
    newest = {}
    with open(path, encoding="utf-8") as lines:
        for line in lines:
            visit = json.loads(line)
            before = newest.get(visit["visit_id"])
            if before is None or visit["revision"] > before["revision"]:
                newest[visit["visit_id"]] = visit
    rows = []
    for visit in newest.values():
        sites = [site for site in visit["sites"] if "heads" in site]
        if not sites:
            continue
        totals = [[sum(head) for head in site["heads"]] for site in sites]
        rows.append({
            "visit": visit["visit_id"],
            "county": visit["field"]["field_id"].split("Z")[0],
            "field": visit["field"]["field_id"],
            "day": visit["observed_on"],
            "totals": [total for site in totals for total in site],
            "site_means": [Fraction(sum(site), len(site)) for site in totals],
        })
    return pandas.DataFrame(rows)


def own_k(totals):
    # Without more scatter than chance, measured as the likelihood does, there is no root.
    return k_by_root([totals]) if np.var(totals) > np.mean(totals) else None


def law(samples):
    # Of fractions, so that equal means have a variance of 0 and not of rounding.
    pairs = [(statistics.mean(sample), statistics.variance(sample)) for sample in samples]
    pairs = [(float(mean), float(variance)) for mean, variance in pairs if mean > 0 and variance > 0]
    means, variances = np.array(pairs).T
    line = stats.linregress(np.log(means), np.log(variances))
    return {
        "a": np.exp(line.intercept),
        "a_of_mean_variance": np.mean(variances / means**line.slope),
        "b": line.slope,
        "b_standard_error": line.stderr,
        "r_squared": line.rvalue**2,
        "visits": len(pairs),
    }


def scatter(path):
    visits = read_visits(path)
    counties = {}
    for county, group in visits.groupby("county"):
        samples = [totals for totals in group.totals if len(totals) > 1 and sum(totals) > 0]
        by_regression, _, _ = k_by_regression(samples)
        counties[county] = {
            "fields": group.field.nunique(),
            "visits": len(samples),
            "units": sum(len(totals) for totals in samples),
            "k_by_root": k_by_root(samples),
            "k_by_regression": by_regression,
        }
    own = {
        row.visit: {"mean": np.mean(row.totals), "variance": np.var(row.totals, ddof=1), "k": own_k(row.totals)}
        for row in visits.itertuples()
    }
    return {
        "counties": counties,
        "visits": own,
        "laws": {
            "units": law([list(map(Fraction, totals)) for totals in visits.totals]),
            "site-means": law(visits.site_means),
        },
    }


def moran(table, counties):
    neighbors = by_vertices(geopandas.read_file(counties))
    rows = pandas.read_csv(table, dtype={"county_id": str})
    weeks = []
    for (week, protocol), group in rows.groupby(["iso_week", "protocol"]):
        known = group.dropna(subset=["median_class"])
        middles = (known.median_from + known.median_below.fillna(known.median_from)) / 2
        pressure = dict(zip(known.county_id, middles))
        near = {own: [other for other in neighbors[own] if other in pressure] for own in pressure}
        near = {own: others for own, others in near.items() if others}
        row = {
            "iso_week": week,
            "protocol": protocol,
            "counties_shown": len(group),
            "moran_counties": None,
        }
        if len(near) >= 3 and any(len(others) < len(near) - 1 for others in near.values()):
            order = sorted(near)
            np.random.seed(SEED)
            values = np.array([pressure[own] for own in order])
            found = esda.Moran(values, W(near, id_order=order), transformation="r", permutations=PERMUTATIONS)
            at_least = np.sum(found.sim >= found.I - 1e-12)
            row |= {"moran_counties": len(order), "moran_i": found.I, "moran_p": (at_least + 1) / (PERMUTATIONS + 1)}
        weeks.append(row)
    return weeks


if __name__ == "__main__":
    warnings.simplefilter("ignore")
    match sys.argv[1:]:
        case ["scatter", path]:
            written = scatter(path)
        case ["moran", table, counties]:
            written = moran(table, counties)
        case _:
            sys.exit("usage: dispersion.py scatter visits.ndjson | moran county_week.csv counties.geojson")
    json.dump(written, sys.stdout, default=float)
