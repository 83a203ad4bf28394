//! A picture as PNG: three parts and no more (W3C Portable Network Graphics, third edition). Written here, since the encoders at
//! hand turn on features of crates that the engine is built of.

use std::io::Write;

use crc32fast::Hasher;
use flate2::Compression;
use flate2::write::ZlibEncoder;

/// Pixels, three bytes each: red, green, blue.
pub(super) struct Pixels {
    pub(super) width: u32,
    pub(super) height: u32,
    pub(super) bytes: Vec<u8>,
}

/// The picture as a file.
pub(super) fn png(pixels: &Pixels) -> Vec<u8> {
    let size = [pixels.width.to_be_bytes(), pixels.height.to_be_bytes()].concat();
    // Eight bits to a color, true color, the one compression, the one way of filtering, no interlace.
    let header = [size.as_slice(), &[8, 2, 0, 0, 0]].concat();
    let row = pixels.width as usize * 3;
    let mut rows = Vec::with_capacity(pixels.bytes.len() + pixels.height as usize);
    for (place, line) in pixels.bytes.chunks_exact(row).enumerate() {
        let above = place
            .checked_sub(1)
            .map(|above| &pixels.bytes[above * row..]);
        // Each row as its difference from the one above, filter type 2: flat areas become nothing.
        rows.push(2);
        rows.extend(line.iter().enumerate().map(|(x, byte)| {
            let above = above.map_or(0, |above| above[x]);
            byte.wrapping_sub(above)
        }));
    }
    let mut file = b"\x89PNG\r\n\x1a\n".to_vec();
    part(&mut file, b"IHDR", &header);
    part(&mut file, b"IDAT", &compressed(&rows));
    part(&mut file, b"IEND", b"");
    file
}

fn part(file: &mut Vec<u8>, kind: &[u8; 4], data: &[u8]) {
    let mut checksum = Hasher::new();
    checksum.update(kind);
    checksum.update(data);
    file.extend((data.len() as u32).to_be_bytes());
    file.extend(kind);
    file.extend(data);
    file.extend(checksum.finalize().to_be_bytes());
}

/// The bytes in the zlib format, which PNG and PDF have in common.
pub(super) fn compressed(bytes: &[u8]) -> Vec<u8> {
    let mut encoder = ZlibEncoder::new(Vec::new(), Compression::default());
    encoder
        .write_all(bytes)
        .and_then(|()| encoder.finish())
        .expect("writing to memory does not fail")
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Read;

    /// The checksum of an empty end is in every PNG file: AE 42 60 82.
    #[test]
    fn the_parts_are_those_of_the_format() {
        let pixels = Pixels {
            width: 2,
            height: 2,
            bytes: vec![1, 2, 3, 4, 5, 6, 1, 2, 3, 0, 5, 6],
        };
        let file = png(&pixels);
        assert!(file.ends_with(b"\0\0\0\0IEND\xae\x42\x60\x82"));
        let data = file
            .windows(4)
            .position(|kind| kind == b"IDAT")
            .expect("pixels")
            + 4;
        let mut rows = Vec::new();
        flate2::read::ZlibDecoder::new(&file[data..])
            .read_to_end(&mut rows)
            .expect("whole");
        assert_eq!(rows, [2, 1, 2, 3, 4, 5, 6, 2, 0, 0, 0, 252, 0, 0]);
    }
}
