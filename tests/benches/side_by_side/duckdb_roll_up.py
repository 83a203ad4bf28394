"""Roll-up to county-weeks by DuckDB, from the Parquet files of a bractline store.

The SQL is that of tests/reference/county_weeks_duckdb.py, without its checks: from the raw counts, or with
--from-visits from the field means that a store keeps.
"""

import argparse
import pathlib
import sys
import types

# What the reference imports for the names of counties would cost DuckDB time that this job does not need.
sys.modules["boundaries"] = types.SimpleNamespace(read_counties=None)
sys.path.insert(0, str(pathlib.Path(__file__).parents[2] / "reference"))
from county_weeks_duckdb import COUNTY_WEEK, FIELD_MEAN, VISIBLE, open_store  # noqa: E402

KEPT_MEAN = """
create view visit_with_mean as
select *, field_mean as recomputed_mean from visible_visit;
"""


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("store", type=pathlib.Path)
    parser.add_argument("out", type=pathlib.Path)
    parser.add_argument("--from-visits", action="store_true")
    given = parser.parse_args()

    database = open_store(given.store)
    database.execute(VISIBLE)
    database.execute(KEPT_MEAN if given.from_visits else FIELD_MEAN)
    database.execute(COUNTY_WEEK)
    given.out.mkdir(parents=True, exist_ok=True)
    database.execute(f"copy county_week to '{given.out}/county_week.csv' (header)")
    database.execute(f"copy county_week to '{given.out}/county_week.parquet' (format parquet)")


if __name__ == "__main__":
    main()
