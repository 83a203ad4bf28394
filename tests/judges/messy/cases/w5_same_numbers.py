"""W5: two offices that number their fields alike."""

from pathlib import Path

import features
import mapping as mappings
import records
import writers
from case import Bad, Case
from kit import HANDED_IN, expect
from sheet import Sheet
from store import query
from visits import changed, visits

NUMBERS = ["12", "13", "14"]


def offices(same_scouts=False):
    """Three fields of each office, far apart, under the same numbers."""
    all_six = visits(6)
    north = [changed(visit, field_id=number) for visit, number in zip(all_six[:3], NUMBERS)]
    south = [changed(visit, field_id=number) for visit, number in zip(all_six[3:], NUMBERS)]
    for place, visit in enumerate([*north, *south]):
        visit["any_field_id"] = True  # the office's name may be put before its number
        visit["any_observer_id"] = True
        visit["observer_id"] = "obs-1" if same_scouts else f"obs-{place // 3 + 1}"
    return north, south


def fields_of_the_week(run):
    return {row["field_id"] for row in query(run, "select field_id from field_week")}


def six_fields(store, run, messages):
    """The week's figures hold as many fields as visits of different fields are stored, or each loss is flagged."""
    lost = len(fields_of_the_week(run)) < len(store.visits)
    flagged = any("field-moved" in visit["flags"] for visit in store.visits)
    return expect(
        not lost or flagged, f"{len(store.visits)} visits stored, {len(fields_of_the_week(run))} fields in the week"
    )


def says_the_way(store, run, messages):
    """Where fields lose to others of their number, a message says how to keep two senders apart."""
    lost = len(fields_of_the_week(run)) < len(store.visits)
    said = "sender" in messages or "prefix" in messages
    return expect(
        not lost or said, "the first office's fields are out of the week's figures, and no message speaks of senders"
    )


def cases():
    return [
        sheets("own-prefixes", "two sheets, own visit ids, no sender named", ["north", "south"], []),
        sheets("no-prefix", "two sheets, visit ids made alike, no sender named", [None, None], []),
        sheets("sender", "two sheets, each loaded as its sender", [None, None], ["north", "south"]),
        sheets(
            "sender-same-scouts",
            "two sheets, each loaded as its sender; scouts numbered alike too",
            [None, None],
            ["north", "south"],
            True,
        ),
        two_files_of_records(),
        same_office_twice(),
        prefixes_of_settings(),
        prefixes_of_mappings(),
        prefixes_of_records(),
        prefixed_twice(),
        one_field_of_two_offices(),
        prefix_and_typo(),
    ]


def sheets(id, story, prefixes, senders, same_scouts=False):
    north, south = offices(same_scouts)
    names = ["north", "south"]

    def make(folder):
        for name, visits_of, prefix in zip(names, (north, south), prefixes):
            sheet = Sheet(visits_of)
            writers.by_csv(folder / f"{name}.csv", sheet.grid())
            Path(folder, f"{name}.toml").write_text(mapping_of(sheet, prefix), "utf-8")

    def step(name):
        sender = features.sender(name) if senders else []
        return ["load", f"{name}.csv", "--mapping", f"{name}.toml", *HANDED_IN, *sender]

    bad = [] if senders else [Bad("field_id", ["12", "13", "14"], None, ["field"])]
    # Without a sender the second office's fields may be held or flagged, never take the place of the first's.
    truth = [*north, *south]
    return Case(f"W5-{id}", story, make, [step(name) for name in names], truth, bad, [six_fields], clear=[says_the_way])


def mapping_of(sheet, prefix):
    return (
        mappings.mapping(sheet, prefix=prefix)
        if prefix
        else mappings.mapping(sheet, visit_id='[visitId]\nfrom = ["/field/field_id", "/observed_on", "/observer_id"]')
    )


def two_files_of_records():
    north, south = offices()

    def make(folder):
        records.ndjson(folder / "north.ndjson", north, "n")
        records.ndjson(folder / "south.ndjson", south, "s")

    steps = [["load", "north.ndjson"], ["load", "south.ndjson"]]
    bad = [Bad("field_id", ["12", "13", "14"], None, ["field"])]
    return Case(
        "W5-records",
        "two files of records, ids of their own, fields numbered alike",
        make,
        steps,
        [*north, *south],
        bad,
        [six_fields],
        clear=[says_the_way],
    )


def same_office_twice():
    """One office, two weeks: the same fields are the same fields."""
    north, _ = offices()
    later = [changed(visit, observed_on=f"2026-07-{27 + place}") for place, visit in enumerate(north)]

    def make(folder):
        for name, visits_of in (("week1", north), ("week2", later)):
            writers.by_csv(folder / f"{name}.csv", Sheet(visits_of).grid())
        Path(folder, "north.toml").write_text(mappings.mapping(Sheet(north)), "utf-8")

    steps = [["load", f"{name}.csv", "--mapping", "north.toml", *HANDED_IN] for name in ("week1", "week2")]
    return Case("W5-same-office", "one office, the same fields in the next week", make, steps, [*north, *later])


