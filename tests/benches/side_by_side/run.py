"""Times bractline, DuckDB and Polars in turns, after their results were found equal, and prints a table.

CPU is user + system seconds of the whole process; memory is its peak resident size; both are the medians of
the runs, as is the time on the clock. Every program starts from nothing each time: the start of Python and the
import of an engine are part of its time, and `bare start` says how much that is.
"""

import argparse
import datetime
import importlib.metadata
import json
import multiprocessing
import os
import pathlib
import platform
import shutil
import statistics
import subprocess
import sys
import time

import duckdb

HERE = pathlib.Path(__file__).parent
REGION = HERE.parents[2] / "sample_data" / "region.geojson"
PYTHON = sys.executable
# Figures that are sums of parts in another order differ in their last digits.
TOLERANCE = 1e-9


class Task:
    """A program to be timed: its arguments, and what to clear away before each run."""

    def __init__(self, group, name, arguments, before=lambda: None, codes=(0,)):
        self.group, self.name = group, name
        self.arguments, self.before, self.codes = [str(a) for a in arguments], before, codes
        self.runs = []

    def run(self, measured=True):
        self.before()
        started = time.perf_counter()
        child = subprocess.Popen(self.arguments, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
        error = child.stderr.read()
        _, status, usage = os.wait4(child.pid, 0)
        elapsed = time.perf_counter() - started
        child.returncode = os.waitstatus_to_exitcode(status)
        if child.returncode not in self.codes:
            raise SystemExit(f"{self.name} ended with {child.returncode}: {error.decode()[-2000:]}")
        if measured:
            self.runs.append((usage.ru_utime + usage.ru_stime, elapsed, usage.ru_maxrss / 1024))

    def median(self, part):
        return statistics.median(run[part] for run in self.runs)


def fresh(folder):
    def clear():
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir(parents=True)
    return clear


def workspace(program, folder):
    """A new, empty workspace before every load."""
    def make():
        shutil.rmtree(folder, ignore_errors=True)
        subprocess.run(
            [program, "init", folder, "--region", REGION, "--id-property", "county_id",
             "--name-property", "county_name"],
            check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )
    return make


def visits_in(folder):
    return f"read_parquet('{folder}/visits/*/*.parquet', hive_partitioning = true)"


def compare_loads(ours, others):
    """Accepted ids, revisions, counties and figures, and the units: one table against the other."""
    database = duckdb.connect()
    for folder in others:
        [(only_here, only_there, counties, figures, derived)] = database.sql(f"""
            select
                count(*) filter (b.visit_id is null), count(*) filter (a.visit_id is null),
                count(*) filter (a.county_id <> b.county_id),
                count(*) filter (abs(a.field_mean - b.field_mean) > {TOLERANCE} * greatest(1, a.field_mean)
                    or a.sites <> b.sites or a.units <> b.units or a.total <> b.total
                    or abs(a.standard_error - b.standard_error) > {TOLERANCE} * greatest(1, a.standard_error)
                    or abs(a.variance_within_sites - b.variance_within_sites)
                        > {TOLERANCE} * greatest(1, a.variance_within_sites)),
                count(*) filter (a.iso_week <> b.iso_week
                    or abs(a.treatment_cost_per_ha / b.treatment_cost_per_ha - 1) > {TOLERANCE}
                    or abs(a.market_value_per_kg / b.market_value_per_kg - 1) > {TOLERANCE}
                    or abs(a.plants_per_ha / b.plants_per_ha - 1) > {TOLERANCE})
            from {visits_in(ours)} as a
            full join {visits_in(folder)} as b on a.visit_id = b.visit_id and a.revision = b.revision
        """).fetchall()
        [(units,)] = database.sql(f"""
            select count(*)
            from read_parquet('{ours}/units/*/*.parquet') as a
            full join read_parquet('{folder}/units/*/*.parquet') as b
                using (visit_id, revision, site, unit)
            where a.counts is distinct from b.counts or a.total is distinct from b.total
        """).fetchall()
        if only_here or only_there or counties or figures or derived or units:
            raise SystemExit(
                f"{folder}: {only_here} visits only with us, {only_there} only there, {counties} other counties, "
                f"{figures} other statistics, {derived} other weeks or amounts, {units} other units"
            )


def compare_roll_ups(ours, others):
    database = duckdb.connect()
    names = [
        "fields_visited", "fields_at_threshold", "share_at_threshold", "share_low", "share_high",
        "mean_pressure", "median_pressure", "p90_pressure", "max_pressure", "area_share_at_threshold",
        "fields_outside_stage", "fields_with_assumed_economics",
    ]
    differ = " or ".join(
        f"(a.{name} is null) <> (b.{name} is null)"
        f" or abs(a.{name}::double - b.{name}::double) > {TOLERANCE} * greatest(1, abs(a.{name}::double))"
        for name in names
    )
    for folder in others:
        [(cells, wrong)] = database.sql(f"""
            select count(*), count(*) filter (a.county_id is null or b.county_id is null or {differ})
            from read_parquet('{ours}/private/county_week_full.parquet') as a
            full join read_parquet('{folder}/county_week.parquet') as b using (county_id, iso_week, protocol)
        """).fetchall()
        if wrong:
            raise SystemExit(f"{folder}: {wrong} of {cells} county-weeks differ")


def without_faults(file, store, sound):
    """The lines that were not held, for the runs that check nothing."""
    database = duckdb.connect()
    held = {line for (line,) in database.sql(f"select line from '{store}/held/*.parquet'").fetchall()}
    with open(file, "rb") as lines, open(sound, "wb") as out:
        for number, line in enumerate(lines, 1):
            if number not in held:
                out.write(line)


def apart(function, *arguments):
    """Calls it in a process of its own: the kernel counts the memory of the caller to the peak of what it starts."""
    process = multiprocessing.get_context("spawn").Process(target=function, args=arguments)
    process.start()
    process.join()
    if process.exitcode:
        raise SystemExit(process.exitcode)


def tasks(given):
    program, work, file = given.release / "bractline", given.work, given.file
    store = work / "workspace" / "store"
    examples = given.release / "examples"
    sound = work / "sound.ndjson"
    load = Task("load", "bractline load", [program, "--workspace", work / "workspace", "load", file, "--format", "json"],
                workspace(program, work / "workspace"), codes=(0, 3))
    load.run(measured=False)
    apart(without_faults, file, store, sound)
    python = lambda group, name, script, *arguments, before=lambda: None: Task(
        group, name, [PYTHON, HERE / script, *arguments], before
    )
    out = {name: work / name for name in ("duckdb", "polars", "duckdb-trusting", "polars-trusting")}
    loads = [
        load,
        python("load", "DuckDB, checked", "duckdb_load.py", file, REGION, out["duckdb"], before=fresh(out["duckdb"])),
        python("load", "Polars, checked", "polars_load.py", file, REGION, out["polars"], before=fresh(out["polars"])),
        python("load", "DuckDB, nothing checked", "duckdb_load.py", sound, REGION, out["duckdb-trusting"], "--trusting",
               before=fresh(out["duckdb-trusting"])),
        python("load", "Polars, nothing checked", "polars_load.py", sound, REGION, out["polars-trusting"], "--trusting",
               before=fresh(out["polars-trusting"])),
        Task("load", "floor: strict typed reader, one core", [examples / "floor_reader", file]),
        Task("load", "our reading and checking, one core", [examples / "floor_reader", file, "--check"]),
    ]
    ups = [
        Task("roll-up", "bractline rollup", [program, "--workspace", work / "workspace", "rollup", "--out", work / "up"],
             fresh(work / "up")),
        python("roll-up", "DuckDB, from the counts", "duckdb_roll_up.py", store, work / "up-duckdb"),
        python("roll-up", "Polars, from the counts", "polars_roll_up.py", store, work / "up-polars"),
        python("roll-up", "DuckDB, from our visits", "duckdb_roll_up.py", store, work / "up-visits", "--from-visits"),
    ]
    start = [
        Task("bare start", "bractline", [program, "--version"]),
        Task("bare start", "Python and DuckDB", [PYTHON, "-c", "import duckdb; duckdb.connect()"]),
        Task("bare start", "Python and Polars", [PYTHON, "-c", "import polars, numpy, shapely, msgspec"]),
    ]
    for task in loads[1:] + ups:
        task.run(measured=False)
    apart(compare_loads, store, list(out.values()))
    apart(compare_roll_ups, work / "up", [work / "up-duckdb", work / "up-polars", work / "up-visits"])
    return loads + ups + start


def table(each, given):
    versions = ", ".join(f"{name} {importlib.metadata.version(name)}" for name in ("duckdb", "polars", "msgspec"))
    processor = next(
        (line.split(":")[1].strip() for line in open("/proc/cpuinfo") if line.startswith("model name")), "?"
    )
    lines = [
        f"{datetime.date.today()}, {versions}, Python {platform.python_version()}; {os.cpu_count()} cores of {processor}, "
        f"{platform.system()}; {given.file.name}, {given.file.stat().st_size / 1e6:.0f} MB; medians of {given.runs} runs in turns.",
        "",
        "| | CPU s | s on the clock | peak MB | CPU of ours ÷ this |",
        "|---|--:|--:|--:|--:|",
    ]
    ours = {task.group: task for task in reversed(each) if task.name.startswith("bractline")}
    for task in each:
        ratio = ours[task.group].median(0) / task.median(0)
        lines.append(
            f"| {task.group}: {task.name} | {task.median(0):.2f} | {task.median(1):.2f} | {task.median(2):.0f} | {ratio:.2f} |"
        )
    return "\n".join(lines) + "\n"


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("file", type=pathlib.Path)
    parser.add_argument("--release", type=pathlib.Path, required=True)
    parser.add_argument("--work", type=pathlib.Path, required=True)
    parser.add_argument("--runs", type=int, default=5)
    given = parser.parse_args()
    each = tasks(given)
    for turn in range(given.runs):
        for task in each:
            task.run()
        print(f"turn {turn + 1} of {given.runs}", file=sys.stderr)
    text = table(each, given)
    (given.work / "table.md").write_text(text)
    print(text, end="")
    json.dump({f"{t.group}: {t.name}": t.runs for t in each}, open(given.work / "runs.json", "w"), indent=1)


if __name__ == "__main__":
    main()
