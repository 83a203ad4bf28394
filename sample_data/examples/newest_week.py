"""The newest week of a package that `bractline export` made, with pandas: how many fields are at threshold, and where
the median pressure is highest. Run it in the folder of the package:

    python newest_week.py
"""

import pandas

weeks = pandas.read_parquet("county_week.parquet")
weeks = weeks[weeks["iso_week"] == weeks["iso_week"].max()]
# A suppressed row has no figure, and one whose fields all lay outside the stage window no median.
shown = weeks.dropna(subset="median_pressure")
highest = shown.sort_values(["median_pressure", "county_id"], ascending=[False, True]).iloc[0]
print(
    f"{weeks['iso_week'].iloc[0]}: {shown['fields_at_threshold'].sum():.0f} of {shown['fields_visited'].sum():.0f} fields"
    f" in {len(shown)} counties at threshold; highest median {highest['median_pressure']:.2f} in {highest['county_name']}"
)
