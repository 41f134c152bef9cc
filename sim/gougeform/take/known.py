"""A measured number with how far it may be off, and least squares that says both."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

COVERS = 1.96
"""Standard deviations on either side that hold 95 of 100 true values of a normal error."""


@dataclass(frozen=True)
class Known:
    """A number and its uncertainty: 95 of 100 true values lie within `value` ± `off`."""

    value: float
    off: float

    @classmethod
    def of(cls, value: float, deviation: float) -> Known:
        """From a standard deviation."""
        return cls(float(value), COVERS * float(deviation))

    def covers(self, true: float) -> bool:
        """Whether the true value lies within what is stated."""
        return abs(self.value - true) <= self.off

    def table(self) -> dict[str, float]:
        """For JSON."""
        return {"value": self.value, "off": self.off}


@dataclass(frozen=True, eq=False)
class LeastSquares:
    """A least-squares answer: x (k,), its covariance (k, k) and the residuals (n,) in the unit they came in."""

    x: Floats
    covariance: Floats
    residual: Floats

    @property
    def rms(self) -> float:
        """Root mean square of the residuals."""
        return float(np.sqrt(np.mean(self.residual**2)))

    def known(self, number: int) -> Known:
        """One of the parameters."""
        return Known.of(self.x[number], np.sqrt(self.covariance[number, number]))


def solved(
    residual: Callable[[Floats], Floats], start: Sequence[float] | Floats, floor: float, robust: bool = True
) -> LeastSquares:
    """Laid parameters so that residuals along a curve vanish; neighbours in a row may err together.

    floor: least standard deviation of a residual: numbers from a file are no better than their digits. The covariance
    is s²·(JᵀJ)⁻¹ with s from the residuals, times what neighbours that err alike take of the number of points that
    count (first-order autocorrelation r: (1 + r) / (1 - r), Bayley and Hammersley 1946, from memory).
    """
    from scipy.optimize import least_squares

    start = np.asarray(start, float)
    scale = np.maximum(np.abs(start), 1e-2)
    first = residual(start)
    spread = max(float(np.median(np.abs(first))), floor)
    options: dict[str, Any] = {"loss": "soft_l1", "f_scale": 3 * spread} if robust else {}
    found = least_squares(residual, start, x_scale=scale, method="trf", max_nfev=200, **options)
    if robust:  # once more with the spread that is left, so that strays weigh little
        rest = residual(found.x)
        options["f_scale"] = max(3 * 1.4826 * float(np.median(np.abs(rest))), floor)
        found = least_squares(residual, found.x, x_scale=scale, max_nfev=200, **options)
    rest = residual(found.x)
    jacobian = found.jac
    free = max(len(rest) - len(start), 1)
    good = np.abs(rest) <= options.get("f_scale", np.inf)
    variance = max(float((rest[good] ** 2).sum()) / max(int(good.sum()) - len(start), 1), floor**2) if free else 1.0
    alike = alike_neighbours(rest) if variance > floor**2 else 0.0
    inverse = np.linalg.pinv(jacobian.T @ jacobian, rcond=1e-13)
    return LeastSquares(found.x, inverse * variance * (1 + alike) / (1 - alike), rest)


def alike_neighbours(rest: Floats) -> float:
    """First-order autocorrelation of residuals (n,) in a row, 0 … 0.95; what is below 0 counts as none."""
    if len(rest) < 8:
        return 0.0
    off = rest - rest.mean()
    power = float((off**2).sum())
    return float(np.clip((off[1:] * off[:-1]).sum() / power, 0.0, 0.95)) if power > 0 else 0.0


def tables(values: Mapping[str, Known]) -> dict[str, dict[str, float]]:
    """Several numbers for JSON."""
    return {name: value.table() for name, value in values.items()}
