treatment_cost_per_ha / (market_value_per_kg * plants_per_ha * 0.00078 * 0.45359237)
