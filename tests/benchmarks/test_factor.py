"""Time and memory of factorising a T6 stiffness matrix, and how they grow, one thread.

    python -m pytest tests/benchmarks/test_factor.py --benchmark-enable
    BUTTRESS_BENCH_LARGE=1 python -m pytest tests/benchmarks/test_factor.py --benchmark-enable

The second adds a million unknowns (minutes, several GiB). In the normal run tiny meshes only show
that this works.
"""

import os
import resource
import sys
from time import perf_counter

import numpy as np
import pytest
from scipy.sparse.linalg import splu
from threadpoolctl import threadpool_limits

from buttress.fe.bodies.assembly import sheet, stiffness
from buttress.fe.verification.meshes import rectangle
from buttress.fe.verification.problem import unknowns

TINY = (500, 1000, 2000)
SIZES = (10_000, 32_000, 100_000, 320_000)
LARGE = 1_000_000


def held_matrix(size):
    """Stiffness of a square plate of about `size` unknowns, held on one side."""
    n = round(np.sqrt(size / 8))  # (2n + 1)² nodes of two unknowns
    mesh = rectangle(n, n, 50.0, 50.0)
    matrix = stiffness(mesh, sheet(1000.0, 0.3))
    free = np.setdiff1d(np.arange(matrix.shape[0]), unknowns(mesh.edges["left"]))
    return matrix[free][:, free].tocsc()


def factorise(matrix):
    return splu(matrix, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0,
                options={"SymmetricMode": True})


def peak_memory():
    """Largest resident memory of this process so far, bytes."""
    unit = 1 if sys.platform == "darwin" else 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit


def test_factor_growth(benchmark, capsys):
    sizes = list(TINY if benchmark.disabled else SIZES)
    if not benchmark.disabled and os.environ.get("BUTTRESS_BENCH_LARGE") == "1":
        sizes.append(LARGE)
    rows = []
    with threadpool_limits(limits=1):
        for size in sizes:
            matrix = held_matrix(size)
            load = np.ones(matrix.shape[0])
            start = perf_counter()
            factor = factorise(matrix)
            seconds = perf_counter() - start
            u = factor.solve(load)
            assert np.abs(matrix @ u - load).max() < 1e-6
            # A stored entry of a factor is a double and an index of four bytes.
            rows.append((matrix.shape[0], seconds, 12 * factor.nnz, peak_memory()))
            del factor
        benchmark.pedantic(factorise, args=(held_matrix(sizes[0]),), rounds=3)
    n, seconds, stored, peak = np.array(rows).T
    assert np.all(np.diff(stored) > 0)
    exponents = {"time": float(np.polyfit(np.log(n), np.log(seconds), 1)[0]),
                 "memory": float(np.polyfit(np.log(n), np.log(stored), 1)[0])}
    assert exponents["memory"] == pytest.approx(1.15, abs=0.25)  # n log n in the plane
    benchmark.extra_info.update(rows=rows, exponents=exponents)
    if not benchmark.disabled:
        with capsys.disabled():
            print("\nunknowns   time s   factor MiB   peak MiB (process)")
            for row in zip(n, seconds, stored / 2**20, peak / 2**20, strict=True):
                print("{:8.0f} {:8.2f} {:12.0f} {:10.0f}".format(*row))
            print("fitted exponents: time n^{time:.2f}, factor n^{memory:.2f}".format(**exponents))
