//! What an alert is issued as, and what becomes of it: replaced, built again, withdrawn.

pub(crate) mod as_issued;
mod desk;
pub(crate) mod facts;
pub(crate) mod issuing;
mod preview;
pub(crate) mod reason;
pub(crate) mod rebuilt;
pub(crate) mod report;
pub(crate) mod request;
pub(crate) mod settle;
pub(crate) mod together;
pub(crate) mod withdrawing;
