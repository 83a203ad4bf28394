case when crop_type = 'oilseed' and crop_stage in ('R2', 'R3') then 0.20 else 0.08 end
