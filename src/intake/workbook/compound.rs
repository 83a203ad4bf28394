//! The streams of an OLE2 compound file, the archive in which XLS workbooks are stored.
//!
//! It runs before the reader of XLS workbooks does, which follows a chain of sectors without looking
//! whether it ever ends. Layout: Microsoft, [MS-CFB] Compound File Binary File Format, sections 2.1–2.6.

/// The first bytes of a compound file.
pub(crate) const MAGIC: &[u8] = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1";
/// Sector numbers from here on are marks: the end of a chain, a free sector.
const SECTOR_MARKS: u32 = 0xffff_fffa;
const HEADER_BYTES: usize = 512;
const DIRECTORY_ENTRY_BYTES: usize = 128;
/// Shorter streams are in the mini stream.
const MINI_STREAM_BELOW: u64 = 4_096;
const MINI_SECTOR_BYTES: usize = 64;

/// A compound file in memory.
pub(crate) struct CompoundFile<'a> {
    bytes: &'a [u8],
    sector_bytes: usize,
    next_sector: Vec<u32>,
    mini_stream: Vec<u8>,
    next_mini_sector: Vec<u32>,
    directory: Vec<Entry>,
}

struct Entry {
    name: String,
    start: u32,
    bytes: u64,
}

/// What is wrong with a compound file, for people.
type Damage = String;

impl<'a> CompoundFile<'a> {
    /// Reads the tables of a compound file.
    ///
    /// # Errors
    /// If a table points out of the file or a chain comes back to itself.
    pub(crate) fn read(bytes: &'a [u8]) -> Result<CompoundFile<'a>, Damage> {
        if !bytes.starts_with(MAGIC) || bytes.len() < HEADER_BYTES {
            return Err("it is not a complete OLE2 file".to_owned());
        }
        let sector_bytes = match u16_at(bytes, 30) {
            9 => 512,
            12 => 4_096,
            _ => return Err("its sectors have no size that exists".to_owned()),
        };
        let mut file = CompoundFile {
            bytes,
            sector_bytes,
            next_sector: Vec::new(),
            mini_stream: Vec::new(),
            next_mini_sector: Vec::new(),
            directory: Vec::new(),
        };
        file.next_sector = file.read_allocation()?;
        file.directory = entries(&file.chain(u32_at(bytes, 48), u64::MAX)?, sector_bytes);
        let root = file.directory.first().ok_or("its directory is empty")?;
        if u32_at(bytes, 64) > 0 {
            let mini_stream = file.chain(root.start, root.bytes)?;
            let table = file.chain(u32_at(bytes, 60), u64::MAX)?;
            file.mini_stream = mini_stream;
            file.next_mini_sector = numbers(&table);
        }
        Ok(file)
    }

    /// Whether it has an entry of this name.
    pub(crate) fn holds(&self, name: &str) -> bool {
        self.directory
            .iter()
            .any(|entry| entry.name.eq_ignore_ascii_case(name))
    }

    /// The streams of any of these names.
    ///
    /// # Errors
    /// If one of them cannot be followed to its end.
    pub(crate) fn streams(&self, names: &[&str]) -> Result<Vec<Vec<u8>>, Damage> {
        self.directory
            .iter()
            .filter(|entry| {
                names
                    .iter()
                    .any(|name| entry.name.eq_ignore_ascii_case(name))
            })
            .map(|entry| {
                if entry.bytes < MINI_STREAM_BELOW {
                    self.mini_chain(entry.start, entry.bytes)
                } else {
                    self.chain(entry.start, entry.bytes)
                }
            })
            .collect()
    }

    /// The table of each sector's next one: its own sectors are in the header and in a chain of lists.
    fn read_allocation(&self) -> Result<Vec<u32>, Damage> {
        let mut lists = numbers(&self.bytes[76..HEADER_BYTES]);
        let mut list_sector = u32_at(self.bytes, 68);
        for _ in 0..=self.sectors() {
            if list_sector >= SECTOR_MARKS {
                break;
            }
            lists.extend(numbers(self.sector(list_sector)?));
            list_sector = lists.pop().unwrap_or(SECTOR_MARKS);
        }
        let table_sectors: Vec<u32> = lists
            .into_iter()
            .filter(|sector| *sector < SECTOR_MARKS)
            .collect();
        if list_sector < SECTOR_MARKS || table_sectors.len() > self.sectors() {
            return Err("its sectors run in a circle".to_owned());
        }
        let mut table = Vec::new();
        for sector in table_sectors {
            table.extend(numbers(self.sector(sector)?));
        }
        Ok(table)
    }

    fn sectors(&self) -> usize {
        self.bytes.len() / self.sector_bytes
    }

    /// The last sector of a file may be cut short.
    fn sector(&self, number: u32) -> Result<&'a [u8], Damage> {
        let start = (number as usize + 1) * self.sector_bytes;
        let end = (start + self.sector_bytes).min(self.bytes.len());
        self.bytes
            .get(start..end)
            .filter(|sector| !sector.is_empty())
            .ok_or_else(|| "it points to a sector beyond its end".to_owned())
    }

    fn chain(&self, start: u32, bytes: u64) -> Result<Vec<u8>, Damage> {
        follow(start, bytes, &self.next_sector, self.sectors(), |sector| {
            self.sector(sector)
        })
    }

