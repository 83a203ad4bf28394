# The newest week of a package that `bractline export` made, with base R: how many fields are at threshold, and where
# the median pressure is highest. Run it in the folder of the package: Rscript newest_week.R
weeks <- read.csv("county_week.csv", encoding = "UTF-8")
weeks <- weeks[weeks$iso_week == max(weeks$iso_week), ]
# A suppressed row has no figure, and one whose fields all lay outside the stage window no median.
shown <- weeks[!is.na(weeks$median_pressure), ]
highest <- shown[order(-shown$median_pressure, shown$county_id), ][1, ]
cat(sprintf(
  "%s: %d of %d fields in %d counties at threshold; highest median %.2f in %s\n",
  weeks$iso_week[1], sum(shown$fields_at_threshold), sum(shown$fields_visited), nrow(shown),
  highest$median_pressure, highest$county_name
))
