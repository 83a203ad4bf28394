case when treatment_cost_per_ha / plants_per_ha - 1.69 < 0.005 then 0.005 else treatment_cost_per_ha / plants_per_ha - 1.69 end
