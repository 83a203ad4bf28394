//! One Parquet file of a table, read by itself: whether it is what the log says, and its rows.
//!
//! Here files are read without the table's engine, so that what is wrong is reported file by file.

use std::collections::BTreeSet;
use std::sync::Arc;

use arrow::array::{AsArray, Int32Array, RecordBatch};
use arrow::compute::cast;
use arrow::datatypes::DataType;
use futures::{Stream, StreamExt, TryStreamExt};
use object_store::buffered::BufReader;
use object_store::path::Path;
use object_store::{ObjectStore, ObjectStoreExt};
use parquet::arrow::ProjectionMask;
use parquet::arrow::async_reader::{ParquetRecordBatchStream, ParquetRecordBatchStreamBuilder};
use parquet::file::metadata::ParquetMetaData;
use parquet::file::statistics::Statistics;
use sha2::{Digest, Sha256};

use crate::delta::table_log::LiveFile;
use crate::delta::tables::Store;
use crate::rows::closings::counts_by_itself;
use crate::rows::schema::{Kept, arrow_schema};
use scouting::failure::Cause;

/// Rows that are read at a time; a held record may fill 100 MB.
const ROWS_AT_A_TIME: usize = 8192;
const HELD_AT_A_TIME: usize = 8;

/// What is wrong with a file, in words; nothing if it is there whole.
pub(crate) async fn fault(store: &Store, kept: Kept, file: &LiveFile) -> Option<Cause> {
    check(store, kept, file).await.err()
}

async fn check(store: &Store, kept: Kept, file: &LiveFile) -> Result<(), Cause> {
    let path = place(store, kept, file)?;
    let files = store.files();
    let head = files.head(&path).await;
    let bytes = head?.size;
    if bytes != file.bytes() {
        return Err(format!("it has {bytes} bytes, where the log says {}", file.bytes()).into());
    }
    if let Some(written) = file.sha256() {
        let found = sha256(&*files, &path).await;
        if found? != written {
            return Err("its bytes differ from those that were written".into());
        }
    }
    let opened = open(store, kept, file).await?;
    let rows = opened.metadata().file_metadata().num_rows();
    if let Some(said) = file.rows().filter(|said| *said != rows) {
        return Err(format!("it has {rows} rows, where the log says {said}").into());
    }
    check_ranges(file, opened.metadata())?;
    if file.sha256().is_none() {
        // Only reading a file without a known hash shows whether it is whole.
        let read = read_rows(opened, at_a_time(kept))?;
        let read = read.try_fold(0, async |read, batch| Ok(read + batch.num_rows()));
        let read: usize = read.await?;
        if read as i64 != rows {
            return Err(format!("{read} of its {rows} rows can be read").into());
        }
    }
    Ok(())
}

/// A file's place in the store, by the path that the log gives it.
fn place(store: &Store, kept: Kept, file: &LiveFile) -> Result<Path, Cause> {
    let within = Path::parse(file.path())?;
    Ok((store.folder_of(kept).parts().chain(within.parts())).collect())
}

async fn sha256(files: &dyn ObjectStore, path: &Path) -> object_store::Result<String> {
    let mut digest = Sha256::new();
    let mut pieces = files.get(path).await?.into_stream();
    while let Some(piece) = pieces.try_next().await? {
        digest.update(&piece);
    }
    Ok(format!("{:x}", digest.finalize()))
}

/// A reader passes over files by the ranges that the log gives for texts and whole numbers: they must be
/// those of the file itself, or rows would be missed in silence.
fn check_ranges(file: &LiveFile, found: &ParquetMetaData) -> Result<(), Cause> {
    let columns = found.file_metadata().schema_descr();
    for (place, column) in columns.columns().iter().enumerate() {
        let name = column.name();
        let (Some(least), Some(greatest)) = (file.least(name), file.greatest(name)) else {
            continue;
        };
        let groups = found.row_groups().iter();
        let ranges: Option<Vec<_>> = groups
            .map(|group| range(group.column(place).statistics()?))
            .collect();
        let Some(ranges) = ranges.filter(|ranges| !ranges.is_empty()) else {
            continue;
        };
        let same = match (&least, &greatest) {
            (serde_json::Value::String(least), serde_json::Value::String(greatest)) => {
                let texts: Option<Vec<_>> = ranges.iter().map(Range::texts).collect();
                texts.is_none_or(|texts| {
                    texts.iter().map(|(least, _)| *least).min() == Some(least.as_bytes())
                        && texts.iter().map(|(_, greatest)| *greatest).max()
                            == Some(greatest.as_bytes())
                })
            }
            (serde_json::Value::Number(least), serde_json::Value::Number(greatest)) => {
                let wholes: Option<Vec<_>> = ranges.iter().map(Range::wholes).collect();
                wholes.is_none_or(|wholes| {
                    wholes.iter().map(|(least, _)| *least).min() == least.as_i64()
                        && wholes.iter().map(|(_, greatest)| *greatest).max() == greatest.as_i64()
                })
            }
            _ => true,
        };
        if !same {
            return Err(format!("the log gives another range of {name} than it has").into());
        }
    }
    Ok(())
}

