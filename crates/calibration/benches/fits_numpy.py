"""Fits the quadratics of `benches/fits.rs` with numpy: what they are measured against.

Prints the seconds that 100 000 weighted quadratics of 8 points take with `numpy.polyfit` in a loop, from the fastest of five
times 2 000 of them.
"""

import time

import numpy as np

FITS, TOLD = 2_000, 100_000
PLACES = np.arange(8)
AMOUNTS = 2.5 * PLACES
# numpy takes the square roots of the weights.
ROOTS = 1 / np.sqrt(1 + AMOUNTS)


def points(trial):
    noise = 1e-4 * (((trial * 8 + PLACES) * 0.618_033_988_749_895) % 1.0)
    return 0.002 + 0.04 * AMOUNTS / (1 + 0.01 * AMOUNTS) + noise


if __name__ == "__main__":
    responses = [points(trial) for trial in range(FITS)]
    walls = []
    for _ in range(5):
        begin = time.perf_counter()
        for y in responses:
            np.polyfit(AMOUNTS, y, 2, w=ROOTS)
        walls.append(time.perf_counter() - begin)
    print(TOLD / FITS * min(walls))
