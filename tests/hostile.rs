//! Characters at the edge of JSON that are accepted: a byte order mark and minus zero.

use serde_json::json;

use crate::support::hostile::bent;
use crate::support::{TestWorkspace, counts, full_visit, received};

#[test]
fn a_byte_order_mark_is_accepted_and_flagged() {
    let workspace = TestWorkspace::of_region("us:46");
    // Two files with a mark, joined: the second mark is before a line in the middle.
    let text = format!(
        "\u{feff}{}\n{}\n\u{feff}{}\n",
        full_visit("a"),
        full_visit("b"),
        full_visit("c")
    );
    let account = workspace.load_text("marked", &text);
    assert_eq!(counts(&account), received(3).accepted(3));
    assert_eq!(
        account["submissions"][0]["flags"],
        json!({"byte-order-mark": 2, "same-visit-other-id": 2})
    );
}

#[test]
fn minus_zero_is_zero_where_zero_is_right() {
    let workspace = TestWorkspace::of_region("us:46");
    let text = bent("minus", "[0,1,0,2,0,0]", "[-0,1,-0.0,2.0,0,0e0]");
    assert_eq!(
        counts(&workspace.load_text("minus", &text)),
        received(1).accepted(1)
    );
    let plain = full_visit("minus").to_string();
    assert_eq!(
        counts(&workspace.load_text("plain", &plain)),
        received(1).duplicate(1)
    );
}
