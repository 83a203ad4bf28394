//! What one file, outline or query may cost: files that a person names in a command's place, outlines of a million
//! vertices, submissions that unpack or are held without end, queries that ask for all memory at once. Where the fault was
//! one of growth, the limit of time is hundreds of times what it takes now and a fraction of what it took.

mod named_files;
mod outlines;
mod queries;
mod submissions;