/// The range of a column within a row group.
enum Range {
    Texts(Vec<u8>, Vec<u8>),
    Wholes(i64, i64),
}

impl Range {
    fn texts(&self) -> Option<(&[u8], &[u8])> {
        match self {
            Range::Texts(least, greatest) => Some((least, greatest)),
            Range::Wholes(..) => None,
        }
    }

    fn wholes(&self) -> Option<(i64, i64)> {
        match self {
            Range::Wholes(least, greatest) => Some((*least, *greatest)),
            Range::Texts(..) => None,
        }
    }
}

/// The exact range that the file itself gives; ranges of long texts are cut and not exact.
fn range(statistics: &Statistics) -> Option<Range> {
    match statistics {
        Statistics::ByteArray(of) if of.min_is_exact() && of.max_is_exact() => Some(Range::Texts(
            of.min_opt()?.data().to_vec(),
            of.max_opt()?.data().to_vec(),
        )),
        Statistics::Int32(of) => Some(Range::Wholes(
            i64::from(*of.min_opt()?),
            i64::from(*of.max_opt()?),
        )),
        Statistics::Int64(of) => Some(Range::Wholes(*of.min_opt()?, *of.max_opt()?)),
        _ => None,
    }
}

async fn open(
    store: &Store,
    kept: Kept,
    file: &LiveFile,
) -> Result<ParquetRecordBatchStreamBuilder<BufReader>, Cause> {
    let files = store.files();
    let head = files.head(&place(store, kept, file)?).await;
    let opened = ParquetRecordBatchStreamBuilder::new(BufReader::new(files, &head?)).await;
    Ok(opened?)
}

fn at_a_time(kept: Kept) -> usize {
    match kept {
        Kept::Held => HELD_AT_A_TIME,
        _ => ROWS_AT_A_TIME,
    }
}

fn read_rows(
    opened: ParquetRecordBatchStreamBuilder<BufReader>,
    at_a_time: usize,
) -> Result<ParquetRecordBatchStream<BufReader>, Cause> {
    Ok(opened.with_batch_size(at_a_time).build()?)
}

/// The loads whose rows a file holds; rows of drops, which count without a receipt, not among them.
pub(crate) async fn loads(
    store: &Store,
    kept: Kept,
    file: &LiveFile,
) -> Result<BTreeSet<String>, Cause> {
    let opened = open(store, kept, file).await?;
    let wanted = ["load_id", "how"];
    let mask = ProjectionMask::columns(opened.parquet_schema(), wanted);
    let mut rows = read_rows(opened.with_projection(mask), ROWS_AT_A_TIME)?;
    let mut loads = BTreeSet::new();
    while let Some(batch) = rows.next().await {
        let batch = batch?;
        let text = |name: &str| {
            let column = batch.column_by_name(name)?;
            cast(column, &DataType::Utf8).ok()
        };
        let ids = text("load_id").ok_or("it has no load_id")?;
        let how = text("how");
        for (row, id) in ids.as_string::<i32>().iter().enumerate() {
            let of_the_desk = how
                .as_ref()
                .is_some_and(|how| counts_by_itself(how.as_string::<i32>().value(row)));
            if let Some(id) = id.filter(|id| !of_the_desk && !loads.contains(*id)) {
                loads.insert(id.to_owned());
            }
        }
    }
    Ok(loads)
}

/// The rows of a file with all columns of its table, batch by batch.
pub(crate) async fn rows(
    store: &Store,
    kept: Kept,
    file: &LiveFile,
) -> Result<impl Stream<Item = Result<RecordBatch, Cause>> + Send + Unpin + use<>, Cause> {
    let read = read_rows(open(store, kept, file).await?, at_a_time(kept))?;
    let season = file.season();
    Ok(read.map(move |batch| {
        let batch = batch?;
        whole_row(kept, season, &batch)
    }))
}

/// A batch with the column that its folder represents, and with nulls where it is older than a column.
fn whole_row(kept: Kept, season: Option<i32>, batch: &RecordBatch) -> Result<RecordBatch, Cause> {
    let schema = arrow_schema(kept.columns());
    let columns = schema.fields().iter().map(|field| {
        if let Some(column) = batch.column_by_name(field.name()) {
            return cast(column, field.data_type());
        }
        match season {
            Some(season) if field.name() == "season" => {
                Ok(Arc::new(Int32Array::from(vec![season; batch.num_rows()])) as _)
            }
            _ => Ok(arrow::array::new_null_array(
                field.data_type(),
                batch.num_rows(),
            )),
        }
    });
    let columns = columns.collect::<Result<Vec<_>, _>>()?;
    Ok(RecordBatch::try_new(schema, columns)?)
}
