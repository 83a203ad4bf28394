//! The built-in US counties, by state: `us:46`, `us:20,31`.
//!
//! The file, its source, its vintage and its flaws are described in `pipeline/boundaries/README.md`.
//! Its flaws are dealt with here and nowhere else.

use std::collections::{BTreeMap, BTreeSet};

use super::boundaries::Boundaries;
use super::county::County;
use super::draw::draw_shape;
use super::outline::{Labels, Outline};
use super::topology::Topology;
use crate::failure::{Failure, Kind};

const TEXT: &str = include_str!("../../../pipeline/boundaries/us-counties-2017.json");
const PLACE: &str = "the built-in US counties";
const SOURCE: &str =
    "US Census Bureau, cartographic boundary files of 2017, as us-atlas 3.0.1 (ISC) carries them";
const VINTAGE: &str = "2017";
const LABELS: Labels = Labels {
    id_property: "id",
    name_property: "name",
};

/// The counties of the states that are named, and those of them that the file has no outline of.
pub(super) fn read_states(states: &str) -> Result<(Boundaries, Vec<County>), Failure> {
    let topology = Topology::parse(TEXT, PLACE)?;
    let known = state_names(&topology)?;
    let chosen = choose_states(states, &known)?;
    let mut outlines = topology.outlines("counties", PLACE, &LABELS)?;
    for outline in &mut outlines {
        outline.id = format!("{:0>5}", outline.id);
    }
    outlines.retain(|outline| chosen.contains(&outline.id[..2]));
    let (outlines, without_shape) = set_apart_the_shapeless(outlines)?;
    let title: Vec<&str> = chosen.iter().map(|code| known[code].as_str()).collect();
    let boundaries = Boundaries {
        outlines,
        place: PLACE.to_owned(),
        title: title.join(", "),
        vintage: VINTAGE.to_owned(),
        source: SOURCE.to_owned(),
        invented: None,
    };
    Ok((boundaries, without_shape))
}

/// Two-digit code → name, of the states that the file has.
fn state_names(topology: &Topology) -> Result<BTreeMap<String, String>, Failure> {
    topology
        .features("states")
        .iter()
        .map(|state| LABELS.read(PLACE, state.id.as_ref(), state.properties.as_ref()))
        .collect()
}

fn choose_states(
    states: &str,
    known: &BTreeMap<String, String>,
) -> Result<BTreeSet<String>, Failure> {
    let Some(codes) = states.strip_prefix("us:") else {
        return Err(unknown_states(
            &format!("\"{states}\" names no built-in region"),
            known,
        ));
    };
    let mut chosen = BTreeSet::new();
    for written in codes.split(',').map(str::trim) {
        // A spreadsheet makes 6 of 06.
        let code = format!("{written:0>2}");
        if !known.contains_key(&code) {
            return Err(unknown_states(
                &format!("\"{written}\" is not the code of a state"),
                known,
            ));
        }
        chosen.insert(code);
    }
    Ok(chosen)
}

fn unknown_states(what: &str, known: &BTreeMap<String, String>) -> Failure {
    let codes: Vec<String> = known
        .iter()
        .map(|(code, name)| format!("{code} {name}"))
        .collect();
    Failure::new(Kind::Settings, what).mend(format!(
        "write us: and one or more codes, as us:46 or us:20,31, of: {}",
        codes.join(", ")
    ))
}

/// Sets apart the counties that were drawn away when the file was simplified, so that they are
/// listed and the rest of their state can be used.
fn set_apart_the_shapeless(outlines: Vec<Outline>) -> Result<(Vec<Outline>, Vec<County>), Failure> {
    let mut shaped = Vec::new();
    let mut without_shape = Vec::new();
    for outline in outlines {
        let shape = draw_shape(outline.polygons.clone(), &outline.place)?;
        match shape.0.is_empty() {
            false => shaped.push(outline),
            true => without_shape.push(County {
                id: outline.id,
                name: outline.name,
                shape,
            }),
        }
    }
    without_shape.sort_by(|one, other| one.id.cmp(&other.id));
    Ok((shaped, without_shape))
}
