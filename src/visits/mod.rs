//! One visit: shown with all of its revisions, and changed by a next one.

pub(crate) mod edit;
pub(crate) mod leaves;
pub(crate) mod setting;
pub(crate) mod show;
