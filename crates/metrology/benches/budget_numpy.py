"""Propagates the budgets of `benches/budget.rs` with numpy: what it is measured against.

Prints a name and the fastest of five times in seconds, one a line: 10^6 trials with estimate, u and 95 % interval of three
budgets, and 10 000 first-order budgets with 30 sources; these by GTC and uncertainties too, where they are installed.
"""

import time

import numpy as np

TRIALS, BUDGETS, REPEATS = 1_000_000, 10_000, 5
# Trials at a time: they stay in cache. The fastest of 1 000, 4 000, 16 000, 65 000 and all at once.
TOGETHER = 4_000
A5 = np.array([(0.26, 0.018), (0.332, 0.0018), (5.73, 0.19), (1, 0.0008), (1, 0.001), (1, 0.06)])


def release(draw, n):
    c_0, v_l, a_v, acid, time_, temperature = A5[:, :1] + A5[:, 1:] * draw.standard_normal((6, n))
    return c_0 * v_l / a_v * acid * time_ * temperature


def product_of_sums(x):
    return x.reshape(10, 3, -1).sum(axis=1).prod(axis=0)


def thirty(draw, n):
    return product_of_sums(1 / 3 + 0.01 * draw.standard_normal((30, n)))


def thirty_t(draw, n):
    z = draw.standard_normal((30, n))
    z[0] *= np.sqrt(7 / draw.chisquare(7, n))
    return product_of_sums(1 / 3 + 0.01 * z)


def monte_carlo(budget):
    draw = np.random.default_rng(1)
    y = np.concatenate([budget(draw, min(TOGETHER, TRIALS - at)) for at in range(0, TRIALS, TOGETHER)])
    # Partial sorting is all that two quantiles need.
    ends = np.partition(y, (25_000, 974_999))[[25_000, 974_999]]
    return y.mean(), y.std(ddof=1), ends


def first_order():
    # As a spreadsheet does it: each input raised by its u, one budget after the other.
    total = 0.0
    for _ in range(BUDGETS):
        x = np.full(30, 1 / 3)
        raised = x[:, None] + 0.01 * np.eye(30)
        total += np.sqrt(((product_of_sums(raised) - product_of_sums(x)) ** 2).sum())
    return total


NAMES = [letter + digit for letter in "abcdefghij" for digit in "123"]


def of_library(number, budget):
    """10 000 budgets by a library that propagates uncertainty, from a thousand of them."""

    def act():
        for _ in range(BUDGETS // 10):
            x = [number(name) for name in NAMES]
            y = 1
            for n in range(0, 30, 3):
                y = y * (x[n] + x[n + 1] + x[n + 2])
            budget(y)

    return 10 * fastest(act)


def libraries():
    try:
        import GTC

        print("GTC", of_library(lambda name: GTC.ureal(1 / 3, 0.01, label=name), GTC.rp.budget))
    except ImportError:
        pass
    try:
        import uncertainties

        number = lambda name: uncertainties.ufloat(1 / 3, 0.01, name)
        print("uncertainties", of_library(number, lambda y: (y.std_dev, y.error_components())))
    except ImportError:
        pass


def fastest(act):
    walls = []
    for _ in range(REPEATS):
        begin = time.perf_counter()
        act()
        walls.append(time.perf_counter() - begin)
    return min(walls)


if __name__ == "__main__":
    for budget in (release, thirty, thirty_t):
        print(budget.__name__, fastest(lambda: monte_carlo(budget)))
    print("first_order", fastest(first_order))
    libraries()
