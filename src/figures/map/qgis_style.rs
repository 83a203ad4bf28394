//! A QGIS style file (QML) for the county-week layer: QGIS takes it by itself where it is next to the data under the
//! data's name.
//!
//! Rules, symbols, the counties' names and the fields of time; forms are the user's. The rules of a protocol are a group
//! under its title, and only the first group is switched on, so that two protocols are never drawn over each other.

use std::fmt::Write;

use askama::filters::{Html, escape};

use super::rows::MapRows;
use super::rules::{AT_THRESHOLD, Named, Rule, outlined, rules};
use crate::shared::classes::{BORDER, INK, Marks};
use crate::shared::count_words::CountWords;
use crate::shared::unseen::plain_text;

/// County names in black with a white rim, inside the outline; QGIS leaves out what does not fit.
const LABELS: &str = concat!(
    "  <labeling type=\"simple\">\n    <settings calloutType=\"simple\">\n",
    "      <text-style fieldName=\"county_name\" isExpression=\"0\" fontSize=\"8\" fontSizeUnit=\"Point\" textColor=\"0,0,0,255\" textOpacity=\"1\">\n",
    "        <text-buffer bufferDraw=\"1\" bufferSize=\"0.8\" bufferSizeUnits=\"MM\" bufferColor=\"255,255,255,255\" bufferOpacity=\"1\"/>\n",
    "      </text-style>\n      <placement placement=\"1\" centroidInside=\"1\" centroidWhole=\"1\"/>\n",
    "      <rendering drawLabels=\"1\" obstacle=\"0\"/>\n    </settings>\n  </labeling>\n",
);

/// The style of a file, as QGIS 3 reads it. The time of a feature runs from `start` to `end`, both included. `name_of`
/// gives the title and the words of a protocol by its id.
pub fn qgis_style(rows: &MapRows, name_of: &dyn Fn(&str) -> Named) -> String {
    let rules = rules(&rows.classes);
    let mut style = String::from(concat!(
        "<!DOCTYPE qgis>\n",
        "<qgis version=\"3.22\" styleCategories=\"Symbology|Labeling|Temporal\" labelsEnabled=\"1\">\n",
        "  <temporal enabled=\"1\" mode=\"2\" limitMode=\"1\" startField=\"start\" endField=\"end\" ",
        "startExpression=\"\" endExpression=\"\" durationField=\"\" durationUnit=\"days\" ",
        "fixedDuration=\"0\" accumulate=\"0\"/>\n",
        "  <renderer-v2 type=\"RuleRenderer\" symbollevels=\"1\" forceraster=\"0\" enableorderby=\"0\">\n",
        "    <rules key=\"root\">\n",
    ));
    let mut symbols = String::new();
    // Writing to a String cannot fail.
    for (group, protocol) in rows.protocols.iter().enumerate() {
        let named = name_of(protocol);
        let drawn = drawn_rules(&rules, named.words);
        let _ = writeln!(
            style,
            "      <rule key=\"protocol-{group}\" checkstate=\"{}\" label=\"{}\" filter=\"{}\">",
            u8::from(group == 0),
            escaped(&plain_text(&named.title)),
            escaped(&format!("\"protocol\" = {}", text_literal(protocol))),
        );
        for (place, rule) in drawn.iter().enumerate() {
            // A symbol serves one rule: QGIS takes it out of the list when a rule names it.
            let symbol = group * drawn.len() + place;
            let _ = writeln!(
                style,
                "        <rule key=\"class-{symbol}\" symbol=\"{symbol}\" label=\"{}\" filter=\"{}\"/>",
                escaped(&rule.label),
                escaped(&rule.filter),
            );
            let _ = writeln!(
                symbols,
                "      <symbol name=\"{symbol}\" type=\"fill\" alpha=\"1\" clip_to_extent=\"1\" force_rhr=\"0\">"
            );
            symbols.extend(rule.layers.iter().map(String::as_str));
            symbols.push_str("      </symbol>\n");
        }
        style.push_str("      </rule>\n");
    }
    style.push_str("    </rules>\n    <symbols>\n");
    style.push_str(&symbols);
    style.push_str("    </symbols>\n  </renderer-v2>\n  <blendMode>0</blendMode>\n");
    style.push_str(LABELS);
    style.push_str("</qgis>\n");
    style
}

/// A rule as QGIS has it.
struct DrawnRule {
    label: String,
    filter: String,
    /// The layers of its symbol, the lowest first.
    layers: Vec<String>,
}

