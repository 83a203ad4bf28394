//! Workbooks as sheets: XLSX and XLSM, XLS, ODS.
//!
//! Nothing is interpreted: a cell is a date only if the file says so, a number typed as text stays text, a
//! formula counts by its stored value. Hidden rows, columns and sheets are read like all others, since
//! what is hidden was sent too. Limits are checked before the reader of workbooks (crate `calamine`) is
//! called; of XLSX it is asked for one cell after the other, never for a whole range.

use std::fs::File;
use std::io::{BufReader, Cursor, Read, Seek};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

use calamine::{Data, Ods, Range, Reader, SheetType, Xls, Xlsx, XlsxError};

use super::{package, xls_limits};
use crate::sheet::grid::{Allowance, CELLS_MAX, Grid, WORKBOOK_BYTES_MAX};
use crate::sheet::table::{Cell, Sheet};
use crate::workbook::cell::{NOT_CALCULATED, by_reference, cell_of};
use crate::workbook::compound::CompoundFile;
use crate::workbook::looks::{as_percent, put_looks, struck};
use crate::workbook::markup::Refusal;
use crate::workbook::ods_limits::OdsLimits;
use crate::workbook::ods_spacing::close_together;
use crate::workbook::package::{Package, damaged, sealed, too_much};
use crate::workbook::xlsx_limits::{self, XlsxLimits};
use scouting::failure::{Cause, Failure};

/// An XLS workbook is read into memory as a whole, twice.
const XLS_BYTES_MAX: u64 = 32 << 20;

/// The sheets of an XLSX or XLSM workbook, in their order.
///
/// # Errors
/// If it is sealed, damaged, or holds more than is read.
pub(crate) fn read_xlsx(path: &Path, name: &str) -> Result<Vec<Sheet>, Failure> {
    let mut package = Package::open(path, name)?;
    package.watch_parts(xlsx_limits::is_markup, &mut XlsxLimits::default())?;
    drop(package);
    guarded(name, || xlsx_sheets(path, name))
}

fn xlsx_sheets(path: &Path, name: &str) -> Result<Vec<Sheet>, Failure> {
    let file = File::open(path).map_err(|error| Failure::file("read", path, error))?;
    let unreadable = |error: XlsxError| match error {
        XlsxError::Password => sealed(name),
        error => damaged(name, error),
    };
    let mut workbook = Xlsx::new(BufReader::new(file)).map_err(unreadable)?;
    let is_1904 = workbook.has_1904_epoch();
    let mut allowance = Allowance::new(name, WORKBOOK_BYTES_MAX);
    let mut cells_seen = 0;
    let mut sheets = Vec::new();
    for sheet_name in worksheets(workbook.sheets_metadata()) {
        let in_sheet = |error: XlsxError| unreadable(error).at(format!("sheet \"{sheet_name}\""));
        let merges = workbook
            .merge_cells_by_sheet_name(&sheet_name)
            .map_err(in_sheet)?;
        let mut grid = Grid::new(&sheet_name, &mut allowance);
        let placed = match place_cells(&mut workbook, &sheet_name, &[], is_1904, &mut grid) {
            // An error value that the reader does not know, as #SPILL!: it loses its place there.
            Err(Stop::Unreadable(XlsxError::CellError(_))) => {
                let places = places_of_cells(&mut workbook, &sheet_name).map_err(in_sheet)?;
                place_cells(&mut workbook, &sheet_name, &places, is_1904, &mut grid)
            }
            placed => placed,
        };
        cells_seen += placed.map_err(|stop| match stop {
            Stop::Unreadable(error) => in_sheet(error),
            Stop::Refused(failure) => failure,
        })?;
        put_looks(&mut workbook, &sheet_name, &mut grid).map_err(in_sheet)??;
        if cells_seen > CELLS_MAX {
            return Err(too_much(name, &format!("more than {CELLS_MAX} cells")));
        }
        let merges: Vec<_> = merges
            .iter()
            .map(|range| [range.start, range.end])
            .collect();
        grid.cover(&merges)?;
        sheets.push(grid.finish());
    }
    Ok(sheets)
}

