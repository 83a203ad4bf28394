//! What an alert is issued as, and what becomes of it: corrected, built again, withdrawn.

pub(crate) mod as_issued;
pub(crate) mod facts;
pub(crate) mod issuing;
pub(crate) mod rebuilt;
pub(crate) mod report;
pub(crate) mod withdrawing;
