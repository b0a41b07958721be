"""Kernels as plain Python: the same results, and no index past the end of an array."""

import json
import os
import subprocess
import sys

import numpy as np
import pytest

from terrain.kernels.depressions import grow_tree, volumes_when_full
from terrain.kernels.fill_spill_merge import settle
from terrain.kernels.flood import fill, flood, may_stand_deeper
from terrain.kernels.lowest import lowest_open, open_cells
from terrain.kernels.routing import accumulate, carry_labels, lengths, walk


def run_kernels():
    """Everything the kernels make of a few small grounds, as lists."""
    results = []
    for seed in range(6):
        random = np.random.default_rng(seed)
        shape = tuple(random.integers(1, 9, 2))
        z = random.integers(0, 5, shape).astype(float) if seed % 2 else random.uniform(0, 5, shape)
        kind = random.choice([0, 1, 1, 1, 1, 2, 3], shape).astype(np.int64)
        receiver = np.full(shape, -1)
        filled, target, order, gathered = flood(z, kind, receiver, 0.5, 2.0)
        ends = np.array([0, z.size // 2, z.size])
        results += [volumes_when_full(z.ravel(), ends, np.array([5.0, 1.0]))] if z.size > 1 else []
        results += [fill(z, kind, 0.5, 2.0), [may_stand_deeper(z, kind, depth, 2) for depth in (0.5, 4.0)]]
        roof, barrier, opened = np.where(kind == 3, 0, -1), kind == 2, z.copy()
        cells = np.arange(9)
        open_cells(opened, roof, barrier, cells, cells // 2, cells % 2 == 0, cells / 8.0, -1, 0, 2.0, 1.0)
        results += [opened, barrier, lowest_open(opened, roof, barrier, 0.0, 0.0, 0.5, 2.0, 1.0, -2.0, 1.5)]
        tree = grow_tree(z, kind, target, order, 0.5, 2.0)
        settled = settle(np.where(kind > 0, 0.7, 0.0).ravel(), z.ravel(), target, order, tree, 1.0)
        seeds = np.full(z.size, -1)
        seeds[::3] = np.arange(seeds[::3].size)
        results += [filled, target, order, gathered, *tree, *settled]
        results += [accumulate(target, order, np.ones(z.size)), carry_labels(target, order, seeds)]
        results += [lengths(target, order, seeds >= 0, shape[1], 0.5, 2.0)]
        results += [walk(target, 0)]
    # a flat and a hall large enough for lists to grow and lines to gather
    for z in (np.zeros((40, 40)), np.pad(np.zeros((36, 36)), 2, constant_values=1.0)):
        z[0, 20] = -1.0
        results += flood(z, np.ones(z.shape, dtype=np.int64), np.full(z.shape, -1), 1.0, 1.0)
    return [np.asarray(result, dtype=float).ravel().tolist() for result in results]


def apart(**environment):
    """The same in a process of its own. [-]"""
    run = subprocess.run(
        [sys.executable, "-c", f"import runpy; print(runpy.run_path({__file__!r})['as_text']())"],
        capture_output=True, text=True, check=False, env=os.environ | environment,
    )  # fmt: skip
    assert run.returncode == 0, run.stderr
    return json.loads(run.stdout)


def as_text():
    return json.dumps(run_kernels())


def test_plain_python_gives_the_same():
    compiled = json.loads(as_text())
    plain = apart(NUMBA_DISABLE_JIT="1")
    assert len(plain) == len(compiled)
    for ours, theirs in zip(compiled, plain, strict=True):
        np.testing.assert_array_equal(ours, theirs)


@pytest.mark.thorough
def test_no_index_leaves_its_array(tmp_path):
    checked = apart(NUMBA_BOUNDSCHECK="1", NUMBA_CACHE_DIR=str(tmp_path))
    assert checked == json.loads(as_text()) or np.isnan(np.concatenate(checked)).any()
