#!/usr/bin/env bash
# Ten seasons compared: how long `trend` takes, on how much memory, and that its figures are those of the roll-up.
#
#   bash tests/benches/ten_seasons.sh [VISITS] [PROFILE]      default: 10000000 visits in all, the profile release
#
# VISITS lines are generated for the seasons 2017 to 2026 of the fictional region, loaded a million at a time, and
# compared. It needs Rust, GNU time, and for each million lines about 1.3 GB of disk while it loads. What it came to
# it prints, and writes to $CARGO_TARGET_DIR/ten_seasons/VISITS.md; tests/benches/RESULTS.md holds ours, with its date.
set -euo pipefail
cd "$(dirname "$0")/../.."

visits="${1:-10000000}"
profile="${2:-release}"
target="$(realpath -m "${CARGO_TARGET_DIR:-target}")"
work="$target/ten_seasons"
mkdir -p "$work"

cargo build --profile "$profile" --locked --bin bractline --example generate_visits
folder="$profile"
[ "$profile" != dev ] || folder=debug
bractline="$target/$folder/bractline"

workspace="$work/workspace-$visits"
if [ ! -e "$workspace.loaded" ]; then
  rm -rf "$workspace"
  "$bractline" init "$workspace" --region sample_data/region.geojson \
    --id-property county_id --name-property county_name > /dev/null
  rm -f "$work"/part-*
  # Some records are held, so a load may end with 3; `split` hands the names on in the environment.
  export bractline workspace
  "$target/$folder/examples/generate_visits" "$visits" 7 --seasons 2017-2026 2> "$work/account.json" |
    split --lines=1000000 - "$work/part-" \
      --filter='cat > "$FILE"; "$bractline" --workspace "$workspace" load "$FILE" > /dev/null || [ $? = 3 ]; rm "$FILE"'
  touch "$workspace.loaded"
fi

measured="$work/measured-$visits"
/usr/bin/time -f '%e %U %S %M' -o "$measured" "$bractline" --workspace "$workspace" trend --out "$work/seasons-$visits"
read -r wall user system peak_kb < <(tail -1 "$measured")
{
  echo "| visits | profile | clock, s | processors, s | peak, MB |"
  echo "|--:|---|--:|--:|--:|"
  echo "| $visits | $profile | $wall | $(echo "$user + $system" | bc) | $((peak_kb / 1024)) |"
} | tee "$work/$visits.md"
