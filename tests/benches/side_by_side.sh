#!/usr/bin/env bash
# bractline beside DuckDB and Polars: the same work on the same visits, in turns, with equal results.
#
#   bash tests/benches/side_by_side.sh [VISITS] [RUNS]      default: 100000 visits, 5 runs of each
#
# It needs Rust and Python 3.11 or later with venv, and about 4 GB of disk a million visits. It prints a table
# and writes it to $CARGO_TARGET_DIR/side_by_side/table.md; tests/benches/RESULTS.md holds ours, with its date.
set -euo pipefail
cd "$(dirname "$0")/../.."

visits="${1:-100000}"
runs="${2:-5}"
target="$(realpath -m "${CARGO_TARGET_DIR:-target}")"
work="$target/side_by_side"
venv="$work/venv"
mkdir -p "$work"

cargo build --release --locked --bin bractline --example generate_visits --example floor_reader
[ -x "$venv/bin/python" ] || python3 -m venv "$venv"
"$venv/bin/pip" install -q --disable-pip-version-check -r tests/benches/side_by_side/requirements.txt

file="$work/visits-$visits.ndjson"
[ -s "$file" ] || "$target/release/examples/generate_visits" "$visits" 7 > "$file"
exec "$venv/bin/python" tests/benches/side_by_side/run.py --release "$target/release" --work "$work" --runs "$runs" "$file"
