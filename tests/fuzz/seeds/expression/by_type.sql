case crop_type when 'confection' then 1.0 else 21.5 * (0.000022 * plants_per_ha + 0.18) end
