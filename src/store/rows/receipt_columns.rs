//! The columns of the table `receipts`.

use crate::rows::column::{Column, Holds, may, must};

/// One row per submission: received = accepted + duplicate + held.
pub(crate) const RECEIPTS: &[Column] = &[
    must(
        "load_id",
        Holds::Text,
        "the load; rows of the other tables that bear it count",
    ),
    must(
        "submission_sha256",
        Holds::Text,
        "SHA-256 of the submission, hexadecimal",
    ),
    must(
        "file_name",
        Holds::Text,
        "name of the submission's file, without its folder",
    ),
    must(
        "form",
        Holds::Text,
        "ndjson or json, with +gzip where packed",
    ),
    must("bytes", Holds::Whole64, "size of the submission, bytes"),
    must("received_at", Holds::Moment, "when it was loaded"),
    must("received", Holds::Whole64, "records in the submission"),
    must("accepted", Holds::Whole64, "records that are now in visits"),
    must(
        "duplicate",
        Holds::Whole64,
        "records that visits already held",
    ),
    must("held", Holds::Whole64, "records that could not be accepted"),
    must(
        "held_before",
        Holds::Whole64,
        "of these, records already held, byte for byte, from an earlier load",
    ),
    must("units", Holds::Whole64, "units of the accepted records"),
    must(
        "flagged",
        Holds::Whole64,
        "accepted records that bear a flag",
    ),
    must(
        "closed",
        Holds::Whole64,
        "held records of earlier loads that this one closed: rows of held_closed",
    ),
    must("version", Holds::Text, "version of bractline"),
    may(
        "sender",
        Holds::Text,
        "who sent the submission; null if it is not known",
    ),
    may(
        "undoes",
        Holds::Text,
        "of an undo: the load that it takes back, or brings back if it was taken back before",
    ),
    may(
        "reason",
        Holds::Text,
        "why the office made it: of an undo or an edit",
    ),
    may("who", Holds::Text, "who in the office made it"),
];