/// Places the cells of a sheet one after the other; how many they are. `places` says where they are, if
/// the reader alone cannot be asked.
fn place_cells(
    workbook: &mut Xlsx<BufReader<File>>,
    sheet_name: &str,
    places: &[(u32, u32)],
    is_1904: bool,
    grid: &mut Grid,
) -> Result<usize, Stop<XlsxError>> {
    let mut cells = workbook
        .worksheet_cells_reader(sheet_name)
        .map_err(Stop::Unreadable)?;
    let mut seen = 0;
    loop {
        let ((row, column), value) = match cells.next_cell_with_formula_metadata() {
            Ok(None) => return Ok(seen),
            Ok(Some(cell)) => {
                let value = cell_of(cell.value, cell.formula.is_some(), is_1904);
                (places.get(seen).copied().unwrap_or(cell.pos), value)
            }
            Err(XlsxError::CellError(words)) if seen < places.len() => {
                (places[seen], Cell::Broken(words))
            }
            Err(error) => return Err(Stop::Unreadable(error)),
        };
        seen += 1;
        // The watch of the package has counted them all, so this ends.
        grid.place(row as usize, column as usize, value)
            .map_err(Stop::Refused)?;
    }
}

/// Where the cells of a sheet are, in the order of the file, whatever they hold.
fn places_of_cells(
    workbook: &mut Xlsx<BufReader<File>>,
    sheet_name: &str,
) -> Result<Vec<(u32, u32)>, XlsxError> {
    let mut cells = workbook.worksheet_cells_reader(sheet_name)?;
    let mut places = Vec::new();
    while let Some(cell) = cells.next_formula()? {
        places.push(cell.get_position());
    }
    Ok(places)
}

/// The sheets of an XLS workbook, in their order.
///
/// # Errors
/// If it is sealed, damaged, or holds more than is read.
pub(crate) fn read_xls(path: &Path, name: &str) -> Result<Vec<Sheet>, Failure> {
    let mut bytes = Vec::new();
    File::open(path)
        .and_then(|file| file.take(XLS_BYTES_MAX + 1).read_to_end(&mut bytes))
        .map_err(|error| Failure::file("read", path, error))?;
    if bytes.len() as u64 > XLS_BYTES_MAX {
        return Err(too_much(name, &format!("more than {XLS_BYTES_MAX} bytes")));
    }
    check_xls(&bytes, name)?;
    guarded(name, || {
        let mut workbook = Xls::new(Cursor::new(&bytes)).map_err(|error| damaged(name, error))?;
        let is_1904 = workbook.has_1904_epoch();
        let mut allowance = Allowance::new(name, WORKBOOK_BYTES_MAX);
        let mut sheets = Vec::new();
        for sheet_name in worksheets(workbook.sheets_metadata()) {
            let merges: Vec<_> = workbook
                .merge_cells_by_sheet_name(&sheet_name)
                .map_err(|error| damaged(name, error))?
                .iter()
                .map(|range| [range.start, range.end])
                .collect();
            let mut grid = Grid::new(&sheet_name, &mut allowance);
            place_range(&mut workbook, &sheet_name, is_1904, &mut grid)
                .map_err(|stop| stop.failure(name))?;
            grid.cover(&merges)?;
            sheets.push(grid.finish());
        }
        Ok(sheets)
    })
}

fn check_xls(bytes: &[u8], name: &str) -> Result<(), Failure> {
    let file = CompoundFile::read(bytes).map_err(|damage| damaged(name, damage))?;
    if file.holds("EncryptedPackage") {
        return Err(sealed(name));
    }
    let streams = file
        .streams(&["Workbook", "Book"])
        .map_err(|damage| damaged(name, damage))?;
    if streams.is_empty() {
        return Err(package::no_workbook(
            name,
            "an OLE2 file that is no workbook",
        ));
    }
    for stream in streams {
        xls_limits::check(&stream).map_err(|refusal| match refusal {
            Refusal::Password => sealed(name),
            Refusal::Holds(what) => too_much(name, &what),
            Refusal::Unreadable(error) => damaged(name, error),
        })?;
    }
    Ok(())
}

