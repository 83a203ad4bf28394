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
