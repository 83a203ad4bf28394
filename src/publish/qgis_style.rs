//! A QGIS style file (QML) for the county-week layer: QGIS takes it by itself where it lies beside
//! the data under the data's name.
//!
//! Rules, symbols and the fields of time alone; labels and forms are the user's.

use std::fmt::Write;

use askama::filters::{Html, escape};

use crate::publish::classes::{BORDER, INK};
use crate::publish::map_rules::{Marks, Rule, rules};

/// The style, as QGIS 3 reads it. The time of a feature runs from `start` to `end`, both included.
pub fn qgis_style() -> String {
    let rules = rules();
    let mut style = String::from(concat!(
        "<!DOCTYPE qgis>\n",
        "<qgis version=\"3.22\" styleCategories=\"Symbology|Temporal\">\n",
        "  <temporal enabled=\"1\" mode=\"2\" limitMode=\"1\" startField=\"start\" endField=\"end\" ",
        "startExpression=\"\" endExpression=\"\" durationField=\"\" durationUnit=\"days\" ",
        "fixedDuration=\"0\" accumulate=\"0\"/>\n",
        "  <renderer-v2 type=\"RuleRenderer\" symbollevels=\"1\" forceraster=\"0\" enableorderby=\"0\">\n",
        "    <rules key=\"root\">\n",
    ));
    // Writing to a String cannot fail.
    for (place, rule) in rules.iter().enumerate() {
        let _ = writeln!(
            style,
            "      <rule key=\"class-{place}\" symbol=\"{place}\" label=\"{}\" filter=\"{}\"/>",
            escaped(rule.class.words()),
            escaped(&expression(rule)),
        );
    }
    style.push_str("    </rules>\n    <symbols>\n");
    for (place, rule) in rules.iter().enumerate() {
        let _ = writeln!(
            style,
            "      <symbol name=\"{place}\" type=\"fill\" alpha=\"1\" clip_to_extent=\"1\" force_rhr=\"0\">"
        );
        for layer in layers(rule) {
            style.push_str(&layer);
        }
        style.push_str("      </symbol>\n");
    }
    style.push_str("    </symbols>\n  </renderer-v2>\n  <blendMode>0</blendMode>\n</qgis>\n");
    style
}

fn expression(rule: &Rule) -> String {
    let mut all = vec![format!("\"status\" = '{}'", rule.status)];
    if let Some((from, below)) = rule.median {
        all.push(format!("\"median_pressure\" >= {from}"));
        all.extend(below.map(|below| format!("\"median_pressure\" < {below}")));
    }
    all.join(" AND ")
}

/// The layers of a symbol, the lowest first. At threshold is drawn after all others.
fn layers(rule: &Rule) -> Vec<String> {
    if rule.class.at_threshold() {
        return vec![
            fill_layer(1, "solid", rule.fill, "#ffffff", 1.6),
            fill_layer(2, "no", rule.fill, INK, 0.8),
        ];
    }
    let mut layers = vec![fill_layer(0, "solid", rule.fill, BORDER, 0.2)];
    layers.extend(rule.marks.map(|marks| {
        let brush = match marks {
            Marks::Dots => "dense6",
            Marks::Crosses => "cross",
            Marks::Lines => "b_diagonal",
        };
        fill_layer(0, brush, "#777777", BORDER, 0.2)
    }));
    layers
}

/// One layer; widths in millimetres.
fn fill_layer(pass: u8, brush: &str, fill: &str, outline: &str, width: f64) -> String {
    let (fill, outline) = (rgba(fill), rgba(outline));
    let width = width.to_string();
    let options = [
        ("color", fill.as_str()),
        ("style", brush),
        ("outline_color", &outline),
        ("outline_style", "solid"),
        ("outline_width", &width),
        ("outline_width_unit", "MM"),
        ("joinstyle", "round"),
    ];
    let mut layer = format!(
        "        <layer class=\"SimpleFill\" enabled=\"1\" locked=\"0\" pass=\"{pass}\">\n          <Option type=\"Map\">\n"
    );
    for (name, value) in options {
        let _ = writeln!(
            layer,
            "            <Option type=\"QString\" name=\"{name}\" value=\"{value}\"/>"
        );
    }
    layer.push_str("          </Option>\n");
    // QGIS before 3.26 reads these where both are there.
    for (name, value) in options {
        let _ = writeln!(layer, "          <prop k=\"{name}\" v=\"{value}\"/>");
    }
    layer.push_str("        </layer>\n");
    layer
}

/// `#fee838` or `#000` as QGIS writes a colour: `254,232,56,255`.
fn rgba(colour: &str) -> String {
    let digits: Vec<u32> = colour
        .chars()
        .filter_map(|digit| digit.to_digit(16))
        .collect();
    let parts: Vec<String> = match digits.len() {
        3 => digits
            .iter()
            .map(|digit| (digit * 17).to_string())
            .collect(),
        _ => digits
            .chunks(2)
            .map(|pair| {
                pair.iter()
                    .fold(0, |sum, digit| sum * 16 + digit)
                    .to_string()
            })
            .collect(),
    };
    format!("{},255", parts.join(","))
}

fn escaped(text: &str) -> String {
    match escape(text, Html) {
        Ok(safe) => safe.to_string(),
        Err(never) => match never {},
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn colours_are_written_as_qgis_reads_them() {
        assert_eq!(rgba("#fee838"), "254,232,56,255");
        assert_eq!(rgba("#000"), "0,0,0,255");
        assert_eq!(rgba("#fff"), "255,255,255,255");
    }

    #[test]
    fn every_class_has_a_rule_and_a_symbol() {
        let style = qgis_style();
        for place in 0..rules().len() {
            assert!(style.contains(&format!("key=\"class-{place}\" symbol=\"{place}\"")));
            assert!(style.contains(&format!("<symbol name=\"{place}\"")));
        }
        assert!(!style.contains("<rule key=\"class-0\" symbol=\"0\" label=\"\""));
    }
}
