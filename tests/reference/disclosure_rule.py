"""What may be public of the visits of a week, written from the rule alone; shares no code with bractline.

A *cell* is the fields of one place, week and protocol that are enough, of enough farms, none of which dominates. A place
is a county, else the pool of its district, else the pool of the region; a field-week is in one row at most. `public_row`
gives every figure of a row, `Ledger` keeps the rows of several times of issue, at most two editions of each.
"""

import dataclasses
import datetime
import math
import statistics
import unicodedata
from collections import Counter, defaultdict

from scipy import stats

# Binary arithmetic may fall short of a bound by a last digit: so much below still counts as at the bound.
SLACK = 1e-12
Z = 1.959963984540054  # 0.975 quantile of the standard normal distribution
MEAN_STEP = 5  # steps of the mean in 1: the nearest 0.2
CLASSES = {
    ("survey", False): (0.25, 0.5, 1.0, 1.5, 3.0),
    ("survey", True): (0.25, 0.5, 1.0, 1.5, 3.0),
    ("strict", False): (0.5,),
    ("strict", True): (0.25, 0.5, 1.0),
}


@dataclasses.dataclass(frozen=True)
class Settings:
    level: str = "survey"
    min_fields: int = 3
    min_farms: int = 3
    min_fields_without_farms: int = 5


@dataclasses.dataclass(frozen=True)
class Field:
    """A field in a week under a protocol."""

    field_id: str
    farm: str | None
    county_id: str
    in_window: bool
    crop_stage: str
    pressure: float
    near: bool
    assumed: bool
    opens: datetime.date | None
    closes: datetime.date | None
    basis: str | None
    # What no public figure is made of: the ratio of the upper end of the mean's interval to the mean, the place, the day.
    factor: float | None = dataclasses.field(default=None, compare=False)
    lon: float | None = dataclasses.field(default=None, compare=False)
    lat: float | None = dataclasses.field(default=None, compare=False)
    observed: datetime.date | None = dataclasses.field(default=None, compare=False)


def fold(farm_id):
    """A farm id without case, space, hyphen and Unicode form; None where nothing is left of it."""
    if farm_id is None:
        return None
    text = unicodedata.normalize("NFKC", farm_id).lower()
    return "".join(sign for sign in text if sign.isalnum()) or None


def farms_of(fields):
    """How many fields each farm has; all fields without a farm are together one, named None."""
    return Counter(field.farm for field in fields)


def known_farms(fields):
    return len({field.farm for field in fields} - {None})


def is_cell(fields, known, settings):
    """Whether these fields may be shown together. `known`: some visit of the season names a farm."""
    if not known:
        return len(fields) >= settings.min_fields_without_farms
    return (
        len(fields) >= settings.min_fields
        and known_farms(fields) >= settings.min_farms
        and 2 * max(farms_of(fields).values()) <= len(fields)
    )


def is_large(fields, known):
    """Whether a mean may be shown: 10 fields of 5 farms, none with more than a third."""
    return (
        known
        and len(fields) >= 10
        and known_farms(fields) >= 5
        and 3 * max(farms_of(fields).values()) <= len(fields)
    )


def count_shown(n, k, level, large):
    """The least and the most fields at threshold that a row says, of n of which k are."""
    if k == 0:
        return 0, 0
    if n < 5:
        return 1, n
    if level == "survey":
        return (n - 1, n) if k >= n - 1 else (k, k)
    third, half = math.ceil(n / 3), math.ceil(n / 2)
    if k < third:
        return 1, third - 1
    if not large:
        return third, n
    return (third, half - 1) if k < half else (half, n)


def class_of(pressures, level, large):
    """The class of the median: its label, where it begins, and what it stays below (None: open)."""
    if max(pressures) == 0:
        return "nothing-found", 0.0, None
    bounds = CLASSES[level, large]
    median = statistics.median(pressures)
    place = sum(median + SLACK >= bound for bound in bounds)
    low = bounds[place - 1] if place else 0.0
    if place == len(bounds):
        return f"{low:g}+", low, None
    return f"{low:g}-{bounds[place]:g}", low, bounds[place]


def mean_shown(pressures):
    """The mean to the nearest 0.2."""
    return math.floor(math.fsum(pressures) / len(pressures) * MEAN_STEP + 0.5 + SLACK) / MEAN_STEP


