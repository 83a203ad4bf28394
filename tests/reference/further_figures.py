"""Figures of a county-week that need more than arithmetic: how many fields are too near their threshold for a call, when
treating would be due, and the share drawn toward that of all counties.

Written from the published sources with scipy and shapely; shares no code with bractline.
"""

import datetime
import math

import shapely

import clumped_fields

FURTHER_COUNTS = ["fields_undetermined"]
FURTHER = [*FURTHER_COUNTS, "window_opens", "window_closes", "window_basis"]

# Days from the stage seen to R5.1 without weather. Manitoba Agriculture, Food and Rural Development 2014:
# heat from planting to R2 647, R3 726, R4 805, R5.1 883 degree-days above 6.7 °C. Soonest: the field leaves
# the stage tomorrow and a day has 24 - 6.7; latest: it entered today and a day has 17 - 6.7.
HEAT = {"R2": (647, 726), "R3": (726, 805)}
TREATMENT = 883


def days_to_treatment(stage):
    entered, left = HEAT[stage]
    return (
        math.floor((TREATMENT - left) / (24 - 6.7)),
        math.ceil((TREATMENT - entered) / (17 - 6.7)),
    )


def clumped(week):
    """What a field-week's figures need of it: exact fractions become doubles."""
    means = [float(mean) for mean in week["site_means"]]
    mean = math.fsum(means) / len(means)
    several = len(means) > 1
    return {
        "season": week["iso_week"][:4],
        "protocol": week["protocol"],
        "in_window": week["in_window"],
        "after_treatment": week["after_treatment"],
        "sites": len(means),
        "units": week["units"],
        "mean": mean,
        "variance": math.fsum((one - mean) ** 2 for one in means) / (len(means) - 1) if several else None,
        "threshold": float(week["threshold"]),
    }


def window(visit):
    day = datetime.date.fromisoformat(visit["observed_on"])
    return [
        day + datetime.timedelta(days=days) for days in days_to_treatment(visit["crop_stage"])
    ]


def smoothed(counts):
    """Share and own weight: Martuzzi & Elliott 1996, Stat. Med. 15:1867-1873, over all counties, but no further from the
    county's own share than one standard error (the score interval at z = 1).

    `counts` maps a county to (fields at threshold, fields visited), those that are shown alone."""
    group = [(found, size) for found, size in counts.values() if size]
    if len(group) < 2:
        return {}
    total = sum(size for _, size in group)
    mean = sum(found for found, _ in group) / total
    variance = sum(size * (found / size - mean) ** 2 for found, size in group) / total
    between = max(0.0, variance - mean * (1 - mean) / (total / len(group)))
    within = max(0.0, mean * (1 - mean) - variance)
    shares = {}
    for county, (found, size) in counts.items():
        if not size:
            continue
        own = found / size
        weight = between / (between + within / size) if between else 0.0
        share = mean + weight * (own - mean)
        reach = math.sqrt(own * (1 - own) / size + 1 / (4 * size * size))
        low, high = ((own + 1 / (2 * size) + sign * reach) / (1 + 1 / size) for sign in (-1, 1))
        low, high = (0.0 if found == 0 else low), (1.0 if found == size else high)
        if not low <= share <= high:
            share = min(max(share, low), high)
            weight = (share - mean) / (own - mean)
        shares[county] = share, weight
    return shares


def neighbors_of(counties):
    """Counties that share at least a point."""
    shapes = list(counties.tree.geometries)
    near = {county: [] for county in counties.ids}
    for one, other in zip(*counties.tree.query(shapes, predicate="intersects")):
        if one != other and not shapely.is_empty(shapes[other]):
            near[counties.ids[one]].append(counties.ids[other])
    return near


def add_further_figures(rows, weeks):
    """Adds the figures to the rows of county-weeks, in place."""
    weeks = list(weeks)
    fields = {}
    for week, told in zip(weeks, clumped_fields.figures([clumped(week) for week in weeks])):
        week["undetermined"] = told["undetermined"]
        if week["counted"]:
            key = (week["county_id"], week["iso_week"], week["protocol"])
            fields.setdefault(key, []).append(week)
    for row in rows:
        row.update(dict.fromkeys(FURTHER))
        within = fields.get((row["county_id"], row["iso_week"], row["protocol"]), [])
        row["fields_undetermined"] = sum(week["undetermined"] is True for week in within)
        windows = [window(week["visit"]) for week in within]
        if windows:
            row["window_opens"] = min(opens for opens, _ in windows).isoformat()
            row["window_closes"] = max(closes for _, closes in windows).isoformat()
            row["window_basis"] = "days"
