"""Runs the peers and this program's parts on the same problem and prints the ratios."""

import json
import subprocess
import sys

import numpy as np

DAY_S = 86_400


def ran(*command):
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    return json.loads(done.stdout.strip().splitlines()[-1])


here = sys.argv[1]
ours = ran(sys.argv[2], str(DAY_S))
numba = ran(sys.executable, f"{here}/peer_numba.py", str(DAY_S))
# scipy takes minutes for a day; two hours tell its pace, and its error at two marks.
scipy = ran(sys.executable, f"{here}/peer_scipy.py", "7200")
*compiled, coarse, exact = numba
truth = np.array(exact["hourly"])
doubt = np.abs(np.array(coarse["hourly"]) - truth).max()
print(f"exact solution: Runge-Kutta 4 at 1/16 s; against 1/8 s it differs by {doubt:.1e} K at most")
print(f"{'':52} {'steps/s':>12} {'rms error, K':>13} {'worst, K':>9} {'ours is':>9}")
for r in ours + compiled + scipy:
    error = np.array(r["hourly"]) - truth[: len(r["hourly"])]
    ratio = ours[0]["steps_s"] / r["steps_s"]
    rms = np.sqrt((error**2).mean())
    print(f"{r['name']:52} {r['steps_s']:12.0f} {rms:13.2e} {np.abs(error).max():9.1e} {ratio:8.1f}x")
