//! The short keys by which records and visits are known in memory: half of a SHA-256, 16 bytes.

use sha2::{Digest, Sha256};

/// The key of a visit revision.
pub(crate) fn visit_key(visit_id: &str, revision: u32) -> u128 {
    let hash = Sha256::new()
        .chain_update(visit_id.as_bytes())
        .chain_update([0])
        .chain_update(revision.to_le_bytes())
        .finalize();
    half(&hash)
}

/// The first half of a SHA-256.
pub(crate) fn half(hash: &[u8]) -> u128 {
    let mut bytes = [0; 16];
    bytes.copy_from_slice(&hash[..16]);
    u128::from_le_bytes(bytes)
}
