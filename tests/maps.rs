//! The page of columns that comes with the map files.

use crate::support::TestWorkspace;
use crate::support::maps::Published;
use crate::support::snapshots::assert_text;

#[test]
fn the_page_of_columns_names_every_column_of_every_file() {
    let workspace = TestWorkspace::empty();
    let published = Published::demo(&workspace);
    let page = std::fs::read_to_string(published.week.join("COLUMNS.md")).expect("the page");
    assert_text("public-columns", &page);
    let private = published.week.join("../private/COLUMNS.md");
    let private = std::fs::read_to_string(private).expect("the page of the private tables");
    assert_text("private-columns", &private);
    for name in ["county_week.geojson", "sample_points.geojson"] {
        let features = published.features(name);
        for column in features[0]["properties"]
            .as_object()
            .expect("properties")
            .keys()
        {
            assert!(
                page.contains(&format!("| `{column}` |")),
                "{name}: {column}"
            );
        }
    }
    assert!(page.contains("Invented data") && page.contains("label"));
}
