//! The store of a workspace where its settings say that it is: a folder, or a bucket with what the
//! environment says of its keeper.

use std::sync::Arc;
use std::time::Duration;

use object_store::aws::AmazonS3Builder;
use object_store::{ClientOptions, RetryConfig};
use url::Url;

use crate::workspace::Workspace;
use scouting::failure::{Cause, Failure, Kind};
use store::delta::tables::Store;

/// A keeper that does not answer is reported after this time; the library would try on for minutes.
const RETRY_TIME: Duration = Duration::from_secs(30);
const REQUEST_TIME: Duration = Duration::from_secs(60);

/// The store, in whatever state it is.
pub(crate) fn store_of(workspace: &Workspace) -> Result<Store, Failure> {
    let place = workspace.settings().store.place.as_str();
    if place.is_empty() {
        workspace.share_store()?;
        return Store::in_folder(&workspace.store());
    }
    let refused = |error: Cause| {
        Failure::because(Kind::Store, format!("cannot use the store {place}"), error).mend(
            "[store] place is s3://bucket/prefix; AWS_REGION and the keys are environment variables",
        )
    };
    let address = Url::parse(place).map_err(|error| refused(error.into()))?;
    if address.scheme() != "s3" || address.host_str().is_none() {
        return Err(refused("only s3:// is known".into()));
    }
    let mut builder = AmazonS3Builder::new()
        .with_url(place)
        .with_client_options(ClientOptions::new().with_timeout(REQUEST_TIME))
        .with_retry(RetryConfig {
            retry_timeout: RETRY_TIME,
            ..RetryConfig::default()
        });
    for (name, value) in options()? {
        // What is not about a bucket is for other programs.
        if let Ok(key) = name.to_ascii_lowercase().parse() {
            builder = builder.with_config(key, value);
        }
    }
    let files = builder.build().map_err(|error| refused(error.into()))?;
    Ok(Store::in_bucket(&address, Arc::new(files)))
}

/// What the environment says of the bucket's keeper.
pub(crate) fn options() -> Result<Vec<(String, String)>, Failure> {
    let options: Vec<(String, String)> = std::env::vars()
        .filter(|(name, _)| name.starts_with("AWS_"))
        .collect();
    // The library takes any text for an address and breaks off at the first request.
    let endpoint = options
        .iter()
        .find(|(name, _)| name.starts_with("AWS_ENDPOINT"));
    match endpoint {
        Some((name, address)) if Url::parse(address).is_err() => Err(Failure::new(
            Kind::Settings,
            format!("{name} is no address: {address:?}"),
        )
        .mend("write it with its scheme: https://s3.example.org")),
        // The library would write the address, and with it the password, into its messages.
        Some((name, address)) if has_login(address) => Err(Failure::new(
            Kind::Settings,
            format!("{name} has a name or password in its address"),
        )
        .mend("write the address alone; keys are AWS_ACCESS_KEY_ID and AWS_SECRET_ACCESS_KEY")),
        _ => Ok(options),
    }
}

fn has_login(address: &str) -> bool {
    Url::parse(address).is_ok_and(|url| !url.username().is_empty() || url.password().is_some())
}