/// The rules of the classes, and the one of the outline, which is drawn after all others.
fn drawn_rules(rules: &[Rule], words: CountWords) -> Vec<DrawnRule> {
    let mut drawn: Vec<DrawnRule> = rules
        .iter()
        .map(|rule| DrawnRule {
            label: rule.class.words(words),
            filter: expression(rule),
            layers: layers(rule),
        })
        .collect();
    drawn.push(DrawnRule {
        label: outlined(words),
        filter: format!("\"{AT_THRESHOLD}\" > 0"),
        layers: vec![
            fill_layer(1, "no", "#ffffff", "#ffffff", 1.6),
            fill_layer(2, "no", "#ffffff", INK, 0.8),
        ],
    });
    drawn
}

fn expression(rule: &Rule) -> String {
    let mut all = vec![format!("\"status\" = {}", text_literal(rule.status))];
    if let Some((level, median_class)) = &rule.median {
        all.push(format!("\"level\" = {}", text_literal(level)));
        all.push(format!("\"median_class\" = {}", text_literal(median_class)));
    }
    all.join(" AND ")
}

fn text_literal(text: &str) -> String {
    format!("'{}'", text.replace('\'', "''"))
}

fn layers(rule: &Rule) -> Vec<String> {
    let mut layers = vec![fill_layer(0, "solid", rule.fill, BORDER, 0.2)];
    layers.extend(rule.marks.map(|marks| {
        let brush = match marks {
            Marks::Dots => "dense6",
            Marks::Lines => "b_diagonal",
            Marks::Crosses => "cross",
        };
        fill_layer(0, brush, "#555555", BORDER, 0.2)
    }));
    layers
}

/// One layer; widths in millimeters.
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

/// `#fee838` or `#000` as QGIS writes a color: `254,232,56,255`.
fn rgba(color: &str) -> String {
    let digits: Vec<u32> = color
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
    use std::sync::Arc;

    use arrow::array::{ArrayRef, Date32Array, RecordBatch, StringArray};

    use jiff::civil::Date;

    use super::*;
    use crate::figures::map::rows::Coverage;
    use scouting::region::Region;

    #[test]
    fn colors_are_written_as_qgis_reads_them() {
        assert_eq!(rgba("#fee838"), "254,232,56,255");
        assert_eq!(rgba("#000"), "0,0,0,255");
        assert_eq!(rgba("#fff"), "255,255,255,255");
    }

    #[test]
    fn every_class_has_a_rule_and_every_rule_a_symbol_of_its_own() {
        let region = Region::built_in("us:10").expect("counties");
        let no_text = || Arc::new(StringArray::from(Vec::<&str>::new())) as ArrayRef;
        let names = ["county_id", "county_name", "iso_week", "protocol"];
        let no_day = || Arc::new(Date32Array::from(Vec::<i32>::new())) as ArrayRef;
        let texts = names.map(|name| (name, no_text())).into_iter();
        let days = ["week_start", "week_end"].map(|name| (name, no_day()));
        let table = RecordBatch::try_from_iter(texts.chain(days));
        let table = table.expect("an empty table");
        let coverage = Coverage::WholeWeek {
            iso_week: "2026-W30",
            days: (Date::constant(2026, 7, 20), Date::constant(2026, 7, 26)),
            protocols: &["bsm-eggs", "o'traps"],
        };
        let rows = MapRows::gather(&region, &table, &[], coverage).expect("rows");
        let style = qgis_style(&rows, &|id| Named {
            title: format!("Title of <{id}>"),
            words: CountWords::Threshold,
        });
        let classes = rules(&rows.classes).len() + 1;
        for place in 0..2 * classes {
            assert!(style.contains(&format!("key=\"class-{place}\" symbol=\"{place}\"")));
            assert_eq!(
                style.matches(&format!("<symbol name=\"{place}\"")).count(),
                1
            );
        }
        assert_eq!(style.matches("label=\"\"").count(), 0);
        // Each protocol is a group, and the first alone is drawn.
        assert_eq!(style.matches("checkstate=\"1\"").count(), 1);
        assert_eq!(style.matches("checkstate=\"0\"").count(), 1);
        assert!(
            style.contains("label=\"Title of &#60;bsm-eggs&#62;\""),
            "{style}"
        );
        assert!(style.contains("= &#39;o&#39;&#39;traps&#39;\">"), "{style}");
    }
}
