//! Who may enter the folder of the store: its owner alone, or a shared office whom the umask lets in.
//!
//! The folder's own permissions decide for everything below it. Only Unix has them; elsewhere a folder is made
//! as the system makes it.

use std::io;
use std::path::Path;

/// Makes the folder for its owner alone, whatever the umask.
pub(super) fn make(store: &Path) -> io::Result<()> {
    std::fs::create_dir(store)?;
    #[cfg(unix)]
    set_mode(store, 0o700)?;
    Ok(())
}

/// Gives a folder that only its owner may enter the permissions of the workspace's folder; one that others may
/// enter already stays as it is. Nothing is done for somebody who does not own it.
#[cfg(unix)]
pub(super) fn share(store: &Path, workspace: &Path) -> io::Result<()> {
    if mode_of(store)? & 0o077 != 0 {
        return Ok(());
    }
    match set_mode(store, mode_of(workspace)?) {
        Err(error) if error.kind() == io::ErrorKind::PermissionDenied => Ok(()),
        done => done,
    }
}

#[cfg(not(unix))]
pub(super) fn share(_: &Path, _: &Path) -> io::Result<()> {
    Ok(())
}

#[cfg(unix)]
fn mode_of(folder: &Path) -> io::Result<u32> {
    use std::os::unix::fs::PermissionsExt;
    Ok(folder.metadata()?.permissions().mode() & 0o7777)
}

#[cfg(unix)]
fn set_mode(folder: &Path, mode: u32) -> io::Result<()> {
    use std::os::unix::fs::PermissionsExt;
    std::fs::set_permissions(folder, std::fs::Permissions::from_mode(mode))
}
