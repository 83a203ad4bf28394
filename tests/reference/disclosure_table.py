"""The table of DISCLOSURE.md: what each attack reached on each level."""

HEAD = """# What attacks on the public tables reach

Written by `disclosure_run.py` from an invented season: {fields} fields of {farms} farms in 24 counties of 4 districts, 6 weeks,
of which 3 with outbreaks at 0.3 to 2 times the threshold; {visits} records in three batches, each followed by a publication. No real
place, farm or count is in it. *Narrow*: the pressure of a field is known to within less than 1.5 times its lower end. The numbers
are those of one season of a random number generator; read a share as good to some 5 points. *Measured*: no limit holds it; it
says what remains. A grower of many fields is given their true places among those of others, which is more than he knows.

Rows published: {rows}.

| Attack | Who | survey | strict | Limit |
|---|---|---|---|---|
"""


def share(part, whole):
    return f"{part} of {whole}" + (f" ({100 * part / whole:.1f}%)" if whole else "")


def narrow(found, name, size):
    one = found.get(name, {}).get(size)
    return share(one["narrow"], one["fields"]) if one else "none"


def of(counts, part, whole):
    return share(counts.get(part, 0), counts.get(whole, 0))


def lines(found):
    """(attack, who, function from the findings of a level to a cell, limit)."""
    yield ("Public cells that the rule does not give", "independent program",
           lambda one: f"{one['explained']['differences']} of {one['explained'].get('cells', 0)}", "0")
    yield "A: field-weeks in two rows", "stranger", lambda one: of(one["A"], "in two rows", "field-weeks"), "0"
    yield ("A: differences between editions that are no cell", "stranger",
           lambda one: of(one["A"], "differences that are no cell", "differences"), "0")
    yield ("B: all other fields are at threshold, one edition", "a farm of the row",
           lambda one: of(one["B"], "all others known", "rows by farms"), "strict 0")
    yield ("B: all other changed fields went over or under, two editions", "a farm that changed",
           lambda one: of(one["B"], "all others known between editions", "pairs of editions by farms"), "strict 0")
    limits = {
        "under 5": "survey 10% below 10 fields, strict 0", "5 to 9": "survey 10% below 10 fields, strict 0", "10 or more": "strict 8%",
    }
    for size, limit in limits.items():
        yield f"C: field narrow, rows of {size} fields", "knows all other fields", lambda one, size=size: narrow(one, "C", size), limit
    top = lambda one: one["C"].get("10 or more", {"at_threshold_narrow": 0, "at_threshold": 0})
    yield ("C: the same, fields at threshold alone", "knows all other fields",
           lambda one: share(top(one)["at_threshold_narrow"], top(one)["at_threshold"]), "strict 20%")
    for size in ("5 to 9", "10 or more"):
        yield (f"Changed values between editions, rows of {size}", "knows all other fields",
               lambda one, size=size: narrow(one, "C changed values", size), "measured")
    for size in ("under 5", "5 to 9", "10 or more"):
        yield (f"Common factor of a farm with several fields, rows of {size}", "knows all other farms and the farm's proportions",
               lambda one, size=size: narrow(one, "C whole farms", size), "measured")
    for size in ("1 week", "2 weeks", "3 weeks", "4 weeks or more"):
        yield (f"A field that has the same pressure in {size}", "knows all other fields of all weeks, and that it is the same",
               lambda one, size=size: narrow(one, "C steady fields", size), "measured")
    for size in ("among 5 fields", "among 10 fields"):
        yield (f"One true field {size}, all others handed in by the attacker", "who may submit visits as several farms",
               lambda one, size=size: narrow(one, "C invented neighbors", size), "measured")
    yield ("Weeks of treatment of a field, to the week", "knows all other fields",
           lambda one: of(one["C treatment weeks"], "narrow", "fields"), "measured")
    for who in ("stranger", "grower", "grower of several fields"):
        knows = "stranger" if who == "stranger" else f"{who}, knows the own"
        yield (f"D: a named field narrow, rows by {who}", knows,
               lambda one, who=who: of(one["D"][who], "some named narrow", "attacked"), "0")
        yield (f"D: some field without a name narrow, rows by {who}", knows,
               lambda one, who=who: of(one["D"][who], "some unnamed narrow", "attacked"), "measured")
    yield ("D: mean of the fields added by a second edition narrow", "stranger",
           lambda one: of(one["D editions"], "mean of the added narrow", "pairs with two means"), "measured")
    yield ("E: cells of region, classes and smoothed shares that the rows do not give", "independent program",
           lambda one: f"{one['E']['differences']} of {one['E']['cells']}", "0")
    yield ("Grid cells of sample points of less than a cell of fields", "stranger",
           lambda one: of(one["points"], "cells too small", "cells"), "0")
    yield ("Grid cells that came or went by one field", "stranger",
           lambda one: of(one["points"], "of these by one field", "cells that came or went"), "measured")
    yield ("The day up to which a row has visits is one field's own", "stranger",
           lambda one: of(one["visits through"], "of one field alone", "rows"), "0")
    for name in ("fields of counties of three, exact", "which fields are at threshold, by area", "a field that came or went",
                 "counties shown of fewer than three known farms", "mean of a dominant farm, to 5%"):
        yield (f"Eight hard counties: {name}", "stranger",
               lambda one, name=name: of({key: int(value) for key, value in one["hard counties"][name].items()}, "recovered", "attacked"), "0")


def table(account, found):
    """The whole text; `account` is that of the season, `found` maps levels to what the attacks printed."""
    rows = "; ".join(
        f"{level}: " + ", ".join(f"{count} of a {name}" for name, count in sorted(one["rows"].items())) for level, one in found.items()
    )
    text = HEAD.format(fields=account["fields"], farms=account["farms"], visits=sum(account["visits"].values()), rows=rows)
    for attack, who, cell, limit in lines(found):
        text += f"| {attack} | {who} | {cell(found['survey'])} | {cell(found['strict'])} | {limit} |\n"
    broken = [f"- {level}: {what}" for level, one in found.items() for what in one["broken"]]
    return text + "\n## Limits that are broken\n\n" + ("\n".join(broken) if broken else "None.") + "\n"
