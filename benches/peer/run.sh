#!/bin/sh
# Ratios to the same physics in numpy with scipy, and in numba, in one run on one machine.
# The peers get a virtual environment of their own in ${PEER_VENV:-/tmp/openshut-peer}.
set -eu
here=$(cd "$(dirname "$0")" && pwd)
venv=${PEER_VENV:-/tmp/openshut-peer}
[ -x "$venv/bin/python" ] || python3 -m venv "$venv"
"$venv/bin/pip" install -q -r "$here/requirements.txt"
cd "$here/../.."
bench=$(cargo bench --bench peer --no-run 2>&1 | sed -n 's/.*Executable.*(\(.*\))/\1/p')
if [ -z "$bench" ]; then
    echo "the bench could not be built: run cargo bench --bench peer --no-run" >&2
    exit 1
fi
"$venv/bin/python" "$here/ratio.py" "$here" "$bench"
