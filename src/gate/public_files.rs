//! The names of the files that are public, and what kind each is. A new public file needs its name here.

/// What kind of file bears a public name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Judged {
    /// Words for people: HTML, Markdown, a feed; or the style of a map.
    Words,
    /// CSV of county-weeks.
    Table,
    /// CSV of fields that are in no row of a county.
    Elsewhere,
    /// GeoJSON of county-weeks.
    Map,
    /// HTML for an e-mail: words with figures by county and the cautions.
    Letter,
    /// PDF, of the same.
    Pdf,
    /// PNG: pixels alone.
    Picture,
    /// A text of few letters with its caution.
    Short,
}

/// The files of an issued alert that are public, by name.
pub(crate) const PUBLIC_FILES: [(&str, Judged); 14] = [
    ("alert.html", Judged::Words),
    ("alert.md", Judged::Words),
    ("alert.pdf", Judged::Pdf),
    ("county_week.csv", Judged::Table),
    ("elsewhere_week.csv", Judged::Elsewhere),
    ("county_week.geojson", Judged::Map),
    ("county_week.qml", Judged::Words),
    ("county_week.style.json", Judged::Words),
    ("county_week.legend.json", Judged::Words),
    ("map.html", Judged::Words),
    ("email.html", Judged::Letter),
    ("map.png", Judged::Picture),
    ("map.svg", Judged::Words),
    ("short.txt", Judged::Short),
];

/// The name of an alert's page.
pub(crate) const ALERT_PAGE: &str = "alert.html";

/// The public files next to the alerts.
pub(crate) const PUBLIC_AROUND: [&str; 2] = ["feed.xml", "index.html"];
/// The folder of the newest alert of each pest: a folder by the id of each protocol, a page and a list for programs.
pub(crate) const LATEST: &str = "latest";
/// The list of the newest alerts for programs, in that folder.
pub(crate) const LATEST_MANIFEST: &str = "latest.json";
/// The name of a week's page, in a folder of the week; and of the page of the newest alerts.
pub(crate) const WEEK_PAGE: &str = "index.html";
