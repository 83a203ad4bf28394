"""Runs the attacks on an invented season that the program itself loaded and published, on both levels, and writes the table.

    disclosure_run.py BRACTLINE FOLDER [--table DISCLOSURE.md] [--without-farms]

For each level a workspace in FOLDER: at each of three times a batch is loaded, what may be public is exported, and the roll-up
written. Then disclosure_attacks.py judges all three. The eight hard counties of disclosure_small_counties.py go the same way, for
disclosure_full_figures.py. Exits 1 if a limit is broken.
"""

import argparse
import json
import pathlib
import shutil
import subprocess
import sys

from disclosure_table import table

HERE = pathlib.Path(__file__).parent
REGION = ["--id-property", "county_id", "--name-property", "county_name", "--district-property", "DISTRICT"]
# Economics for the records that lack them, so that some are assumed.
DEFAULTS = """
[defaults.oilseed]
treatment_cost = { amount = 8.0, per = "acre", currency = "USD" }
market_value = { amount = 0.16, per = "lb", currency = "USD" }
plant_population = { count = 20000, per = "acre" }
"""


def run(*command):
    ran = subprocess.run([str(part) for part in command], capture_output=True, text=True)
    if ran.returncode:
        sys.exit(f"{' '.join(map(str, command))}: exit {ran.returncode}\n{ran.stdout}{ran.stderr}")
    return ran.stdout


def workspace(program, folder, season, level):
    """A workspace of the invented region with this level."""
    run(program, "init", folder, "--region", season / "region.geojson", *REGION)
    place = folder / "bractline.toml"
    text, default = place.read_text(), 'level = "survey"'
    assert text.count(default) == 1, f"the settings have not one {default}"
    place.write_text(text.replace(default, f'level = "{level}"') + DEFAULTS)


def states(program, folder, season, level, batches):
    """Loads, exports and rolls up batch after batch; files FOLDER/truth/T and FOLDER/public/T."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    workspace(program, folder / "workspace", season, level)
    ours = [program, "--workspace", folder / "workspace"]
    for time in map(str, range(1, batches + 1)):
        run(*ours, "load", season / f"batch-{time}.ndjson")
        run(*ours, "export", "--level", "public", "--out", folder / "packages" / time)
        out = folder / "rollups" / time
        run(*ours, "rollup", "--out", out)
        shutil.copytree(out / "public", folder / "public" / time)
        (folder / "truth" / time).mkdir(parents=True)
        shutil.copy(out / "private" / "field_week.parquet", folder / "truth" / time)
    return folder


def judged(script, *arguments):
    """What a script printed as JSON; limits that it found broken do not end this program yet."""
    ran = subprocess.run([sys.executable, HERE / script, *map(str, arguments)], capture_output=True, text=True)
    try:
        return json.loads(ran.stdout)
    except json.JSONDecodeError:
        sys.exit(f"{script}: {ran.stderr}")


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("program", type=pathlib.Path)
    parser.add_argument("folder", type=pathlib.Path)
    parser.add_argument("--table", type=pathlib.Path)
    parser.add_argument("--without-farms", action="store_true")
    given = parser.parse_args()
    season, small = given.folder / "season", given.folder / "small"
    farms = ["--without-farms"] if given.without_farms else []
    account = judged("disclosure_season.py", season, *farms)
    judged("disclosure_small_counties.py", small)
    found = {}
    for level in ("survey", "strict"):
        folder = states(given.program, given.folder / level, season, level, 3)
        region = ["--boundaries", season / "region.geojson", "--name-property", "county_name"]
        found[level] = judged("disclosure_attacks.py", folder, "--level", level, *region)
        hard = states(given.program, given.folder / f"small-{level}", small, level, 2)
        found[level]["hard counties"] = judged("disclosure_full_figures.py", hard)
    (given.folder / "found.json").write_text(json.dumps(found, indent=1))
    text = table(account, found)
    if given.table:
        given.table.write_text(text)
    print(json.dumps({level: one["broken"] for level, one in found.items()}, indent=1))
    sys.exit(any(one["broken"] for one in found.values()))


if __name__ == "__main__":
    main()