    fn mini_chain(&self, start: u32, bytes: u64) -> Result<Vec<u8>, Damage> {
        let sectors = self.mini_stream.len().div_ceil(MINI_SECTOR_BYTES);
        follow(start, bytes, &self.next_mini_sector, sectors, |sector| {
            let start = sector as usize * MINI_SECTOR_BYTES;
            let end = (start + MINI_SECTOR_BYTES).min(self.mini_stream.len());
            self.mini_stream
                .get(start..end)
                .ok_or_else(|| "it points to a sector beyond its end".to_owned())
        })
    }
}

/// Puts the sectors of a chain together; one that is longer than the file comes back to itself.
fn follow<'b>(
    start: u32,
    bytes: u64,
    next: &[u32],
    sectors: usize,
    sector: impl Fn(u32) -> Result<&'b [u8], Damage>,
) -> Result<Vec<u8>, Damage> {
    let mut stream = Vec::new();
    let mut at = start;
    for _ in 0..=sectors {
        if at >= SECTOR_MARKS || stream.len() as u64 >= bytes {
            stream.truncate(usize::try_from(bytes).unwrap_or(usize::MAX));
            return Ok(stream);
        }
        stream.extend_from_slice(sector(at)?);
        at = *next
            .get(at as usize)
            .ok_or("it points to a sector beyond its end")?;
    }
    Err("its sectors run in a circle".to_owned())
}

fn entries(directory: &[u8], sector_bytes: usize) -> Vec<Entry> {
    // Where sectors are small, the upper half of a size is not defined.
    let size_mask = match sector_bytes {
        512 => u64::from(u32::MAX),
        _ => u64::MAX,
    };
    directory
        .chunks_exact(DIRECTORY_ENTRY_BYTES)
        .map(|entry| {
            let units: Vec<u16> = (0..32).map(|unit| u16_at(entry, unit * 2)).collect();
            let name = units.split(|unit| *unit == 0).next().unwrap_or_default();
            Entry {
                name: String::from_utf16_lossy(name),
                start: u32_at(entry, 116),
                bytes: size_mask
                    & (u64::from(u32_at(entry, 124)) << 32 | u64::from(u32_at(entry, 120))),
            }
        })
        .collect()
}

fn numbers(bytes: &[u8]) -> Vec<u32> {
    bytes
        .chunks_exact(4)
        .map(|number| u32_at(number, 0))
        .collect()
}

/// A number of two bytes, little end first; 0 beyond the end.
pub(crate) fn u16_at(bytes: &[u8], at: usize) -> u16 {
    let two = bytes.get(at..at + 2).and_then(|two| two.try_into().ok());
    two.map_or(0, u16::from_le_bytes)
}

/// A number of four bytes, little end first; 0 beyond the end.
pub(crate) fn u32_at(bytes: &[u8], at: usize) -> u32 {
    let four = bytes.get(at..at + 4).and_then(|four| four.try_into().ok());
    four.map_or(0, u32::from_le_bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A file of a header, a table sector, a directory sector and eight sectors of a stream.
    fn file(stream: &[u8; 4_096], change: impl Fn(&mut Vec<u8>)) -> Vec<u8> {
        let mut bytes = vec![0; 512 * 3];
        bytes[..8].copy_from_slice(MAGIC);
        bytes[30] = 9;
        bytes[32] = 6;
        put(&mut bytes, 48, 1);
        put(&mut bytes, 68, u32::MAX - 1);
        for list in 1..109 {
            put(&mut bytes, 76 + 4 * list, u32::MAX);
        }
        for (sector, next) in [(0, u32::MAX - 2), (1, u32::MAX - 1), (9, u32::MAX - 1)] {
            put(&mut bytes, 512 + 4 * sector, next);
        }
        for sector in 2..9 {
            put(&mut bytes, 512 + 4 * sector, sector as u32 + 1);
        }
        for (place, name) in [(1_024, "Root Entry"), (1_152, "Workbook")] {
            for (unit, letter) in name.encode_utf16().enumerate() {
                bytes[place + 2 * unit..][..2].copy_from_slice(&letter.to_le_bytes());
            }
        }
        put(&mut bytes, 1_152 + 116, 2);
        put(&mut bytes, 1_152 + 120, 4_096);
        bytes.extend_from_slice(stream);
        change(&mut bytes);
        bytes
    }

    fn put(bytes: &mut [u8], at: usize, number: u32) {
        bytes[at..at + 4].copy_from_slice(&number.to_le_bytes());
    }

    #[test]
    fn a_stream_is_its_sectors_in_the_order_of_their_chain() {
        let stream: [u8; 4_096] = std::array::from_fn(|place| (place / 512) as u8);
        let bytes = file(&stream, |_| {});
        let read = CompoundFile::read(&bytes).unwrap();
        assert!(read.holds("workbook"));
        assert_eq!(
            read.streams(&["Workbook", "Book"]).unwrap(),
            [stream.to_vec()]
        );
    }

    #[test]
    fn a_chain_that_never_ends_is_refused() {
        let circle = file(&[0; 4_096], |bytes| {
            put(bytes, 512 + 4 * 9, 2);
            put(bytes, 1_152 + 120, u32::MAX);
        });
        let read = CompoundFile::read(&circle).unwrap();
        assert!(read.streams(&["Workbook"]).unwrap_err().contains("circle"));

        let directory = file(&[0; 4_096], |bytes| put(bytes, 512 + 4, 1));
        assert!(
            CompoundFile::read(&directory)
                .err()
                .unwrap()
                .contains("circle")
        );

        let beyond = file(&[0; 4_096], |bytes| put(bytes, 48, 9_999));
        assert!(
            CompoundFile::read(&beyond)
                .err()
                .unwrap()
                .contains("beyond")
        );
    }
}
