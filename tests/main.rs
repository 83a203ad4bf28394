//! The tests, by purpose, in one binary: the engine is linked once.

#[path = "fuzz/targets/mod.rs"]
mod fuzz_targets;
#[path = "fuzz/tokens.rs"]
mod fuzz_tokens;
mod generated;
mod in_process;
mod support;
mod visit_files;
mod week_rows;

mod bucket; // the tables in a bucket of a real server
mod care; // files put together and removed, each file held to its log
mod certainty; // how sure the figure of a field is, against scipy
mod cli; // the program as a person meets it: help, exit codes, messages
#[cfg(feature = "cluster-tests")]
mod cluster; // the stages on a scheduler and executors of their own
mod concurrency; // several programs on one workspace at once
mod costs; // what a file, an outline or a query may cost
mod crash; // every command that changes something, killed at its steps
mod defaults; // economics that a record lacks: assumed with a trace, or held
mod demo; // the demo: what it says is true, and it comes out the same twice
mod disclosure; // what is public of which fields: withheld groups, editions, protocols, withdrawals
mod dispersion; // k, Taylor's law and Moran's I as written, against reference libraries
mod doubts; // what is strange about a visit that no rule refuses
mod durability; // what is on the disk when a load says that it is, and after a kill at any step
mod engines; // the same figures on any number of cores and in any order of loading
mod export; // packages for researchers: validated, searched, computed again, the same twice, refused
mod export_gate; // what the gate of a package stops
mod faults; // full and read-only disks, limits, clocks, odd files, closed streams, newer tables
mod finding_codes; // every code of a finding: a record that has it and one that has not
mod flat_memory; // loading takes no more memory for a longer submission
mod fuzz_seeds; // what the search for hostile files has kept, and changes of it
mod heat; // degree-days: published tables and closed forms
mod heat_hourly; // the daily methods against hourly temperatures
mod heat_weather; // weather files: layouts, gaps, what is refused
mod heat_window; // from a stage seen to the days of treatment
mod held_desk; // hold, export, mend, load again; drop; closing and its idempotence
mod hostile; // records and files that mean no good, or were broken on the way
mod hostile_text; // texts that mean no good in every member that holds text, as far as a browser
mod house; // the rules of the house: what stands in a file, banned calls, headers of stages
mod identity; // duplicates, conflicts, corrections and withdrawals in any order of arrival
mod imports; // who may import whom
mod intake; // every form in which submissions come, and what becomes of each record
mod issuing; // issued alerts: frozen, corrected, built again, whole after a kill, numbered once
mod licences; // whose code the program is built of
mod load_speed; // a load and a roll-up against the least that reading costs: a ratio, never a time
mod look; // the alert's page in a browser: widths, light and dark, paper
mod look_colours; // the classes of every map for eyes that see colours otherwise, and in grey print
mod look_use; // the alert's page from the keyboard: the table sorts, the units change, the sums are the CSV's
mod map_files; // the map of a page and the map files: classes told apart, read by other programs
mod mapping; // mapping files and the plain layout: rows of sheets become visits
mod maps; // the map files, opened and drawn by other people's viewers
mod mended; // rows that were held: exported in columns, mended by other programs, loaded as they are
mod merge; // any order, split and multiplicity of submissions gives the same table
mod note_gate; // a note that gives a field away, and a grid made narrower, from the command line
mod object_faults; // an object store that fails or is slow at its n-th call
mod plan; // plan field: Wald's lines, a season's scatter, what is refused, the card in a browser
mod plan_edge; // plan edge: distances and strips of a field, from its record through load
mod power; // what was not synced at the word is taken away, and nothing that was told is lost
mod privacy; // no public file tells whose field it was
mod private_files; // who may read what the program writes, under any umask
mod protocols; // protocol files: what is refused, and visits of every kind of count
mod publish; // outputs opened by others, hostile text, classes and wording
mod published; // values from outside, typed by hand, with their sources
mod publishing; // the public place: what gets there, what the gate stops, and what all of it gives away
mod reference; // every cell against independent programs, on real county boundaries
mod region; // points and counties, against an independent computation
mod round_trip; // visits through files of ours and back: the same
mod scenario; // roll-ups under other economics: by hand, on their face, refused by alert and publish
mod schema; // the visit schema, against independent validators
mod sheet; // count sheets, filled and opened by other people's software
mod sheet_load; // a filled count sheet through load
mod space; // shrunk shares, Moran's I and neighbours, against reference libraries
mod sql; // queries: what they can read, and that they can do nothing else
mod stages; // each SQL stage on a few rows, and what the runner refuses
mod statistics; // fits, intervals and stop lines, against reference libraries
mod tables; // tables of other people's programs, and files made to exhaust their reader
mod thresholds; // thresholds of the protocols against values from outside
mod tree; // the top level, what no file may name, what a newcomer looks for
mod trend; // command trend against other programs; what is withheld moves no byte; what the data cannot bear
mod trend_statistics; // Mann-Kendall, Hamed-Rao and Theil-Sen against reference libraries; the nowcast looked back at
mod truth_table; // one truth as many sheets: it comes back, or the message names what bends it
mod windows; // weather files of a workspace and the days of treatment, against an independent computation
