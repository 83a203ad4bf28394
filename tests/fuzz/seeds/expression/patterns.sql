case when crop_type like 'oil%' and not crop_stage between 'R3' and 'R4' then 3 else 2.5 end -- eggs
