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
def rms(row):
    error = np.array(row["hourly"]) - truth[: len(row["hourly"])]
    return np.sqrt((error**2).mean()), np.abs(error).max()


print(f"{'':56} {'seconds/s':>11} {'rms error, K':>13} {'worst, K':>9}  at equal or better accuracy ours is")
for row in ours + compiled + scipy:
    error, worst = rms(row)
    said = ""
    if row not in ours:
        as_exact = [o for o in ours if rms(o)[0] <= error]
        if as_exact:
            fastest = max(as_exact, key=lambda o: o["steps_s"])
            said = f"{fastest['steps_s'] / row['steps_s']:8.1f}x"
        else:
            said = f"{ours[0]['steps_s'] / row['steps_s']:8.1f}x, but less exact"
    print(f"{row['name']:56} {row['steps_s']:11.0f} {error:13.2e} {worst:9.1e}  {said}")
