//! Visits as rows of cells, in the layouts that offices use.

use rust_xlsxwriter::Workbook;

use super::draft_visits::{Seen, US, Writing};

pub(super) type Grid = Vec<Vec<String>>;

pub(super) fn texts(texts: &[&str]) -> Vec<String> {
    texts.iter().map(|text| (*text).to_owned()).collect()
}

pub(super) const HEADER: [&str; 11] = [
    "Field",
    "Date",
    "Scout",
    "Long",
    "Lat",
    "Area (ac)",
    "Crop",
    "Stage",
    "Cost ($/ac)",
    "Price ($/lb)",
    "Plants/ac",
];

/// The header with further columns.
pub(super) fn header(more: &[&str]) -> Vec<String> {
    texts(&[&HEADER[..], more].concat())
}

/// Names of columns that repeat, as the function writes each.
pub(super) fn names<const N: usize>(
    ranges: [usize; N],
    name: impl Fn([usize; N]) -> String,
) -> Vec<String> {
    let mut all = vec![[1; N]];
    for (place, last) in ranges.iter().enumerate() {
        all = all
            .into_iter()
            .flat_map(|numbers| {
                (1..=*last).map(move |number| {
                    let mut numbers = numbers;
                    numbers[place] = number;
                    numbers
                })
            })
            .collect();
    }
    all.into_iter().map(name).collect()
}

pub(super) fn wide(header: Vec<String>, write: &Writing) -> Grid {
    let row = |seen: &Seen| {
        let counts = seen
            .counts
            .iter()
            .flatten()
            .flatten()
            .map(ToString::to_string);
        seen.cells(write).into_iter().chain(counts).collect()
    };
    std::iter::once(header).chain(US.iter().map(row)).collect()
}

/// One row a site, or a head, or a bract, with what each row has after the visit.
pub(super) fn long(
    header: Vec<String>,
    visits: &[Seen],
    write: &Writing,
    rows: fn(&Seen) -> Vec<Vec<u32>>,
) -> Grid {
    let mut grid = vec![header];
    for seen in visits {
        for more in rows(seen) {
            let more = more.iter().map(ToString::to_string);
            grid.push(seen.cells(write).into_iter().chain(more).collect());
        }
    }
    grid
}

pub(super) fn by_site(seen: &Seen) -> Vec<Vec<u32>> {
    let row = |(heads, site): (&[[u32; 6]; 2], u32)| [vec![site], heads.concat()].concat();
    seen.counts.iter().zip(1..).map(row).collect()
}

pub(super) fn by_head(seen: &Seen) -> Vec<Vec<u32>> {
    let rows = seen.counts.iter().zip(1..).flat_map(|(heads, site)| {
        heads
            .iter()
            .zip(1..)
            .map(move |(head, number)| [vec![site, number], head.to_vec()].concat())
    });
    rows.collect()
}

pub(super) fn by_bract(seen: &Seen) -> Vec<Vec<u32>> {
    let rows = by_head(seen).into_iter().flat_map(|row| {
        let counts = row[2..].to_vec();
        counts
            .into_iter()
            .zip(1..)
            .map(move |(count, bract)| vec![row[0], row[1], bract, count])
    });
    rows.collect()
}

pub(super) fn by_total(seen: &Seen) -> Vec<Vec<u32>> {
    by_head(seen)
        .into_iter()
        .map(|row| vec![row[0], row[1], row[2..].iter().sum()])
        .collect()
}

pub(super) fn totals_by_site(seen: &Seen) -> Vec<Vec<u32>> {
    seen.totals()
        .iter()
        .zip(1..)
        .map(|(totals, site)| [vec![site], totals.to_vec()].concat())
        .collect()
}

pub(super) fn traps(seen: &Seen) -> Vec<Vec<u32>> {
    seen.totals()
        .iter()
        .zip(1..)
        .map(|(totals, trap)| vec![trap, totals[1], 7])
        .collect()
}

/// A workbook of tabs.
pub(super) fn workbook(tabs: &[(&str, Grid)]) -> Vec<u8> {
    let mut workbook = Workbook::new();
    for (name, grid) in tabs {
        let tab = workbook.add_worksheet().set_name(*name).expect("a name");
        for (row, cells) in grid.iter().enumerate() {
            for (column, cell) in cells
                .iter()
                .enumerate()
                .filter(|(_, cell)| !cell.is_empty())
            {
                let (row, column) = (row as u32, column as u16);
                match cell.parse::<f64>() {
                    Ok(number) => tab.write_number(row, column, number),
                    Err(_) => tab.write_string(row, column, cell),
                }
                .expect("a cell");
            }
        }
    }
    workbook.save_to_buffer().expect("a workbook")
}
