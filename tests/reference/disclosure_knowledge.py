"""What somebody learns of a field from a public row who knows every other field of it: the row is a black box.

A field's pressure is varied from 0.01 to 40 in steps of 1.02, all other fields stay as they are, and the values that give the
same public row are kept. Where the lowest and the highest of these end is then sought to 1e-4. The field is *narrow* if the upper
end is less than 1.5 times the lower one.
"""

from collections import Counter, defaultdict
from dataclasses import replace
from datetime import timedelta

from disclosure_rule import SLACK, is_large, shown_of, treatment_weeks

NARROW = 1.5
STEP = 1.02
GRID = [0.01]
while GRID[-1] * STEP <= 40:
    GRID.append(GRID[-1] * STEP)


def size_class(n):
    return "under 5" if n < 5 else "5 to 9" if n < 10 else "10 or more"


class Box:
    """A public row as a function of the pressures of its fields in the window."""

    def __init__(self, members, known, level):
        self.fields = sorted((field for field in members.values() if field.in_window), key=lambda field: field.field_id)
        self.known, self.level = known, level
        self.large = is_large(self.fields, known)

    def shown(self, change=None):
        """What the row tells; `change` maps field ids to other pressures."""
        change = change or {}
        pressures = [change.get(field.field_id, field.pressure) for field in self.fields]
        return shown_of(pressures, self.level, self.large)


def is_narrow(keeps, values=GRID):
    """Whether what is kept of rising values, and of those between, has ends that are near to each other.

    Nothing kept: the row says that all fields are 0, which is no secret. The first value kept: 0 is, too."""
    kept = [at for at, value in enumerate(values) if keeps(value)]
    if not kept or kept[0] == 0 or kept[-1] == len(values) - 1:
        return False
    if values[kept[-1]] / values[kept[0]] >= NARROW:
        return False
    low = edge(keeps, values[kept[0]], values[kept[0] - 1])
    high = edge(keeps, values[kept[-1]], values[kept[-1] + 1])
    return high / low < NARROW - 1e-3


def edge(keeps, inside, outside):
    """Where what is kept ends, between a value that is and one that is not."""
    while abs(inside / outside - 1) > 1e-4:
        middle = (inside + outside) / 2
        inside, outside = (middle, outside) if keeps(middle) else (inside, middle)
    return outside


def gives_same(boxes, field_id):
    """Whether a pressure of a field gives all these rows as they are, as a function of it."""
    truth = [box.shown() for box in boxes]
    return lambda value: all(box.shown({field_id: value}) == seen for box, seen in zip(boxes, truth))


def tally():
    return {"fields": 0, "narrow": 0, "at_threshold": 0, "at_threshold_narrow": 0}


def count(found, key, field, narrow):
    at_threshold = field.pressure >= 1 - SLACK
    one = found[key]
    one["fields"] += 1
    one["narrow"] += narrow
    one["at_threshold"] += at_threshold
    one["at_threshold_narrow"] += narrow and at_threshold


def republication(rows, known, level):
    """Attack C, both editions of a row together. Gives counts by the size of the row, and of which fields are narrow."""
    found = defaultdict(tally)
    for row in rows:
        boxes = [Box(members, known, level) for members in row.editions]
        for field in boxes[-1].fields:
            # What the field was in an earlier edition says the same only if it has not changed.
            same = [box for box in boxes if field in box.fields]
            narrow = is_narrow(gives_same(same, field.field_id))
            count(found, size_class(len(boxes[-1].fields)), field, narrow)
    return dict(found)


def changed_between(rows, known, level):
    """Fields whose value changed between two editions: each of the two values, the other one being unknown, too."""
    found = defaultdict(tally)
    for row in rows:
        if len(row.editions) < 2:
            continue
        boxes = [Box(members, known, level) for members in row.editions]
        old = {field.field_id: field for field in boxes[0].fields}
        for field in boxes[1].fields:
            before = old.get(field.field_id)
            if before is None or before == field:
                continue
            for box, value in zip(boxes, (before, field)):
                count(found, size_class(len(box.fields)), value, is_narrow(gives_same([box], field.field_id)))
    return dict(found)


def whole_farms(rows, known, level):
    """All fields of a farm together: known but for a common factor."""
    found = defaultdict(tally)
    factors = [STEP**exponent for exponent in range(-200, 201)]
    for row in rows:
        box = Box(row.editions[-1], known, level)
        truth = box.shown()
        farms = defaultdict(list)
        for field in box.fields:
            farms[field.farm].append(field)
        for farm, fields in farms.items():
            if farm is None or len(fields) < 2 or not any(field.pressure for field in fields):
                continue
            keeps = lambda factor: box.shown({field.field_id: field.pressure * factor for field in fields}) == truth
            top = max(fields, key=lambda field: field.pressure)
            count(found, size_class(len(box.fields)), top, is_narrow(keeps, factors))
    return dict(found)


def steady_fields(rows, known, level):
    """A field of several weeks, supposing that its pressure were the same in all: every week's row narrows it."""
    weeks = defaultdict(list)
    for row in rows:
        box = Box(row.editions[-1], known, level)
        for field in box.fields:
            weeks[field.field_id].append((box, field))
    found = defaultdict(tally)
    for field_id, seen in weeks.items():
        positive = [field.pressure for _, field in seen if field.pressure > 0]
        if not positive:
            continue
        steady = sorted(positive)[len(positive) // 2]
        boxes = [with_field(box, replace(field, pressure=steady)) for box, field in seen]
        weeks_seen = ["1 week", "2 weeks", "3 weeks", "4 weeks or more"][min(len(seen), 4) - 1]
        count(found, weeks_seen, boxes[0][1], is_narrow(gives_same([box for box, _ in boxes], field_id)))
    return dict(found)


def with_field(box, field):
    changed = Box({one.field_id: field if one.field_id == field.field_id else one for one in box.fields}, box.known, box.level)
    return changed, field


def treatment_days(rows, known, level):
    """A field's weeks of treatment, moved by up to four weeks either way, all others known."""
    found = Counter()
    for row in rows:
        fields = Box(row.editions[-1], known, level).fields
        if len(fields) < 5:
            continue
        truth = treatment_weeks(fields, known, level)
        for at, field in enumerate(fields):
            if field.opens is None or truth[0] is None:
                continue
            kept = 0
            for weeks in range(-4, 5):
                move = timedelta(days=7 * weeks)
                moved = replace(field, opens=field.opens + move, closes=field.closes + move)
                kept += treatment_weeks([*fields[:at], moved, *fields[at + 1:]], known, level) == truth
            found["fields"] += 1
            found["narrow"] += kept == 1
    return dict(found)


def invented_neighbors(rows, known, level):
    """An office that takes visits from anybody: one field, all others of its row handed in by the attacker as he likes.

    Half of his fields have nothing, half very much, so that the median is the field's own pressure; with 4 and with 9 fields of
    as many farms."""
    found = defaultdict(tally)
    for row in rows:
        for field in Box(row.editions[-1], known, level).fields:
            for others in (4, 9):
                members = {
                    str(number): replace(
                        field, field_id=str(number), farm=f"invented {number}", near=False, factor=None,
                        pressure=0.0 if number < others / 2 else 40.0,
                    ) for number in range(others)
                }
                box = Box({**members, field.field_id: field}, True, level)
                count(found, f"among {others + 1} fields", field, is_narrow(gives_same([box], field.field_id)))
    return dict(found)