/// The sheets of an ODS workbook, in their order.
///
/// # Errors
/// If it is sealed, damaged, or holds more than is read.
pub(crate) fn read_ods(path: &Path, name: &str) -> Result<Vec<Sheet>, Failure> {
    let mut package = Package::open(path, name)?;
    // A sealed document says so in its manifest; its content is no XML then.
    let mut limits = OdsLimits::default();
    package.watch_parts(|part| part == "META-INF/manifest.xml", &mut limits)?;
    package.watch_parts(|part| part == "content.xml", &mut limits)?;
    if limits.spaced {
        let document = close_together(&mut package, name)?;
        drop(package);
        return guarded(name, || ods_sheets(document, &limits, name));
    }
    drop(package);
    guarded(name, || {
        let file = File::open(path).map_err(|error| Failure::file("read", path, error))?;
        ods_sheets(BufReader::new(file), &limits, name)
    })
}

fn ods_sheets(
    document: impl Read + Seek,
    limits: &OdsLimits,
    name: &str,
) -> Result<Vec<Sheet>, Failure> {
    let mut workbook = Ods::new(document).map_err(|error| damaged(name, error))?;
    let mut allowance = Allowance::new(name, WORKBOOK_BYTES_MAX);
    let mut sheets = Vec::new();
    let sheet_names = worksheets(workbook.sheets_metadata());
    for (sheet_name, found) in sheet_names.iter().zip(&limits.sheets) {
        let mut grid = Grid::new(sheet_name, &mut allowance);
        place_range(&mut workbook, sheet_name, false, &mut grid)
            .map_err(|stop| stop.failure(name))?;
        grid.clear(&found.covered);
        grid.change_ranges(&found.percent, as_percent)?;
        grid.change_ranges(&found.struck, struck)?;
        sheets.push(grid.finish());
    }
    Ok(sheets)
}

fn worksheets(sheets: &[calamine::Sheet]) -> Vec<String> {
    sheets
        .iter()
        .filter(|sheet| sheet.typ == SheetType::WorkSheet)
        .map(|sheet| sheet.name.clone())
        .collect()
}

enum Stop<E> {
    Unreadable(E),
    Refused(Failure),
}

impl<E: Into<Cause>> Stop<E> {
    fn failure(self, name: &str) -> Failure {
        match self {
            Stop::Unreadable(error) => damaged(name, error),
            Stop::Refused(failure) => failure,
        }
    }
}

/// Places the cells of a sheet that its reader has in memory already.
fn place_range<R: Reader<S>, S: std::io::Read + std::io::Seek>(
    workbook: &mut R,
    sheet_name: &str,
    is_1904: bool,
    grid: &mut Grid,
) -> Result<(), Stop<R::Error>> {
    let formulas = workbook
        .worksheet_formula(sheet_name)
        .map_err(Stop::Unreadable)?;
    let values = workbook
        .worksheet_range(sheet_name)
        .map_err(Stop::Unreadable)?;
    let calculated = |row, column| is_filled(&formulas, row, column);
    for (row, column, value) in places(&values) {
        let cell = cell_of(by_reference(value), calculated(row, column), is_1904);
        grid.place(row as usize, column as usize, cell)
            .map_err(Stop::Refused)?;
    }
    // A formula without a value can be outside the range of the values.
    for (row, column, formula) in places(&formulas) {
        let without_value = values
            .get_value((row, column))
            .is_none_or(|value| *value == Data::Empty);
        if !formula.is_empty() && without_value {
            let cell = Cell::Broken(NOT_CALCULATED.to_owned());
            grid.place(row as usize, column as usize, cell)
                .map_err(Stop::Refused)?;
        }
    }
    Ok(())
}

fn is_filled(formulas: &Range<String>, row: u32, column: u32) -> bool {
    formulas
        .get_value((row, column))
        .is_some_and(|formula| !formula.is_empty())
}

/// The cells of a range with their places in the sheet.
fn places<T: Default + Clone + PartialEq + calamine::CellType>(
    range: &Range<T>,
) -> impl Iterator<Item = (u32, u32, &T)> {
    let (first_row, first_column) = range.start().unwrap_or_default();
    range.cells().map(move |(row, column, value)| {
        (first_row + row as u32, first_column + column as u32, value)
    })
}

/// Calls the reader of workbooks. On a damaged file it can panic; that is the file's failure, not ours.
fn guarded(
    name: &str,
    read: impl FnOnce() -> Result<Vec<Sheet>, Failure>,
) -> Result<Vec<Sheet>, Failure> {
    catch_unwind(AssertUnwindSafe(read))
        .unwrap_or_else(|_| Err(damaged(name, "its reader gave up on it")))
}
