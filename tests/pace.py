"""How slow this machine is at this moment, so that limits of time judge the program and not the neighbours.

Limits are written for one free core of the machine they were measured on. Where two test processes share the caches, or
the machine is an older one, everything takes longer by one factor, which is measured here with work of the same kind:
small NumPy arrays, called from Python.
"""

import time

import numpy as np

FREE_CORE_S = 0.0097
"""What `_work` takes on one free core of the machine that the limits were measured on."""

_POINTS = np.random.default_rng(1).random((3, 400))


def _work():
    total = 0.0
    for turn in range(600):
        moved = _POINTS * (1.0 + turn * 1e-3)
        length = np.sqrt((moved * moved).sum(0))
        total += float(np.where(length > 1.0, length, 0.5).sum())
        total += sum(divmod(k, 7)[1] for k in range(40))
    return total


def pace():
    """Times as slow as the free core that limits are written for; never below 1."""
    times = []
    for _ in range(5):
        start = time.process_time()
        _work()
        times.append(time.process_time() - start)
    return max(1.0, min(times) / FREE_CORE_S)
