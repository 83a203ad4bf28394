//! Addresses of buckets that are refused before anything is asked of a server.

use crate::support::{TestWorkspace, bractline};

#[test]
fn what_is_no_bucket_is_refused() {
    let workspace = TestWorkspace::empty();
    let path = workspace.path().display().to_string();
    for place in ["s3:/x", "gs://bucket/x", "ftp://host/x", "nowhere", "s3://"] {
        let run = bractline(&["init", &path, "--region", "us:46", "--store", place]).expect_code(1);
        assert!(run.stderr.contains("s3://bucket/prefix"), "{run:?}");
        std::fs::remove_dir_all(workspace.path()).expect("what was begun");
    }
    // A setting of the endpoint that is no address is reported before anything is asked.
    let odd = [("AWS_ENDPOINT", "here"), ("AWS_REGION", "us-east-1")];
    let odd = odd.map(|(name, value)| (name.to_owned(), value.to_owned()));
    let workspace = workspace.with_environment(odd.to_vec());
    let run = workspace.run_plain(&["init", &path, "--region", "us:46", "--store", "s3://a/b"]);
    assert!(run.expect_code(1).stderr.contains("AWS_ENDPOINT"));
}
