"""Runs every case, or those whose id begins with one of the words, and writes the table.

Usage: run.py BRACTLINE FOLDER [--table MD] [--said MD] [--strict] [--no-worse-than MD] [BEGINNING ...]

FOLDER gets the files and workspaces; --said, what the program said of each case that is wrong or unclear. With --strict
the program fails if a wrong value was accepted without a flag that names its member, or if fewer than 70 % of the cases
that can be read were read wholly. With --no-worse-than it fails if a case came out worse than that table says.
"""

import argparse
import json
import shutil
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import cases
import table
from judge import Judged, judge

HERE = Path(__file__).resolve().parents[3]
WHOLE_AT_LEAST = 0.70
CASES_AT_LEAST = 150
RUNS_AT_ONCE = 2


def main():
    arguments = parsed()
    folder = Path(arguments.folder).resolve()
    folder.mkdir(parents=True, exist_ok=True)
    program = str(Path(arguments.bractline).resolve())
    template = workspace(program, folder / "template")
    chosen = [
        case
        for case in cases.all_cases()
        if not arguments.beginnings or case.id.startswith(tuple(arguments.beginnings))
    ]

    def one(case):
        try:
            return judge(case, program, template, folder / case.id)
        except Exception as error:  # a fault of the case itself, which is reported and never taken for an outcome
            return Judged(case, "broken", 0, [f"{type(error).__name__}: {error}"], [])

    judged = []
    with ThreadPoolExecutor(RUNS_AT_ONCE) as pool:
        for each in pool.map(one, chosen):
            judged.append(each)
            print(f"{each.outcome:8} {each.case.id}: {'; '.join(map(str, each.notes))[:300]}", flush=True)
    if arguments.table:
        Path(arguments.table).write_text(table.table(judged), "utf-8")
    if arguments.said:
        Path(arguments.said).write_text(table.said(judged), "utf-8")
    print(json.dumps(table.counted(judged)))
    faults = verdict(judged) if arguments.strict else []
    if arguments.no_worse_than:
        faults += table.worse(judged, Path(arguments.no_worse_than).read_text("utf-8"))
    print("\n".join(faults), file=sys.stderr)
    sys.exit(1 if faults else 0)


def parsed():
    parser = argparse.ArgumentParser()
    parser.add_argument("bractline")
    parser.add_argument("folder")
    parser.add_argument("--table")
    parser.add_argument("--said")
    parser.add_argument("--strict", action="store_true")
    parser.add_argument("--no-worse-than")
    parser.add_argument("beginnings", nargs="*")
    return parser.parse_args()


def workspace(program, place):
    shutil.rmtree(place, ignore_errors=True)
    region = HERE / "sample_data" / "region.geojson"
    properties = ["--id-property", "county_id", "--name-property", "county_name", "--district-property", "district"]
    command = [program, "init", str(place), "--region", str(region), *properties]
    subprocess.run(command, check=True, capture_output=True)
    return place


def verdict(judged):
    """What fails the judge, in words."""
    faults = [f"{each.case.id}: {each.outcome}: {each.notes}" for each in judged if each.outcome in ("wrong", "broken")]
    share = table.share_whole(judged)
    if share < WHOLE_AT_LEAST:
        faults.append(f"{share:.0%} of what can be read was read wholly; {WHOLE_AT_LEAST:.0%} at least")
    if len(judged) < CASES_AT_LEAST:
        faults.append(f"{len(judged)} cases; {CASES_AT_LEAST} at least")
    return faults


main()