PUT = [features.sender_prefix("north", "N-", "N-"), features.sender_prefix("south", "S-", "S-")]


def prefixed(north, south):
    """The truth with the ids as they are stored."""
    return [
        changed(visit, field_id=f"{letter}-{visit['field_id']}", observer_id=f"{letter}-{visit['observer_id']}")
        for letter, visits_of in (("N", north), ("S", south))
        for visit in visits_of
    ]


def two_sheets(id, story, north, south, truth, before=(), rounds=1, how="", **more):
    """A sheet of each office, loaded as its sender; `how` has lines of [visitId] of the southern mapping."""

    def make(folder):
        for name, visits_of, lines in (("north", north, ""), ("south", south, how)):
            sheet = Sheet(visits_of)
            writers.by_csv(folder / f"{name}.csv", sheet.grid())
            visit_id = f'[visitId]\nfrom = ["/field/field_id", "/observed_on", "/observer_id"]\n{lines}'
            Path(folder, f"{name}.toml").write_text(mappings.mapping(sheet, visit_id=visit_id), "utf-8")

    def step(name):
        return ["load", f"{name}.csv", "--mapping", f"{name}.toml", *HANDED_IN, *features.sender(name)]

    steps = [*before, *[step("north"), step("south")] * rounds]
    return Case(f"W5-{id}", story, make, steps, truth, checks=[six_fields], **more)


def as_many(number):
    def check(store, run, messages):
        return expect(len(store.visits) == number, f"{len(store.visits)} visits stored, not {number}")

    return check


def nothing_held(store, run, messages):
    return expect(not store.held, f"{len(store.held)} records held")


def prefixes_of_settings():
    north, south = offices(same_scouts=True)
    story = "two sheets numbered alike, a prefix for each sender in the settings"
    return two_sheets("prefix-settings", story, north, south, prefixed(north, south), PUT, clear=[nothing_held])


def prefixes_of_mappings():
    north, south = offices(same_scouts=True)
    story = "two sheets numbered alike, the second mapping puts a prefix"
    truth = [*north, *prefixed([], south)]
    how = features.mapped_prefix("S-", "S-")
    return two_sheets("prefix-mapping", story, north, south, truth, how=how, clear=[nothing_held])


def prefixes_of_records():
    north, south = offices()

    def make(folder):
        records.ndjson(folder / "north.ndjson", north, "n")
        records.ndjson(folder / "south.ndjson", south, "s")

    steps = [*PUT, *[["load", f"{name}.ndjson", *features.sender(name)] for name in ("north", "south")]]
    story = "two files of records, fields numbered alike, a prefix for each sender"
    return Case(
        "W5-prefix-records", story, make, steps, prefixed(north, south), checks=[six_fields], clear=[nothing_held]
    )


def prefixed_twice():
    north, south = offices(same_scouts=True)
    story = "sheets with prefixes, each loaded twice: the second time all are duplicates"
    checks = {"clear": [nothing_held, as_many(6)]}
    return two_sheets("prefix-twice", story, north, south, prefixed(north, south), PUT, rounds=2, **checks)


def one_field_of_two_offices():
    """Two offices know one field by one number: a doubt that names both, and nothing held."""
    north, south = offices()
    south = [
        changed(visit, lon=first["lon"], lat=first["lat"], area_ha=first["area_ha"], acres=first["acres"])
        for first, visit in zip(north, south)
    ]

    def names_both(store, run, messages):
        said = [line for line in messages.splitlines() if "reported before in this season" in line]
        named = len(said) == 3 and all("north" in line and "south" in line for line in said)
        return expect(named, "no doubt names both senders")

    # What two offices find in one field in one week is one field of the week.
    case = two_sheets("one-field", "two offices visit the same fields", north, south, [*north, *south])
    case.checks, case.clear = [], [nothing_held, names_both]
    return case


def prefix_and_typo():
    """A record that was held is corrected at the desk, without the prefix, and gets it once."""
    north, south = offices(same_scouts=True)
    broken = [south[0], changed(south[1], crop_stage="R77"), south[2]]
    truth = prefixed(north, south)

    def corrected(run):
        run.office("held", "export", "--out", run.path / "desk", "--format", "csv")
        for sheet in (run.path / "desk").rglob("*.csv"):
            sheet.write_text(sheet.read_text("utf-8").replace("R77", south[1]["crop_stage"]), "utf-8")
            run.office("load", sheet)
            run.office("load", sheet)

    story = "a held record of a sender with a prefix, corrected at the desk and loaded twice"
    case = two_sheets("prefix-desk", story, north, broken, truth, PUT, clear=[as_many(6)])
    case.steps.append(corrected)
    return case
