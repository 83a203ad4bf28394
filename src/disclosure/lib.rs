//! Disclosure control: what may be said in public of the fields of a place and week, and how often.
//!
//! Every public figure is a copy of a [`public_row::PublicRow`], and [`public_row::public_row`] is the only function
//! that makes one. It gets the fields of one place, week and protocol and gives counts in coarse steps, a class of
//! the median, and nothing that a single field could be computed from. [`week_rows`] decides which rows a week
//! has, given those that are public already: a field is in one row and stays there. A row changes once at most, by a
//! group of fields that could be shown by itself ([`editions`]).
//!
//! Two levels. `survey`, the default, is for offices whose growers agreed that counts by county are published; `strict`
//! gives intervals in place of counts, as statistical offices do. Attacks on both are in `tests/reference`.

pub mod cell;
pub mod editions;
pub mod field;
#[cfg(any(test, feature = "invented"))]
pub mod invented;
pub mod median_class;
pub mod place;
pub mod public_row;
pub mod rule;
pub mod stage_groups;
mod treatment_weeks;
pub mod week;
pub mod week_rows;
