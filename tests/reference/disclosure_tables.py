"""The public tables from the rows of a ledger, and the private field-weeks that rows are made of.

Shares no code with bractline: pandas for Parquet, shapely for what adjoins.
"""

import datetime
from collections import Counter, defaultdict

import pandas

from disclosure_rule import Field, fold, wilson
from further_figures import smoothed

LEFT = ["season", "iso_week", "protocol", "edition", "level"]
FIGURES = [
    "fields_visited", "at_threshold_min", "at_threshold_max", "share_low", "share_high", "over_third_low",
    "over_third_high", "share_smoothed", "share_own_weight",
    "median_class", "median_from", "median_below", "mean_pressure",
    "fields_with_assumed_economics", "fields_outside_stage", "treatment_first_week", "treatment_last_week",
    "window_basis",
]


def given(value):
    """The value of a cell, None for null."""
    return None if pandas.isna(value) else value


def read_field_weeks(path):
    """(iso week, protocol) to its fields, and by season whether any visit names a farm."""
    table = pandas.read_parquet(path)
    weeks, known = defaultdict(list), defaultdict(bool)
    for row in table.to_dict("records"):
        season = int(row["iso_week"][:4])
        farm = fold(given(row["farm_id"]))
        known[season] |= farm is not None
        if bool(row["in_window"]) and bool(row["after_treatment"]):
            continue  # treated: in no public figure
        days = [pandas.Timestamp(row[name]).date() if given(row[name]) is not None else None
                for name in ("window_opens", "window_closes")]
        weeks[row["iso_week"], row["protocol"]].append(Field(
            row["field_id"], farm, row["county_id"], bool(row["in_window"]), row["crop_stage"],
            float(row["pressure"]), given(row["undetermined"]) in (True, 1),
            bool(row["economics_assumed"]), *days, given(row["window_basis"]),
            given(row["mean_high"]) and row["field_mean"] and row["mean_high"] / row["field_mean"],
            row.get("lon"), row.get("lat"), pandas.Timestamp(row["observed_on"]).date(),
        ))
    return dict(weeks), dict(known)


def publish(ledger, weeks, known, only=None):
    """Issues the field-weeks season by season; `only`: these ISO weeks alone."""
    for season in sorted(known):
        ledger.publish(
            {key: fields for key, fields in weeks.items()
             if int(key[0][:4]) == season and (only is None or key[0] in only)},
            known[season],
        )


WEEKDAYS = ["Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"]


def week_days(name, starts):
    """First and last day of the week that has the name of the ISO week with its middle day."""
    thursday = datetime.date.fromisocalendar(int(name[:4]), int(name[6:]), 4)
    # The middle day is in the ISO week, so the first is at most three days from its Monday.
    near = [thursday + datetime.timedelta(days) for days in range(-6, 1)]
    first = next(day for day in near if day.weekday() == WEEKDAYS.index(starts))
    middle = first + datetime.timedelta(3)
    assert middle.isocalendar()[:2] == (int(name[:4]), int(name[6:])), (name, starts)
    return first, first + datetime.timedelta(6)


def tables(ledger, names, neighbors, starts="Monday"):
    """The public tables of the newest editions, each a list of rows."""
    out = {
        name: []
        for name in ["county_week", "elsewhere_week", "district_week", "region_week", "region_median", "region_stage"]
    }
    for (week, protocol), rows in sorted(ledger.rows.items()):
        if not rows:
            continue
        counties = {place[1]: row.figures[-1] for place, row in rows.items() if place[0] == "county"}
        counts = {
            county: ((row["at_threshold_min"] + row["at_threshold_max"]) / 2, row["fields_visited"])
            for county, row in counties.items()
        }
        shares = smoothed(counts)
        first, last = week_days(week, starts)
        head = {
            "season": int(week[:4]), "iso_week": week, "week_start": str(first), "week_end": str(last), "protocol": protocol,
        }
        for place, row in sorted(rows.items()):
            shown = {**head, "edition": len(row.editions), "level": ledger.settings.level, **row.figures[-1]}
            del shown["stages"]
            if place[0] == "county":
                first = {
                    "county_id": place[1], "county_name": names.get(place[1], place[1]),
                    "district": ledger.districts.get(place[1]),
                }
                share, weight = shares.get(place[1], (None, None))
                out["county_week"].append({**first, **shown, "share_smoothed": share, "share_own_weight": weight})
            else:
                name = f"elsewhere in {place[1] or 'the region'}"
                out["elsewhere_week"].append({"place": name, "district": place[1] or None, **shown})
        for district in sorted({district_of(place, ledger.districts) for place in rows} - {None}):
            mine = {place: row.figures[-1] for place, row in rows.items() if district_of(place, ledger.districts) == district}
            of_counties = {place[1]: row for place, row in mine.items() if place[0] == "county"}
            out["district_week"].append({"district": district, **head, **region(of_counties, list(mine.values()))})
        every = [row.figures[-1] for row in rows.values()]
        out["region_week"].append({**head, **region(counties, every)})
        out["region_median"] += [{**head, **line} for line in classes(counties)]
        stages = Counter()
        for row in every:
            for label, fields, inside in row["stages"]:
                stages[label, inside] += fields
        out["region_stage"] += [
            {**head, "crop_stage": label, "in_window": "true" if inside else "false", "fields": count}
            for (label, inside), count in stages.items()
        ]
    return out


def district_of(place, districts):
    """The district of a place: that of the county, or the one that it is elsewhere in."""
    return {"county": districts.get(place[1]), "district": place[1], "region": None}[place[0]]


def region(counties, rows):
    """Sums over the rows of a week; `counties` are those of counties, `rows` all of them."""
    total = {name: sum(row[name] for row in rows) for name in ("fields_visited", "at_threshold_min", "at_threshold_max")}
    n = total["fields_visited"]
    return {
        "counties_shown": len(counties),
        "elsewhere_rows": len(rows) - len(counties),
        "places_at_threshold": sum(row["at_threshold_min"] > 0 for row in rows),
        **total,
        "share_low": wilson(total["at_threshold_min"], n)[0] if n else None,
        "share_high": wilson(total["at_threshold_max"], n)[1] if n else None,
    }


def classes(counties):
    """Counties by the class of their median."""
    found = Counter(
        (row["median_from"], row["median_below"], row["median_class"])
        for row in counties.values() if row["median_class"] is not None
    )
    for (low, below, label), count in found.items():
        yield {"median_class": label, "median_from": low, "median_below": below, "counties": count}


def moran(counties, neighbors):
    """How many counties have a class and a neighbor with one, and Moran's I of the middles of their classes.

    Row-standardized weights (Moran 1950, Biometrika 37:17-23). Not defined for fewer than three counties, if all
    are equal, and where each is next to every other: then I is the same for any values.
    """
    values = {}
    for county, row in counties.items():
        if row["median_class"] is not None:
            low, below = row["median_from"], row["median_below"]
            values[county] = low if below is None else (low + below) / 2
    near = {county: [other for other in neighbors[county] if other in values] for county in values}
    linked = [county for county in values if near[county]]
    if len(linked) < 3 or len({values[county] for county in linked}) == 1:
        return None, None
    if all(len(near[county]) == len(linked) - 1 for county in linked):
        return None, None
    mean = sum(values[county] for county in linked) / len(linked)
    spread = sum((values[county] - mean) ** 2 for county in linked)
    products = sum(
        (values[county] - mean) * (values[other] - mean) / len(near[county])
        for county in linked for other in near[county]
    )
    return len(linked), products / spread
