"""Daily temperatures of Seattle, 2012 to 2015, from the package vega_datasets, as plain columns for our reader, and what
pandas makes of them.

Usage: daily_temperatures.py FILE. Writes FILE with the columns date, tmin_c, tmax_c; prints a JSON object: for each
year the degree-days over 10 degrees Celsius by the average of minimum and maximum.
"""

import json
import sys

from vega_datasets import local_data

BASE_C = 10.0


def main():
    days = local_data.seattle_weather()
    columns = {"temp_min": "tmin_c", "temp_max": "tmax_c"}
    days.rename(columns=columns)[["date", "tmin_c", "tmax_c"]].to_csv(sys.argv[1], index=False, date_format="%Y-%m-%d")
    heat = ((days["temp_min"] + days["temp_max"]) / 2 - BASE_C).clip(lower=0)
    sums = heat.groupby(days["date"].dt.year).sum()
    json.dump({str(year): total for year, total in sums.items()}, sys.stdout)


if __name__ == "__main__":
    main()
