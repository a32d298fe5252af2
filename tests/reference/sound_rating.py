"""Check values for A-weighting, NC curves and ratings, from python-acoustics.

    python3 -m venv /tmp/v && /tmp/v/bin/pip install \
        acoustics==0.2.6 numpy==1.26.4 scipy==1.14.1 pandas==2.3.3
    /tmp/v/bin/python tests/reference/sound_rating.py > tests/reference/sound_rating.json

The pins matter: acoustics 0.2.6 does not import on SciPy 1.17.
"""

import json

import numpy as np
from acoustics.criterion import nc, nc_curve
from acoustics.decibel import dbsum
from acoustics.descriptors import leq
from acoustics.standards.iec_61672_1_2013 import WEIGHTING_DATA

OCTAVES = [63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0]

a_weight = [float(WEIGHTING_DATA.set_index("nominal")["A"][f]) for f in OCTAVES]

rng = np.random.default_rng(20)
# Falling spectra such as ventilation makes, and a few that fall the other way.
slopes = rng.uniform(-8.0, 2.0, 60)
starts = rng.uniform(30.0, 75.0, 60)
spectra = []
for slope, start in zip(slopes, starts):
    levels = np.round(start + slope * np.arange(8) + rng.normal(0.0, 3.0, 8), 1)
    spectra.append(
        {
            "levels_db": levels.tolist(),
            "nc": str(nc(levels)),
            "dba": float(dbsum(levels + np.array(a_weight))),
        }
    )

history = np.round(rng.uniform(20.0, 60.0, 300), 2)

print(
    json.dumps(
        {
            "a_weight_db": a_weight,
            "nc_curves": {str(n): nc_curve(n).tolist() for n in range(15, 66, 5)},
            "spectra": spectra,
            "leq": {"levels_db": history.tolist(), "leq_db": float(leq(history))},
        },
        indent=1,
    )
)
