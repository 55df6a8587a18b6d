"""What one of each thing in a packet takes on an AVR at most: the coefficients of packetcodec/emit/c/cost.py.

    python benchmarks/firmware_costs.py [--schemas N] [--seed N] >tables.json

Measures the worst records of random schemas as `benchmarks/firmware_worst.py` does, and finds the sums that come
nearest to all of them from above, by linear programming: the sum of stated / measured and its largest are least, no
coefficient is below 0. A quarter is added. A run over 120 schemas takes half an hour; run firmware_worst.py with
another seed behind it.
"""

from __future__ import annotations

import argparse
import json
import math
import sys

import numpy as np
from firmware_worst import drawn, fixed, measured
from scipy.optimize import linprog

from packetcodec.emit.c.cost import STACK, TABLES, counts

MARGIN = 1.25


def fit(rows: list[tuple[dict[str, int], dict[str, int]]]) -> dict[str, dict[str, float]]:
    """The coefficients of least sums that no row exceeds, by linear programming; by `MARGIN` more."""
    tables = {}
    for figure in TABLES:
        names = STACK if figure.endswith("stack") else sorted({name for counted, _ in rows for name in counted})
        shares = np.array([[counted.get(name, 0) / worst[figure] for name in names] for counted, worst in rows])
        sizes = np.maximum(shares.max(0), 1e-12)
        shares = shares / sizes
        one = np.ones((len(rows), 1))
        # Each sum is at least 1, and at most the number behind the coefficients, which is to be small too.
        least, most = np.hstack((-shares, 0 * one)), np.hstack((shares, -one))
        weights = np.append(shares.sum(0), len(rows) / 2)
        bounds = np.hstack((-one, 0 * one)).T.ravel()
        found = linprog(weights, A_ub=np.vstack((least, most)), b_ub=bounds, bounds=(0, None), method="highs").x[:-1] / sizes
        each = zip(names, found, strict=True)
        tables[figure] = {name: math.ceil(number * MARGIN * 1000) / 1000 for name, number in each if number > 1e-9}
    return tables


def main() -> int:
    """Print the tables."""
    parser = argparse.ArgumentParser(description="Finds what emitted C takes of an AVR, for its header.")
    parser.add_argument("--schemas", type=int, default=120, help="random schemas (default %(default)s)")
    parser.add_argument("--seed", type=int, default=7, help="of the random schemas (default %(default)s)")
    options = parser.parse_args()
    rows = [
        (counts(c, layout), worst)
        for number, schema in enumerate((*fixed(), *drawn(options.schemas, options.seed)))
        for c, layout, worst in measured(schema, options.seed + number)
    ]
    print(json.dumps(fit(rows), indent=4))
    return 0


if __name__ == "__main__":
    sys.exit(main())
