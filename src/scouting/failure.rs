//! What stops a run: the one error type of the program.
//!
//! A failure is about the run (disk, network, settings, a busy store), never about a record that
//! somebody sent: that is a [`crate::visit::finding::Finding`]. It says what could not be done,
//! where, and how to correct it, in at most three lines. The error of the system or of a library that is behind it
//! stays with it as its cause, for whoever asks why.

use std::error::Error;
use std::fmt;
use std::io;
use std::path::Path;
use std::sync::Arc;

/// What stops a run: its family, a sentence for the reader, where it went wrong, what to do, and the error behind it.
#[derive(Debug, Clone)]
pub struct Failure {
    kind: Kind,
    what: String,
    place: Option<String>,
    mend: Option<String>,
    cause: Option<Arc<dyn Error + Send + Sync>>,
}

/// An error that a failure comes from: one of a library, of the system, or a reason in words.
pub type Cause = Box<dyn Error + Send + Sync>;

/// The family that a failure belongs to, for callers that react to it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A file or folder could not be read or written.
    Files,
    /// `bractline.toml` or a command's value is wrong.
    Settings,
    /// A boundary file cannot be used.
    Boundaries,
    /// A protocol file cannot be used.
    Protocol,
    /// A submission cannot be read at all.
    Submission,
    /// The store could not be read or written.
    Store,
    /// The store is in use and did not become free within the retries.
    Busy,
    /// The store does not agree with its receipts.
    Damaged,
    /// A roll-up stage failed or broke its own header.
    Stage,
    /// Nobody reads the output any more: no fault of anyone.
    ClosedPipe,
    /// An output would break the rules of confidentiality or could not be made.
    Publish,
}

impl Failure {
    /// A failure of this kind; `what` is lower case, without a full stop.
    pub fn new(kind: Kind, what: impl Into<String>) -> Self {
        Failure {
            kind,
            what: what.into(),
            place: None,
            mend: None,
            cause: None,
        }
    }

    /// A failure that another error caused, with the first line of that error's own words after ours: an
    /// engine's error can bring a backtrace along.
    pub fn because(kind: Kind, what: impl fmt::Display, cause: impl Into<Cause>) -> Self {
        let cause = cause.into();
        let words = cause.to_string();
        let first = words.lines().next().unwrap_or_default();
        Failure::new(kind, format!("{what}: {first}")).caused_by(cause)
    }

    /// A file that could not be read or written, with the operating system's own words.
    pub fn file(doing: &str, path: &Path, error: io::Error) -> Self {
        let kind = error.kind();
        let what = format!("cannot {doing} {}", path.display());
        let failure = Failure::because(Kind::Files, what, error);
        match kind {
            io::ErrorKind::NotFound => {
                failure.mend("check the name and the folder it is taken from")
            }
            io::ErrorKind::PermissionDenied => {
                failure.mend("ask for the right to it, or name another place")
            }
            io::ErrorKind::StorageFull => failure.mend("make room on the disk and try again"),
            io::ErrorKind::InvalidData => failure.mend("give text in UTF-8"),
            _ => failure,
        }
    }

    /// The place of an error in a file of settings: file and line, without the text around it, so that
    /// the message stays short.
    pub fn line_of(path: &Path, text: &str, byte: usize) -> String {
        let before = &text.as_bytes()[..byte.min(text.len())];
        let line = 1 + before.iter().filter(|byte| **byte == b'\n').count();
        format!("{}, line {line}", path.display())
    }

    /// Adds where it went wrong.
    pub fn at(mut self, place: impl Into<String>) -> Self {
        self.place = Some(place.into());
        self
    }

    /// Adds the file to the place within it, if there is one.
    pub fn in_file(mut self, path: &Path) -> Self {
        let file = path.display();
        self.place = Some(match self.place {
            Some(within) => format!("{file}, {within}"),
            None => file.to_string(),
        });
        self
    }

    /// Adds how to correct it.
    pub fn mend(mut self, mend: impl Into<String>) -> Self {
        self.mend = Some(mend.into());
        self
    }

    /// Keeps the error that the failure comes from, for [`Error::source`].
    pub fn caused_by(mut self, cause: impl Into<Cause>) -> Self {
        self.cause = Some(Arc::from(cause.into()));
        self
    }

    /// What could not be done.
    pub fn what(&self) -> &str {
        &self.what
    }

    /// Where it went wrong, if that is known.
    pub fn place(&self) -> Option<&str> {
        self.place.as_deref()
    }

    /// How to correct it, if that can be said.
    pub fn help(&self) -> Option<&str> {
        self.mend.as_deref()
    }

    /// The family of the failure.
    pub fn kind(&self) -> Kind {
        self.kind
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "error: {}", self.what)?;
        if let Some(place) = &self.place {
            write!(f, "\nwhere: {place}")?;
        }
        if let Some(mend) = &self.mend {
            write!(f, "\nhelp:  {mend}")?;
        }
        Ok(())
    }
}

/// Two failures are the same if they say the same, whatever caused them.
impl PartialEq for Failure {
    fn eq(&self, other: &Failure) -> bool {
        let said = |failure: &Failure| (failure.kind, failure.to_string());
        said(self) == said(other)
    }
}

impl Eq for Failure {}

impl Error for Failure {
    fn source(&self) -> Option<&(dyn Error + 'static)> {
        let cause: &(dyn Error + Send + Sync + 'static) = self.cause.as_deref()?;
        Some(cause)
    }
}
