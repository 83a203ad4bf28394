//! The tests, by purpose, in one binary: the engine is linked once.

mod support;

mod mapping; // mapping files and the plain layout: rows of sheets become visits
mod publish; // outputs opened by others, hostile text, classes and wording
mod region; // points and counties, against an independent computation
mod schema; // the visit schema, against independent validators
