//! Who decides something, and why, as flags of a command.

/// Who decides, and why.
#[derive(Debug, clap::Args)]
pub(super) struct Deciding {
    /// Why
    #[arg(long, value_name = "TEXT", value_parser = said)]
    pub(super) reason: String,

    /// Who decided [default: the name of the system's user]
    #[arg(long, value_name = "WHO", value_parser = said)]
    by: Option<String>,
}

impl Deciding {
    /// Who decides.
    pub(super) fn who(&self) -> String {
        self.by.clone().unwrap_or_else(system_user)
    }
}

/// A text that is not empty.
fn said(text: &str) -> Result<String, String> {
    match text.trim() {
        "" => Err("the text must not be empty".to_owned()),
        text => Ok(text.to_owned()),
    }
}

/// The name under which the system knows the user.
fn system_user() -> String {
    ["USER", "LOGNAME", "USERNAME"]
        .iter()
        .filter_map(|name| std::env::var(name).ok())
        .find(|name| !name.trim().is_empty())
        .unwrap_or_else(|| "not stated".to_owned())
}
