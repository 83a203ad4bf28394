//! A published week with every kind of map file.

use std::path::PathBuf;

use serde_json::Value;

use crate::support::{TestWorkspace, bractline, text_of};

pub const WEEK: &str = "2026-W32";

pub const PROTOCOL: &str = "bsm-eggs";

/// The newest week of the demo, issued and rolled up.
pub struct Published {
    pub week: PathBuf,
}

impl Published {
    /// Makes the demo in a workspace that is not made yet.
    pub fn demo(workspace: &TestWorkspace) -> Published {
        bractline(&["demo", &text_of(&workspace.path())]).expect_code(0);
        let settings = workspace.path().join("bractline.toml");
        let text = std::fs::read_to_string(&settings).expect("settings");
        // The demo scouts thinly: at 10 km hardly a cell has three fields.
        let wider = text.replace("point_grid_km = 10.0", "point_grid_km = 40.0");
        assert_ne!(wider, text);
        std::fs::write(&settings, wider).expect("settings");
        workspace
            .run(&["alert", "--week", WEEK, "--protocol", PROTOCOL, "--issue"])
            .expect_code(0);
        let week = workspace.beside("week");
        workspace
            .run(&["rollup", "--week", WEEK, "--out", &text_of(&week)])
            .expect_code(0);
        Published {
            week: week.join("public"),
        }
    }

    pub fn features(&self, name: &str) -> Vec<Value> {
        let text = std::fs::read_to_string(self.week.join(name)).expect("a map");
        let map: Value = serde_json::from_str(&text).expect("GeoJSON");
        map["features"].as_array().expect("features").clone()
    }
}
