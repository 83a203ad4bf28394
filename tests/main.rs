//! The tests, by purpose, in one binary: the engine is linked once.

mod support;

mod publish; // outputs opened by others, hostile text, classes and wording
mod region; // points and counties, against an independent computation
mod schema; // the visit schema, against independent validators
mod sheet; // count sheets, filled and opened by other people's software
