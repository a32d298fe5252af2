#!/bin/sh
# Instructions a second, by callgrind: the same hour run with two lengths, and the difference taken.
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
per_second() { echo $((($(count "$1" "$2" 3600) - $(count "$1" "$2" 0)) / 3600)); }
over() { echo "scale=4; $1 / $2" | bc; }
printf '%6s %9s %9s %7s %15s %7s\n' rooms second floor ratio 'second stepped' ratio
for rooms in "${@:-8}"; do
    whole=$(per_second whole "$rooms")
    stepped=$(per_second seconds "$rooms")
    floor=$(per_second floor "$rooms")
    printf '%6d %9d %9d %7.2f %15d %7.2f\n' "$rooms" "$whole" "$floor" \
        "$(over "$whole" "$floor")" "$stepped" "$(over "$stepped" "$floor")"
done
