//! An alert as it was issued: found by its number, and its figures made again from all that it was made from.

use crate::alert::chosen::publishing;
use crate::alert::inputs::Inputs;
use crate::alert::issue::facts::Replaced;
use crate::figures::rolled_up::Figures;
use crate::workspace::Workspace;
use crate::workspace::open::open_store;
use scouting::failure::{Failure, Kind};
use scouting::visit::week::IsoWeek;
use store::alerts::issued_alert::{Change, IssuedAlert};
use store::alerts::table::published_before;
use store::delta::snapshot::Snapshot;

/// What an alert said, from all that it was made from, and why it is replaced.
pub(crate) async fn replaced_rows(
    workspace: &Workspace,
    alert: &IssuedAlert,
    change: &Change,
) -> Result<Replaced, Failure> {
    let (_, figures) = figures_as_issued(workspace, alert).await?;
    Ok(Replaced {
        number: alert.number,
        rows: figures.rows_under(week_of(alert)?, &alert.protocol),
        change: change.clone(),
    })
}

/// The figures that an alert was made of, with the rows that were public before it.
pub(crate) async fn figures_as_issued(
    workspace: &Workspace,
    alert: &IssuedAlert,
) -> Result<(Snapshot, Figures), Failure> {
    if alert.public_rows.is_none() {
        return Err(made_by_an_older_program(alert));
    }
    let inputs = Inputs::of_alert(workspace, alert)?;
    let published = published_before(&open_store(workspace).await?, alert.number).await?;
    let publishing = publishing(week_of(alert)?, &alert.protocol);
    let version = Some(alert.store_version);
    inputs
        .figures(workspace, version, &published, &publishing, &[])
        .await
}

/// An alert whose figures were not made of public rows: they cannot be made again, nor shown by today's rule.
pub(crate) fn made_by_an_older_program(alert: &IssuedAlert) -> Failure {
    let number = alert.number;
    Failure::new(
        Kind::Publish,
        format!(
            "alert {number} was issued by an older program, whose figures let single fields be computed: it is not \
             built or published again"
        ),
    )
    .mend(format!(
        "withdraw it: bractline alert --withdraw {number} --reason TEXT; its files stay in the workspace, and its week \
         can be issued again"
    ))
}

pub(crate) fn week_of(alert: &IssuedAlert) -> Result<IsoWeek, Failure> {
    alert.iso_week.parse().map_err(|reason: String| {
        let week = &alert.iso_week;
        Failure::new(
            Kind::Damaged,
            format!("alert {} names the week {week:?}", alert.number),
        )
        .caused_by(reason)
    })
}

pub(crate) fn find(issued: &[IssuedAlert], number: i64) -> Result<&IssuedAlert, Failure> {
    issued
        .iter()
        .find(|alert| alert.number == number)
        .ok_or_else(|| {
            Failure::new(Kind::Publish, format!("there is no alert {number}"))
                .mend("`bractline alert --list` lists the issued alerts")
        })
}
