//! The public place: what gets there and what does not, what the gate stops, and that no sum on any page of
//! a season is based on more than the rows with it.

mod gate;
mod place;
mod totals;
