//! What a cell means: numbers with units, days, times, texts; never a guess.

mod amounts;
pub(in crate::mapping) mod angles;
pub(in crate::mapping) mod cells;
pub(in crate::mapping) mod dates;
pub(in crate::mapping) mod day_shapes;
pub(in crate::mapping) mod lost_zeros;
mod month_names;
pub(in crate::mapping) mod next_to_number;
pub(in crate::mapping) mod no_day;
pub(in crate::mapping) mod numbers;
pub(crate) mod unit;
