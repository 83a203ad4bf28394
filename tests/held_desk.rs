//! The held desk: records go back to their senders, come back mended, and are closed.
