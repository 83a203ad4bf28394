#!/usr/bin/env bash
# The roll-up on a cluster of processes of this machine: by itself, with one executor, with two.
#
#   bash tests/benches/cluster.sh [VISITS] [PROFILE]      default: 100000 visits, the profile release
#
# VISITS lines are generated, loaded and rolled up; the files of a cluster must be those of a roll-up by itself. It needs
# Rust, GNU time and the cluster's crates, half of the tree. tests/benches/RESULTS.md holds what it came to, with its date.
set -euo pipefail
cd "$(dirname "$0")/../.."

visits="${1:-100000}"
profile="${2:-release}"
target="$(realpath -m "${CARGO_TARGET_DIR:-target}")"
work="$target/cluster_bench"
mkdir -p "$work"

cargo build --profile "$profile" --locked --features cluster-tests \
  --bin bractline --example generate_visits --example cluster_node
folder="$profile"
[ "$profile" != dev ] || folder=debug
bractline="$target/$folder/bractline"
node="$target/$folder/examples/cluster_node"
# Without optimization the engine's planner takes more of the stack than a thread has by itself.
export RUST_MIN_STACK=33554432

workspace="$work/workspace-$visits"
if [ ! -e "$workspace.loaded" ]; then
  rm -rf "$workspace"
  "$bractline" init "$workspace" --region sample_data/region.geojson \
    --id-property county_id --name-property county_name > /dev/null
  "$target/$folder/examples/generate_visits" "$visits" 7 > "$work/visits.ndjson" 2> /dev/null
  "$bractline" --workspace "$workspace" load "$work/visits.ndjson" > /dev/null || [ $? = 3 ]
  rm "$work/visits.ndjson"
  touch "$workspace.loaded"
fi

# Whoever connects to this address reaches the machine itself.
here=0.0.0.0
nodes=()
stop() {
  # No check of anything: a node may have ended by itself, and there is then nothing to kill.
  [ "${#nodes[@]}" = 0 ] || kill "${nodes[@]}" 2> /dev/null || true # it has ended already
  nodes=()
}
trap stop EXIT

# Starts a node and waits until it takes connections at a port.
start() {
  local port="$1"
  shift
  "$node" "$@" > /dev/null 2>&1 &
  nodes+=($!)
  until (: < "/dev/tcp/$here/$port") 2> /dev/null; do sleep 0.1; done
}

# Rolls up once and prints a row: clock, processors and memory of the client, then of the executors together.
row() {
  local of="$1" out="$work/up" ticks=0 peak=0
  shift
  rm -rf "$out"
  /usr/bin/time -f '%e %U %S %M' -o "$work/measured" "$bractline" --workspace "$workspace" rollup --out "$out" "$@" > /dev/null
  read -r wall user system client_kb < <(tail -1 "$work/measured")
  for pid in "${nodes[@]:1}"; do
    ticks=$((ticks + $(awk '{ print $14 + $15 }' "/proc/$pid/stat")))
    peak=$((peak + $(awk '/^VmHWM/ { print $2 }' "/proc/$pid/status")))
  done
  echo "| $of | $wall | $(echo "$user + $system" | bc) | $((client_kb / 1024)) |" \
    "$(echo "scale=1; $ticks / $(getconf CLK_TCK)" | bc) | $((peak / 1024)) |"
  [ -e "$work/alone" ] || mv "$out" "$work/alone"
  [ ! -e "$out" ] || diff -r "$work/alone" "$out"
}

rm -rf "$work/alone"
{
  echo "| $visits lines | clock, s | client: processors, s | client: peak, MB | executors: processors, s | executors: peak, MB |"
  echo "|---|--:|--:|--:|--:|--:|"
  row "by itself"
  port=50150
  for executors in 1 2; do
    start "$port" scheduler "$port"
    for number in $(seq "$executors"); do
      mkdir -p "$work/executor-$number"
      start $((port + 2 * number)) executor "$port" $((port + 2 * number)) $((port + 2 * number + 1)) "$work/executor-$number"
    done
    row "$executors of one core" --cluster "df://$here:$port"
    stop
    port=$((port + 20))
  done
} | tee "$work/$visits.md"
