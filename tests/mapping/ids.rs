//! Ids: zeros that may be lost, and ids that are made of a visit.

use intake::sheet::table::Cell;

use super::{base_row, base_sheet, document, records, text};
use crate::support::mapping::BASE;

#[test]
fn ids_that_may_have_lost_their_zeros_are_held() {
    let ids = |ids: &[Cell], lines: &str| -> Vec<Result<String, String>> {
        let mapping_text = BASE.replace(
            "to = \"/field/field_id\"",
            &format!("to = \"/field/field_id\"\n{lines}"),
        );
        let sheet = base_sheet(|rows| {
            rows.truncate(1);
            for (place, id) in ids.iter().enumerate() {
                let mut row = base_row();
                row[0] = text(&format!("v-{place}"));
                row[1] = id.clone();
                rows.push(row);
            }
        });
        let made = records(&mapping_text, sheet);
        made.iter()
            .map(|record| match &record.document {
                Ok(_) => Ok(document(record)["field"]["field_id"].to_string()),
                Err(findings) => Err(format!("{}: {}", findings[0].code, findings[0].expected)),
            })
            .collect()
    };
    let number = Cell::Number;
    let mixed = [text("00417"), number(418.0), number(12_345.0), text("F-7")];
    let read = ids(&mixed, "");
    assert_eq!(read[0], Ok("\"00417\"".to_owned()));
    let fault = read[1].clone().unwrap_err();
    assert!(fault.starts_with("id-lost-zeros"), "{fault}");
    assert!(fault.contains("418 may have been 00418"), "{fault}");
    assert!(fault.contains("zeroPad = 5"), "{fault}");
    assert!(read[2].is_ok() && read[3].is_ok(), "{read:?}");
    assert_eq!(ids(&mixed, "zeroPad = 5")[1], Ok("\"00418\"".to_owned()));
    assert_eq!(ids(&mixed, "zeroPad = 1")[1], Ok("\"418\"".to_owned()));
    assert!(
        ids(&[number(7.0), number(418.0)], "")
            .iter()
            .all(Result::is_ok)
    );

    // A county of the United States has five digits.
    let county = BASE.to_owned() + "\n[[field]]\nname = \"County\"\nto = \"/field/county_id\"\n";
    let with_county = |cell: &Cell| {
        base_sheet(|rows| {
            rows[0].push(text("County"));
            rows[1].push(cell.clone());
        })
    };
    for (cell, held) in [
        (number(1001.0), true),
        (text("1001"), true),
        (text("01001"), false),
        (number(46_001.0), false),
        (text("X-1"), false),
    ] {
        let record = &records(&county, with_county(&cell))[0];
        assert_eq!(record.document.is_err(), held, "{cell:?}: {record:?}");
    }
}

#[test]
fn a_visit_id_is_made_the_same_every_time_and_never_of_two_visits() {
    let with_id = BASE.replace("[[field]]\nname = \"Id\"\nto = \"/visit_id\"\n", "")
        + "\n[visitId]\nfrom = [\"/field/field_id\", \"/observed_on\"]\nprefix = \"north\"\n";
    let id = |field: &str| {
        let sheet = base_sheet(|rows| {
            rows.iter_mut().for_each(|row| {
                row.remove(0);
            });
            rows[1][0] = text(field);
        });
        document(&records(&with_id, sheet)[0])["visit_id"]
            .as_str()
            .expect("a text")
            .to_owned()
    };
    assert_eq!(id("F-1"), "north:F-1:2026-07-21");
    assert_eq!(id("F-1"), id("F-1"));
    assert_eq!(id("a:b"), "north:a%3Ab:2026-07-21");
    assert_ne!(id("a:b"), id("a%3Ab"));
}
