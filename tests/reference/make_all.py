"""Remakes the reference files beside this script, or compares them with a remake.

    make_all.py            write every file
    make_all.py --check    remake in memory; exit 1 naming the first difference of a committed file
    make_all.py sun ducts  only these
"""

import importlib
import json
import sys
import time
from pathlib import Path

import common

# Script, file, relative and absolute agreement asked of a remake on another machine.
FILES = [
    ("moist_air", "moist_air.json", 1e-8, 1e-9),
    ("ducts", "ducts.json", 1e-9, 1e-12),
    ("networks", "networks.json", 1e-9, 1e-12),
    ("sun", "sun.json", 1e-8, 1e-8),
    ("comfort", "comfort.json", 1e-9, 1e-9),
    # Times of switchings, which carry the integrator's tolerance, are in seconds up to 86400.
    ("scenarios", "scenarios.json", 1e-7, 1e-4),
    ("statistics_of_cases", "statistics_of_cases.json", 1e-9, 1e-12),
]


def main(arguments):
    check = "--check" in arguments
    wanted = [a for a in arguments if not a.startswith("--")]
    unknown = set(wanted) - {f[0] for f in FILES}
    if unknown:
        print(f"no such script: {', '.join(sorted(unknown))}", file=sys.stderr)
        return 2
    here = Path(__file__).resolve().parent
    failed = False
    for name, file, rtol, atol in FILES:
        if wanted and name not in wanted:
            continue
        start = time.monotonic()
        made = importlib.import_module(name).make()
        spent = f"{time.monotonic() - start:.1f} s"
        if not check:
            (here / file).write_text(common.text(made), encoding="utf-8")
            print(f"wrote {file} ({spent})")
            continue
        try:
            kept = json.loads((here / file).read_text(encoding="utf-8"))
            found = common.difference(made, kept, rtol, atol)
        except (OSError, ValueError) as error:
            found = str(error)
        if found:
            failed = True
            print(f"{file}: DIFFERS at {found}", file=sys.stderr)
        else:
            print(f"{file}: same to {rtol:g} relative + {atol:g} ({spent})")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
