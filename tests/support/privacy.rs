//! A public file as the text that a reader can find in it, packed forms included.

use std::io::{Cursor, Read};
use std::path::Path;

use arrow::array::RecordBatch;
use arrow::util::display::array_value_to_string;
use bractline::gate::pdf_words::words_of_pdf;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;

/// What a reader of the file gets to see: its bytes; for Parquet, which is packed, its cells and notes; for an archive
/// its parts.
pub fn readable(path: &Path, bytes: &[u8]) -> String {
    let mut text = String::from_utf8_lossy(bytes).into_owned();
    let ending = path.extension().and_then(|ending| ending.to_str());
    if ending == Some("parquet") {
        let batches = read_parquet(path);
        for batch in &batches {
            text += &format!("{:?}", batch.schema());
            for row in 0..batch.num_rows() {
                text += &row_of(batch, row).join(" ");
                text.push('\n');
            }
        }
    }
    // The words of a PDF are packed in its bytes.
    if ending == Some("pdf") {
        text += &words_of_pdf(bytes).expect("a PDF that can be read");
    }
    if ending == Some("zip") {
        let mut archive = zip::ZipArchive::new(Cursor::new(bytes)).expect("an archive");
        for place in 0..archive.len() {
            let mut part = archive.by_index(place).expect("a part");
            text += part.name().expect("a name").as_ref();
            let mut inside = Vec::new();
            part.read_to_end(&mut inside).expect("bytes");
            text += &String::from_utf8_lossy(&inside);
        }
    }
    text
}

pub fn read_parquet(path: &Path) -> Vec<RecordBatch> {
    let file = std::fs::File::open(path).expect("a Parquet file");
    let reader = ParquetRecordBatchReaderBuilder::try_new(file).and_then(|builder| builder.build());
    let batches: Result<Vec<_>, _> = reader.expect("a Parquet file").collect();
    batches.expect("rows")
}

pub fn row_of(batch: &RecordBatch, row: usize) -> Vec<String> {
    let cells = batch
        .columns()
        .iter()
        .map(|column| match column.is_null(row) {
            true => String::new(),
            false => array_value_to_string(column, row).expect("a value has a text"),
        });
    cells.collect()
}
