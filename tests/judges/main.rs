//! The tests that need independent judges: programs of others that read, compute or watch what ours does.
//! `tests/run` installs them.

mod judge; // the programs of others, and what they are run with
#[path = "../support/mod.rs"]
#[allow(dead_code, unused_imports)]
mod support; // what several modules need; tests/main.rs uses the rest of it

mod bucket; // the tables in a bucket of a real server
mod care; // care of the store, with its files read by a program of others and the program killed under `strace`
mod certainty; // how sure the figure of a field is, against scipy
mod concurrency; // several programs on one workspace at once
mod crash; // every command that changes something, killed at its steps
mod demo; // the demo from start to end, with its store read by a program of others
mod disclosure; // attacks on the published rows of seasons, computed by an independent program
mod dispersion; // k, Taylor's law and Moran's I against reference libraries
mod durability; // what is on the disk when a load says that it is, and after a kill at any step
mod export; // packages for researchers, passed by validators, searched, and computed again by independent programs
mod faults; // disks that are full or read-only, in a mount space of their own
mod first_screen; // the three answers and the map on the first screen of a phone and of a desk
mod flat_memory; // loading takes no more memory for a longer submission
mod handouts; // what is pasted and sent, opened by readers of PDF, HTML, pictures and text messages
mod heat_hourly; // the daily methods against hourly temperatures
mod held_desk; // held records that are corrected by other programs, and their exports as spreadsheets show them
mod hostile; // hostile records, with memory measured from outside and the store read by a program of others
mod hostile_text; // hostile texts as far as a browser and a feed reader
mod identity; // what the store holds after duplicates, conflicts and corrections, read by a program of others
mod intake; // what the store holds of every form of submission, read by a program of others
mod issuing; // an issue that is killed at any of its steps, under `strace`
mod load_speed; // a load and a roll-up against the least that reading costs: a ratio, never a time
mod look; // the alert's page in a browser: widths, light and dark, paper
mod look_colours; // the classes of every map for eyes that see colors otherwise, and in gray print
mod look_use; // the alert's page from the keyboard: the table sorts, the units change, the sums are the CSV's
mod map_files; // the map files, read and validated by other programs
mod mapping; // mapping files against an independent validator of their schema
mod maps; // the map files, opened and drawn by viewers of others
mod mended; // rows that were held, corrected by other programs and loaded as they are
mod messy; // messy files of other programs, each with its truth
mod object_faults; // an object store that fails or is slow at its n-th call
mod plan; // a season's scatter against a reference library, and the card in a browser
mod power; // what was not synced at the word is taken away, and nothing that was reported is lost
mod publish; // hostile text in pages as a parser of others reads it, and tables opened by other programs
mod published; // weeks, quantiles and sampling statistics against numpy and the calendar of Python
mod publishing; // the public place: the feed as others read it, a bucket, and hostile text in page, mail and list
mod reference; // every cell against independent programs, on real county boundaries
mod region; // counties of points against an independent computation
mod scenario; // roll-ups under other economics, each field against an independent computation
mod schema; // the visit schema against independent validators
mod sheet; // count sheets, filled, saved and opened by other programs
mod sheet_load; // a filled count sheet through load
mod space; // shrunk shares, Moran's I and neighbors, against reference libraries
mod statistics; // fits, intervals and stop lines, against reference libraries
mod tables; // tables of other people's programs, and files made to exhaust their reader
mod trend; // the trend over seasons against other programs and in a browser
mod trend_statistics; // Mann-Kendall, Hamed-Rao and Theil-Sen against reference libraries
mod truth_table; // one truth as many sheets: it comes back, or the message names what bends it
mod windows; // weather files of a workspace and the days of treatment, against an independent computation
