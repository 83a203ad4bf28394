power(ln(plants_per_ha), 2.0) + abs(cast('3' as double)) + coalesce(nullif(area_ha, 7.0), 20.0)
