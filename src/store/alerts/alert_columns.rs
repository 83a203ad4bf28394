//! The columns of the table `alerts`.

use crate::rows::column::{Column, Holds, may, must};

/// One row an alert that was issued, with all that its files were made from; or a withdrawal of one; or an export that
/// made rows public.
///
/// Append-only. The row of an alert is committed after its files are on the disk, that of an export before the first
/// file of the package is written.
pub(crate) const ALERTS: &[Column] = &[
    must(
        "number",
        Holds::Whole64,
        "1, 2, 3 … of the workspace; of a withdrawal that of its alert; 0 for an export",
    ),
    must(
        "issue_id",
        Holds::Text,
        "identity of the attempt that issued it, a UUID",
    ),
    must("issued_at", Holds::Moment, "when it was issued"),
    must("iso_week", Holds::Text, "ISO 8601 week, as 2026-W30"),
    must("protocol", Holds::Text, "id of the protocol"),
    may(
        "replaces",
        Holds::Whole64,
        "of an update or a correction: number of the alert that it replaces",
    ),
    must(
        "store_version",
        Holds::Whole64,
        "version of the receipts that its figures were rolled up from",
    ),
    must("program_version", Holds::Text, "version of bractline"),
    must(
        "files",
        Holds::Text,
        "JSON array of its files: name, bytes, sha256 (hexadecimal)",
    ),
    must("headline", Holds::Text, "its headline"),
    must("summary", Holds::Text, "its summary, plain text"),
    must("title", Holds::Text, "title of the protocol"),
    may(
        "invented",
        Holds::Text,
        "the notice that its region is invented, if it is",
    ),
    may(
        "note",
        Holds::Text,
        "the entomologist's comments, Markdown as written",
    ),
    must("settings", Holds::Text, "text of bractline.toml as it was"),
    must(
        "protocols",
        Holds::Text,
        "JSON object of the protocol files that its figures are based on: id, text",
    ),
    may(
        "boundaries_sha256",
        Holds::Text,
        "SHA-256 of the user's own boundary file, hexadecimal; null for built-in counties",
    ),
    may(
        "weather_sha256",
        Holds::Text,
        "fingerprint of the weather data of the alert; null while none is used",
    ),
    may(
        "entry",
        Holds::Whole64,
        "1, 2, 3 … of the rows of this table; null in a row of an older program, where it is the number",
    ),
    may(
        "kind",
        Holds::Text,
        "alert, withdrawal (of the alert with that number) or export (of public rows; its number is 0); null in a row of \
         an older program: alert",
    ),
    may(
        "public_rows",
        Holds::Text,
        "JSON array of the public rows that it brought, with their fields as hashes; null in a row of an older program",
    ),
    may(
        "reason",
        Holds::Text,
        "of a withdrawal or a correction: why",
    ),
    may(
        "season_k",
        Holds::Number,
        "k of the season's counts under the protocol when it was issued; null without visits, and in a row of an older program",
    ),
    may(
        "season_k_information",
        Holds::Number,
        "how well that k was known: its coefficient of variation is about sqrt(2 / season_k_information)",
    ),
    may(
        "logo_sha256",
        Holds::Text,
        "SHA-256 of the office's logo on it, hexadecimal; null without one, and in a row of an older program",
    ),
    may(
        "change",
        Holds::Text,
        "of an alert that replaces another: update or correction; null in a row of an older program: correction",
    ),
];