def wilson(found, n):
    """Ends of the 95% score interval of a share (Wilson 1927, J. Am. Stat. Assoc. 22:209-212)."""
    share = found / n
    middle = (share + Z**2 / (2 * n)) / (1 + Z**2 / n)
    reach = Z * math.sqrt(share * (1 - share) / n + Z**2 / (4 * n * n)) / (1 + Z**2 / n)
    return (0.0 if found == 0 else middle - reach), (1.0 if found == n else middle + reach)


def over_third(found, n):
    """Posterior probability of a share above one third: Jeffreys' prior, Beta(1/2, 1/2)."""
    return float(stats.beta.sf(1 / 3, found + 0.5, n - found + 0.5))


def few_hidden(count, n):
    """A count of fields, unless it is 1 or 2, or all but 1 or 2."""
    return None if count in (1, 2, n - 1, n - 2) else count


def monday(day):
    return day - datetime.timedelta(days=day.weekday())


def week_name(day):
    year, week, _ = day.isocalendar()
    return f"{year}-W{week:02d}"


def treatment_weeks(fields, known, level):
    """First and last ISO week of treatment: weeks in which fields of two farms are expected; strict: the median field's."""
    due = [field for field in fields if field.opens is not None]
    if len(due) < 5:
        return None, None
    if level == "strict":
        # The middle days of the fields' windows, and of these the median, the earlier one of two.
        days = sorted(field.opens + datetime.timedelta(days=(field.closes - field.opens).days // 2) for field in due)
        week = week_name(days[(len(due) - 1) // 2])
        return week, week
    farms = defaultdict(set)
    for field in due:
        week = monday(field.opens)
        while week <= field.closes:
            # Without any farm id each field is a farm; else fields without one are no farm that counts.
            farms[week].add(field.farm if known else field.field_id)
            week += datetime.timedelta(days=7)
    weeks = [week for week, names in farms.items() if len(names - {None}) >= 2]
    return (week_name(min(weeks)), week_name(max(weeks))) if weeks else (None, None)


def stage_order(stage):
    """Vegetative stages are one, V; so are the stages of flowering, R5."""
    return (0, "V") if stage.startswith("V") else (int(stage[1]), stage[:2])


def stage_groups(fields, known, settings):
    """Stages going up, gathered until they are enough fields of enough farms: (label, fields)."""
    stages = defaultdict(list)
    for field in fields:
        stages[stage_order(field.crop_stage)].append(field)
    groups, names, gathered = [], [], []
    for (_, name), members in sorted(stages.items()):
        names, gathered = [*names, name], [*gathered, *members]
        if known:
            enough = len(gathered) >= settings.min_fields and known_farms(gathered) >= settings.min_farms
        else:
            enough = len(gathered) >= settings.min_fields_without_farms
        if enough:
            groups.append((names, len(gathered)))
            names, gathered = [], []
    if gathered:
        before, count = groups.pop() if groups else ([], 0)
        groups.append((before + names, count + len(gathered)))
    return [(names[0] if len(names) == 1 else f"{names[0]}–{names[-1]}", count) for names, count in groups]


def shown_of(pressures, level, large):
    """What a row tells of the fields' pressures: counts, class of the median, mean."""
    n = len(pressures)
    at_threshold = sum(pressure >= 1 - SLACK for pressure in pressures)
    least, most = count_shown(n, at_threshold, level, large)
    label = class_of(pressures, level, large) if n >= 5 else (None, None, None)
    return least, most, label, mean_shown(pressures) if large else None


def public_row(fields, known, settings):
    """Every public figure of a row but its place, edition and share_smoothed, which is based on its neighbors.

    `stages`: what the row adds to the stages of the region: label, fields, whether in the window."""
    inside = [field for field in fields if field.in_window]
    outside = [field for field in fields if not field.in_window]
    outside_shown = not outside or is_cell(outside, known, settings)
    n = len(inside)
    row = {"fields_visited": n, "at_threshold_min": 0, "at_threshold_max": 0}
    row.update(dict.fromkeys([
        "share_low", "share_high", "over_third_low", "over_third_high", "median_class", "median_from", "median_below", "mean_pressure",
        "treatment_first_week", "treatment_last_week", "window_basis",
    ]))
    row["fields_with_assumed_economics"] = few_hidden(sum(field.assumed for field in inside), n)
    row["fields_outside_stage"] = len(outside) if outside_shown else None
    if n:
        large = is_large(inside, known)
        least, most, label, mean = shown_of([field.pressure for field in inside], settings.level, large)
        row["at_threshold_min"], row["at_threshold_max"] = least, most
        row["share_low"], row["share_high"] = wilson(least, n)[0], wilson(most, n)[1]
        row["over_third_low"], row["over_third_high"] = over_third(least, n), over_third(most, n)
        row["median_class"], row["median_from"], row["median_below"] = label
        row["mean_pressure"] = mean
        first, last = treatment_weeks(inside, known, settings.level) if n >= 5 else (None, None)
        row["treatment_first_week"], row["treatment_last_week"] = first, last
        bases = {field.basis for field in inside} - {None}
        if first is not None:
            row["window_basis"] = bases.pop() if len(bases) == 1 else "both"
    row["stages"] = [(label, count, True) for label, count in stage_groups(inside, known, settings)]
    if outside_shown:
        row["stages"] += [(label, count, False) for label, count in stage_groups(outside, known, settings)]
    return row


def may_be_shown(fields, known, settings):
    """Whether a place's fields make a row: those in the window a cell, or none there and the others a cell."""
    inside = [field for field in fields if field.in_window]
    return bool(fields) and is_cell(inside or list(fields), known, settings)


@dataclasses.dataclass
class Row:
    """A public row with the fields behind it: `editions` are the members by field id, oldest first."""

    place: tuple
    editions: list
    figures: list

    def members(self):
        return {field_id for edition in self.editions for field_id in edition}


class Ledger:
    """The public rows of a workspace, over its times of issue. Places: ("county", id), ("district", name), ("region", "")."""

    def __init__(self, settings, districts):
        self.settings, self.districts = settings, districts
        self.rows = defaultdict(dict)

    def publish(self, weeks, known):
        """Issues what may be issued. `weeks`: (iso week, protocol) to its fields, all that are known now."""
        for key, fields in weeks.items():
            self.publish_week(self.rows[key], fields, known)

    def publish_week(self, rows, fields, known):
        owner = {field_id: row.place for row in rows.values() for field_id in row.members()}
        free = defaultdict(list)
        for field in fields:
            place = owner.get(field.field_id, ("county", field.county_id))
            # A field that has moved away is no longer in what its old row counts, and in no other row.
            if place[0] != "county" or place[1] == field.county_id:
                free[place].append(field)
        counties = {place for place in [*free, *rows] if place[0] == "county"}
        for place in sorted(counties):
            left = self.offer(rows, place, free[place], known)
            district = self.districts.get(place[1])
            free[("district", district) if district else ("region", "")] += left
        for place in sorted(place for place in [*free] if place[0] == "district"):
            free["region", ""] += self.offer(rows, place, free[place], known)
        self.offer(rows, ("region", ""), free["region", ""], known)

    def offer(self, rows, place, fields, known):
        """Makes the place's row or its second edition of these fields, if it may; gives those left out."""
        row = rows.get(place)
        fields = sorted(fields, key=lambda field: field.field_id)
        if row is None:
            if not may_be_shown(fields, known, self.settings):
                return fields
            rows[place] = Row(place, [by_id(fields)], [public_row(fields, known, self.settings)])
            return []
        if len(row.editions) == 1 and self.may_renew(row, fields, known):
            row.editions.append(by_id(fields))
            row.figures.append(public_row(fields, known, self.settings))
            return []
        return [field for field in fields if field.field_id not in row.members()]

    def may_renew(self, row, fields, known):
        before, now = row.editions[0], by_id(fields)
        if before == now or not may_be_shown(fields, known, self.settings):
            return False
        inside, outside = differences(before, now)
        if any(part and not is_cell(part, known, self.settings) for part in (inside, outside)):
            return False
        if self.settings.level == "survey" or not inside:
            return True
        after = public_row(fields, known, self.settings)
        step = math.ceil(len(inside) / 2) - 1
        return (
            after["at_threshold_min"] <= row.figures[0]["at_threshold_max"] + step
            and after["at_threshold_max"] >= row.figures[0]["at_threshold_min"] - step
        )


def by_id(fields):
    return {field.field_id: field for field in fields}


def differences(before, now):
    """The fields added, changed or removed: those that touch the window, and those that touch what is outside."""
    inside, outside = [], []
    for field_id in sorted({*before, *now}):
        old, new = before.get(field_id), now.get(field_id)
        if old == new:
            continue
        if any(field is not None and field.in_window for field in (old, new)):
            inside.append(new or old)
        if any(field is not None and not field.in_window for field in (old, new)):
            outside.append(new or old)
    return inside, outside
