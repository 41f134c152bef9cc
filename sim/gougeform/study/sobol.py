"""Which setting matters how much: first-order and total Sobol indices of a study made with sample = "sensitivity".

First order: the share of an output's variance that goes when that field alone is known. Total: the share that stays
when all others are known. Design and estimators: Saltelli et al., Computer Physics Communications 181 (2010) 259-270,
as scipy.stats.sobol_indices has them; the intervals are percentiles of a bootstrap over the samples.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from gougeform.errors import InputError
from gougeform.study.plan import Plan
from gougeform.study.table import POINT

if TYPE_CHECKING:
    import pyarrow

Floats = NDArray[np.float64]

MOST_LOST = 0.1
"""Largest share of samples that may lack a value."""

_RESAMPLES = 200
_WITHIN = (2.5, 97.5)  # per cent: 95 of 100 resamples lie between


@dataclass(frozen=True, eq=False)
class Indices:
    """Indices of d fields for one output, each (d,), with the bounds (2, d) between which 95 % of resamples lie.

    samples: how many were used, each of d + 2 tools; of: how many there were. spread: the output's standard deviation.
    """

    output: str
    fields: tuple[str, ...]
    first: Floats
    total: Floats
    first_bounds: Floats
    total_bounds: Floats
    samples: int
    of: int
    spread: float


def indices(a: Floats, b: Floats, mixed: Floats, seed: int = 0) -> tuple[Floats, Floats, Floats, Floats]:
    """First-order and total indices (d,) and their bounds (2, d), from outputs a, b (n,) and mixed (d, n).

    n is a power of two; mixed[k] belongs to sample a with field k taken from sample b.
    """
    from scipy.stats import sobol_indices

    def both(pick: NDArray[np.intp] | slice) -> tuple[Floats, Floats]:
        found = sobol_indices(func={"f_A": a[None, pick], "f_B": b[None, pick], "f_AB": mixed[:, None, pick]}, n=len(a))
        return np.asarray(found.first_order, float), np.asarray(found.total_order, float)

    first, total = both(slice(None))
    rng = np.random.default_rng(seed)
    again = [both(rng.integers(0, len(a), len(a))) for _ in range(_RESAMPLES)]
    first_bounds, total_bounds = (np.percentile([one[i] for one in again], _WITHIN, axis=0) for i in (0, 1))
    return first, total, first_bounds, total_bounds


def of_table(plan: Plan, table: pyarrow.Table, outputs: Sequence[str] | None = None) -> list[Indices]:
    """The indices of each output that varies at all.

    Raises InputError where the study has another sample, is not complete, or lacks more than a tenth of an output.
    """
    if plan.sample != "sensitivity":
        raise InputError("sample", f'is "{plan.sample}"', 'Sobol indices need sample = "sensitivity"', plan.source)
    if table.num_rows < plan.size:
        raise InputError("", f"has {table.num_rows} of {plan.size} rows", "run the study to its end first", plan.source)
    order = np.argsort(table[POINT].to_numpy())
    found = []
    for name in outputs or plan.outputs:
        values = table[name].to_numpy(zero_copy_only=False).astype(float)[order].reshape(-1, plan.points)
        complete = np.flatnonzero(np.isfinite(values).all(0))
        if not np.isfinite(values).any():
            continue  # no meaning in this study, like the land where there is no relief
        if len(complete) < (1 - MOST_LOST) * plan.points:
            raise InputError(
                name,
                f"{plan.points - len(complete)} of {plan.points} samples have a tool without a value",
                "narrow the ranges to tools that can be ground (the table's column reason says what stops them)",
                plan.source,
            )
        # The estimators ask for a power of two; a part of the sample is still a sample.
        count = 2 ** int(math.log2(len(complete)))
        used = values[:, complete[:count]]
        spread = float(used[:2].std())
        if spread < 1e-9 * max(1.0, float(np.abs(used).max())):
            continue
        parts = indices(used[0], used[1], used[2:], plan.seed)
        found.append(Indices(name, plan.inputs, *parts, samples=count, of=plan.points, spread=spread))
    return found


def as_table(found: Sequence[Indices]) -> pyarrow.Table:
    """One row for each output and field."""
    import pyarrow as pa

    rows = []
    for one in found:
        for k, name in enumerate(one.fields):
            rows.append(
                {
                    "output": one.output,
                    "field": name,
                    "first_order": float(one.first[k]),
                    "first_order_low": float(one.first_bounds[0, k]),
                    "first_order_high": float(one.first_bounds[1, k]),
                    "total_order": float(one.total[k]),
                    "total_order_low": float(one.total_bounds[0, k]),
                    "total_order_high": float(one.total_bounds[1, k]),
                    "samples": one.samples,
                }
            )
    return pa.Table.from_pylist(rows)
