#!/bin/sh
# Instructions a step, by callgrind: the same hour run with two lengths, and the difference taken.
# They do not depend on what else the machine does. Needs valgrind.
#   benches/instructions.sh [ROOMS...]
set -eu
cd "$(dirname "$0")/.."
bench=$(cargo bench --bench step --no-run 2>&1 | sed -n 's/.*Executable.*(\(.*\))/\1/p')
if ! cargo --version >/dev/null || [ -z "$bench" ]; then
    echo "the bench could not be built: run cargo bench --bench step --no-run" >&2
    exit 1
fi
count() {
    valgrind --tool=callgrind --callgrind-out-file=/dev/null "$bench" count "$1" "$2" "$3" 2>&1 |
        sed -n 's/.*Collected : //p'
}
per_step() { echo $((($(count "$1" "$2" 3600) - $(count "$1" "$2" 0)) / 3600)); }
printf '%6s %12s %12s %7s\n' rooms "whole step" floor ratio
for rooms in "${@:-8}"; do
    whole=$(per_step whole "$rooms")
    floor=$(per_step floor "$rooms")
    printf '%6d %12d %12d %7.2f\n' "$rooms" "$whole" "$floor" "$(echo "scale=4; $whole / $floor" | bc)"
done
