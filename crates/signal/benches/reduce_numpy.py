"""Reduces furnace pulses with numpy and scipy: what `benches/reduce.rs` is measured against.

    reduce_numpy.py make FILE [PULSES]     writes PULSES pulses (100 000 where not given): raw little-endian
                                           float32, all total values, then all background values
    reduce_numpy.py run FILE [REPEATS]     prints "wall_s" with the median time of REPEATS passes (5 where not
                                           given) and one "checksum" a figure; writes the figures of every
                                           pulse beside FILE as FILE.figures, float64, one figure after the other

A pulse has 500 samples in two channels at 100 Hz. Its figures:

    offset   mean net absorbance of the 25 samples before the window
    noise    standard deviation of the same
    area     trapezoid sum over samples 25 to 474, offset taken off, in seconds
    height   highest value of the quadratic Savitzky-Golay filter of 11 points over the window
    time     when
    width    at half the height, linear between samples; none where a side does not fall that far
    highest  background
    tail     mean of the last 25 samples over the height
"""

import sys
import time

import numpy as np
from scipy.signal import savgol_filter

SAMPLES, RATE_HZ, BEFORE = 500, 100.0, 25
WINDOW = slice(25, 475)
# Pulses at a time: they stay in cache. The fastest of 500, 1000, 2000, 5000 and all at once.
TOGETHER = 2000
FIGURES = ("offset", "noise", "area", "height", "time", "width", "highest", "tail")


def make(path, n_pulses):
    t = np.arange(SAMPLES) / RATE_HZ
    noise = np.random.default_rng(20)
    with open(path, "wb") as file:
        for channel in ("total", "background"):
            # The same pulses for both channels: the same seed, the same number of draws.
            draw = np.random.default_rng(7)
            for start in range(0, n_pulses, 10_000):
                m = min(10_000, n_pulses - start)
                height, decay, begin, smoke, offset = (
                    draw.uniform(low, high, (m, 1))
                    for low, high in ((0.02, 1.2), (0.15, 0.5), (0.4, 0.9), (0.0, 0.6), (-0.004, 0.004))
                )
                values = smoke * np.exp(-(((t - 0.45) / 0.12) ** 2))
                if channel == "total":
                    x = np.clip(t - begin, 0, None) / decay
                    values = values + height * x * np.exp(1 - x) + offset
                file.write((values + noise.normal(0, 0.0012, (m, SAMPLES))).astype("<f4").tobytes())


def reduce_pulses(total, background):
    net = total - background
    offset = net[:, :BEFORE].mean(axis=1)
    noise = net[:, :BEFORE].std(axis=1, ddof=1)
    net -= offset[:, None]
    window = net[:, WINDOW]
    area = (window.sum(axis=1) - 0.5 * (window[:, 0] + window[:, -1])) / RATE_HZ
    smooth = savgol_filter(window, 11, 2, axis=1)
    row, place = np.arange(len(smooth)), np.arange(smooth.shape[1])
    peak = smooth.argmax(axis=1)
    height = smooth[row, peak]
    half = 0.5 * height
    below = smooth < half[:, None]
    left = np.where(below & (place < peak[:, None]), place, -1).max(axis=1)
    right = np.where(below & (place > peak[:, None]), place, len(place)).min(axis=1)
    missing = (left < 0) | (right == len(place)) | (height <= 0)
    left, right = np.clip(left, 0, len(place) - 2), np.clip(right, 1, len(place) - 1)
    with np.errstate(divide="ignore", invalid="ignore"):
        rise = left + (half - smooth[row, left]) / (smooth[row, left + 1] - smooth[row, left])
        fall = right - 1 + (smooth[row, right - 1] - half) / (smooth[row, right - 1] - smooth[row, right])
        tail = net[:, -BEFORE:].mean(axis=1) / height
    width = np.where(missing, np.nan, (fall - rise) / RATE_HZ)
    return offset, noise, area, height, (peak + WINDOW.start) / RATE_HZ, width, background.max(axis=1), tail


def run(path, repeats):
    values = np.fromfile(path, dtype="<f4").reshape(2, -1, SAMPLES)
    n_pulses, walls = values.shape[1], []
    for _ in range(repeats):
        begin = time.perf_counter()
        parts = [reduce_pulses(*values[:, i : i + TOGETHER]) for i in range(0, n_pulses, TOGETHER)]
        walls.append(time.perf_counter() - begin)
    print("wall_s", float(np.median(walls)))
    figures = [np.concatenate([part[k] for part in parts]).astype("<f8") for k in range(len(FIGURES))]
    for name, figure in zip(FIGURES, figures):
        print("checksum", name, float(np.nansum(figure)))
    np.concatenate(figures).tofile(path + ".figures")


if __name__ == "__main__":
    if len(sys.argv) < 3 or sys.argv[1] not in ("make", "run"):
        sys.exit(__doc__)
    count = int(sys.argv[3]) if len(sys.argv) > 3 else None
    if sys.argv[1] == "make":
        make(sys.argv[2], count or 100_000)
    else:
        run(sys.argv[2], count or 5)
