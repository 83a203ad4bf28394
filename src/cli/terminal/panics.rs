//! Which panics are shown on stderr.

use crate::figures::sql::THREAD_NAME;

/// Keeps two panics of libraries from stderr: the error behind each is reported in words, and a panic would look like a
/// fault of the program. Nothing depends on them but what is shown.
///
/// When a file cannot be finished (a full disk), `object_store` 0.13 panics as its `BufWriter::abort` follows the failed
/// end of the file. deltalake makes that call, catches the panic and returns the error: no call of ours can be guarded and
/// no type asked, so the place of the panic is all that marks it.
///
/// A query can overflow a counter of the engine (`string_agg` of 2 GiB). Its threads have a name of their own, and
/// `sql` reports the failure whatever thread met it.
pub(in crate::cli) fn report_those_that_are_news() {
    let show = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |panic| {
        let file = panic.location().map_or("", |place| place.file());
        let of_a_writer = file.contains("object_store") && file.ends_with("buffered.rs");
        let of_a_query = std::thread::current().name() == Some(THREAD_NAME);
        match (of_a_query, of_a_writer) {
            (true, _) => tracing::info!("a query panicked: {panic}"),
            (false, true) => tracing::info!("a writer panicked: {panic}"),
            (false, false) => show(panic),
        }
    }));
}
