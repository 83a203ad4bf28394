//! The tests that need Rust alone, by purpose, in one binary: the engine is linked once.

#[path = "fuzz/targets/mod.rs"]
mod fuzz_targets;
#[path = "fuzz/tokens.rs"]
mod fuzz_tokens;
mod support; // what several modules need
mod visit_files; // visits as files of our own schema

mod answers; // the top of an alert: where, how sure, what to do now, and the office
mod bucket; // addresses of buckets that are refused
mod care; // files put together and removed, each file held to its log
mod cli; // the program as a person meets it: help, exit codes, messages
#[cfg(feature = "cluster-tests")]
mod cluster; // the stages on a scheduler and executors of their own
mod costs; // what a file, an outline or a query may cost
mod count_sheet_read; // count sheets as people give them back: units, headings, rows and tabs changed
mod county_alone; // a field of which only the county is known
mod defaults; // economics that a record lacks: assumed with a trace, or held
mod demo; // what the demo publishes says what it is
mod disclosure; // what is public of which fields: withheld groups, editions, protocols, withdrawals
mod dispersion; // k, Taylor's law and Moran's I: what is written, and when nothing is
mod doubts; // what is strange about a visit that no rule refuses
mod engines; // the same figures on any number of cores and in any order of loading
mod export; // packages for researchers: nothing private in a public one, the same twice, refused
mod export_gate; // what the gate of a package stops
mod faults; // limits, clocks, odd files, closed streams, newer tables
mod field_calls; // fields that can and cannot be called at their threshold
mod finding_codes; // every code of a finding: a record that has it and one that has not
mod fuzz_seeds; // what the search for hostile files has kept, and changes of it
mod handouts; // what is pasted and sent: PDF, picture, e-mail, short text
mod heat; // degree-days: published tables and closed forms
mod heat_weather; // weather files: layouts, gaps, what is refused
mod heat_window; // from a stage seen to the days of treatment
mod held_desk; // records that come back, drops, closing and its idempotence, the list
mod hostile; // what looks hostile in JSON and is accepted
mod hostile_text; // texts that mean no good in every member that holds text
mod house; // the rules of the house: what a file is, banned calls
mod identity; // ids as written; random submissions add up
mod inbox; // a folder as offices keep it: mappings, junk, broken files, archives, mails
mod intake; // every form in which submissions come, and what becomes of each record
mod issuing; // issued alerts: frozen, corrected, built again, numbered once
mod licences; // whose code the program is built of
mod map_files; // the map of a page and the map files: classes distinct, true at the edges
mod mapping; // mapping files and the plain layout: rows of sheets become visits
mod maps; // the page of columns with the map files
mod mended; // the sheet of rows that were held
mod merge; // any order, split and multiplicity of submissions gives the same table
mod method_note; // the tables of the method note are those of the functions and of the simulations
mod note_gate; // a note that gives a field away, and a grid made narrower, from the command line
mod plan; // plan field: Wald's lines, what is refused
mod plan_edge; // plan edge: distances and strips of a field, from its record through load
mod privacy; // no public file tells whose field it was
mod private_files; // who may read what the program writes, under any umask
mod protocols; // protocol files: what is refused, and visits of every kind of count
mod publish; // outputs: classes, wording and what they claim
mod published; // values from outside, typed by hand, with their sources
mod publishing; // the public place: what gets there, what the gate stops, and what all of it gives away
mod region; // what a boundary file may hold, and which county a point is in
mod researcher; // what a researcher takes along: old versions, files of answers, effort, weather, whom to cite
mod returned; // sheets that come back with rows or columns taken out or added
mod round_trip; // visits through files of ours and back: the same
mod scenario; // relations of loss: by hand, and refused
mod schema; // the visit schema, our validator and our typed reading
mod senders; // who reported, who has not, letters to them, the contact list, figures of senders
mod sheet; // count sheets: bytes, boxes, refused
mod sql; // queries: what they can read, and that they can do nothing else
mod stages; // each SQL stage on a few rows, and what the runner refuses
mod supersede; // a file loaded again after its mapping was corrected
mod thresholds; // thresholds of the protocols against values from outside
mod tour; // the pages for users, walked command by command
mod tree; // the top level, what no file may name, what a newcomer looks for
mod trend; // command trend: what is withheld moves no byte; what the data cannot bear
mod trend_statistics; // the nowcast looked back at
mod undo; // whose a submission is, the list of submissions, taking one back
mod undo_model; // loads, undos and edits in any order, against a model of their own
mod visit_edit; // one visit shown, and changed by a next revision
mod week_starts; // weeks that start on a day of the office, from load to package
mod weekly; // all alerts of a week in one go: drafted, confirmed, issued, replaced, published, and how long it takes
mod whose_field; // two senders who number alike, prefixes, and records that come back with them
