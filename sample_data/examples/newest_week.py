"""The newest week of a package that `bractline export` made, with pandas: how many fields are at threshold, and the
highest class of the median pressure. Run it in the folder of the package:

    python newest_week.py
"""

import pandas

weeks = pandas.read_parquet("county_week.parquet")
weeks = weeks[weeks["iso_week"] == weeks["iso_week"].max()]
# Fewer than five fields have no class, and fields that were all at another crop stage no median.
known = weeks.dropna(subset="median_class")
# A class is as high as its lower bound; below them all is the one in which nothing was found.
known = known.assign(height=known["median_from"].where(known["median_class"] != "nothing-found", -1.0))
known = known.sort_values(["height", "county_name"], ascending=[False, True])
highest = known[known["median_class"] == known["median_class"].iloc[0]]
print(
    f"{weeks['iso_week'].iloc[0]}: {weeks['at_threshold_min'].sum()} to {weeks['at_threshold_max'].sum()} of"
    f" {weeks['fields_visited'].sum()} fields in {len(weeks)} counties at threshold;"
    f" highest median {highest['median_class'].iloc[0]} in {len(highest)} counties, first {highest['county_name'].iloc[0]}"
)
