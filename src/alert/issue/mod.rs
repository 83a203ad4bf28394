//! What an alert is issued as, and what becomes of it: corrected, built again, withdrawn.

pub mod facts;
pub mod issuing;
pub mod rebuilt;
pub mod report;
pub mod withdrawing;
