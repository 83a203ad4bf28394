"""W6: the same visit under another id, as from an app and from a sheet."""

from pathlib import Path

import mapping as mappings
import records
import writers
from case import Bad, Case
from kit import HANDED_IN
from sheet import Sheet
from visits import changed, visits


def cases():
    truth = visits()
    more = [changed(truth[0], counts={1: [[0] * 6, [9, 9, 9, 9, 9, 9]], 2: truth[0]["counts"][2]}), *truth[1:]]
    return [
        twice("app-twice", "four records of an app once more under other ids", truth, truth),
        twice("app-other-count", "once more under other ids, one with 51 more eggs", truth, more),
        twice("same-file", "both in one file", truth, more, one_file=True),
        app_and_sheet("app-and-sheet", "an app's records, then the same visits as a sheet", truth),
        changed_prefix("changed-prefix", "a sheet once more after the mapping's prefix was changed", truth),
        two_scouts(),
    ]


def no_second(store, run, messages):
    """One visit a field, day and scout; each further one with a flag that says that there is another."""
    by_key = {}
    for visit in store.visits:
        by_key.setdefault((visit["field_id"], visit["observed_on"], visit["observer_id"]), []).append(visit)
    return [
        f"{key} is stored {len(same)} times, with flags {[sorted(visit['flags']) for visit in same]}"
        for key, same in by_key.items()
        if sum(names_another(visit["flags"]) for visit in same) < len(same) - 1
    ]


def names_another(flags):
    return any(word in flag for flag in flags for word in ("twice", "again", "same", "repeat", "double", "duplicate"))


def case(id, story, make, steps, truth):
    truth = [changed(visit, any_observer_id=True, known_twice=True) for visit in truth]
    # Which of two different counts is right no one can know; the first is what was there.
    return Case(
        f"W6-{id}",
        story,
        make,
        steps,
        truth,
        [Bad("visit_id", [visit["field_id"] for visit in truth], None, ["twice", "same", "visit"])],
        [no_second],
    )


def twice(id, story, first, second, one_file=False):
    def make(folder):
        records.ndjson(folder / "a.ndjson", first, "A")
        records.ndjson(folder / "b.ndjson", second, "B")
        if one_file:
            text = Path(folder, "a.ndjson").read_text("utf-8") + Path(folder, "b.ndjson").read_text("utf-8")
            Path(folder, "both.ndjson").write_text(text, "utf-8")

    steps = [["load", "both.ndjson"]] if one_file else [["load", "a.ndjson"], ["load", "b.ndjson"]]
    return case(id, story, make, steps, first)


def app_and_sheet(id, story, truth):
    def make(folder):
        records.ndjson(folder / "app.ndjson", truth, "A")
        sheet = Sheet(truth)
        writers.by_csv(folder / "sheet.csv", sheet.grid())
        Path(folder, "sheet.toml").write_text(mappings.mapping(sheet), "utf-8")

    return case(
        id, story, make, [["load", "app.ndjson"], ["load", "sheet.csv", "--mapping", "sheet.toml", *HANDED_IN]], truth
    )


def changed_prefix(id, story, truth):
    def make(folder):
        sheet = Sheet(truth)
        writers.by_csv(folder / "sheet.csv", sheet.grid())
        for name in ("north", "north-2026"):
            Path(folder, f"{name}.toml").write_text(mappings.mapping(sheet, prefix=name), "utf-8")

    steps = [["load", "sheet.csv", "--mapping", f"{name}.toml", *HANDED_IN] for name in ("north", "north-2026")]
    return case(id, story, make, steps, truth)


def two_scouts():
    """Two scouts who count one field on one day are two visits."""
    truth = visits(2)
    both = [truth[0], changed(truth[0], observer_id="obs-77"), truth[1]]

    def make(folder):
        records.ndjson(folder / "a.ndjson", both, "A")

    def both_are_there(store, run, messages):
        scouts = sorted(visit["observer_id"] for visit in store.visits if visit["field_id"] == "F-101")
        return [] if scouts == ["obs-11", "obs-77"] else [f"scouts of the field: {scouts}"]

    made = [changed(visit, any_observer_id=True) for visit in truth]
    return Case(
        "W6-two-scouts",
        "two scouts in one field on one day: two visits",
        make,
        [["load", "a.ndjson"]],
        made,
        [],
        [both_are_there],
    )
