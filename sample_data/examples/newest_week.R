# The newest week of a package that `bractline export` made, with base R: how many fields are at threshold, and the
# highest class of the median pressure. Run it in the folder of the package: Rscript newest_week.R
weeks <- read.csv("county_week.csv", encoding = "UTF-8")
weeks <- weeks[weeks$iso_week == max(weeks$iso_week), ]
# Fewer than five fields have no class, and fields that were all at another crop stage no median.
known <- weeks[weeks$median_class != "", ]
# A class is as high as its lower bound; below them all is the one in which nothing was found.
height <- ifelse(known$median_class == "nothing-found", -1, known$median_from)
known <- known[order(-height, known$county_name, method = "radix"), ]
highest <- known[known$median_class == known$median_class[1], ]
cat(sprintf(
  "%s: %d to %d of %d fields in %d counties at threshold; highest median %s in %d counties, first %s\n",
  weeks$iso_week[1], sum(weeks$at_threshold_min), sum(weeks$at_threshold_max), sum(weeks$fields_visited), nrow(weeks),
  highest$median_class[1], nrow(highest), highest$county_name[1]
))
