"""A jig's hidden lengths from measured pairs: least squares, with how sure each is and what the pairs cannot tell.

The nose angle hangs on the jig by two numbers alone, how far along and how far above the pivot the nose lies (law of
cosines), so nose angles tell at most two lengths apart; wing angles can tell more. Lengths mm, angles deg.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from gougeform.errors import InputError
from gougeform.settings.bench import HELD_MM, Bench
from gougeform.settings.names import NAMES
from gougeform.settings.pairs import NosePair
from gougeform.settings.trial import Tracer

Floats = NDArray[np.float64]

READING_DEG = 0.5
"""Standard deviation of an angle read on a tool, where a person does not say."""

_SURE = 0.99  # all unknowns together lie within what is stated in 99 of 100 calibrations
_BLIND = 1e-7  # singular values below this part of the largest cannot be told from none
_VAGUE = {"mm": 20.0, "deg": 15.0}  # an unknown this unsure is as good as not told
_WIDE = {"mm": 10.0, "deg": 8.0}  # from here on a person is told which pair would narrow it
_USELESS_MM, _USELESS_DEG = 40.0, 45.0  # no jig's length or cant is that unsure with a ruler in the hand
_WRONG_DEG = 20.0  # nobody misreads an angle by so much: the pairs are not this jig's
_INCHES_MM = 10.0  # distances below this are hardly met, as inches they are usual
_FAR = 1e3


@dataclass(frozen=True, eq=False)
class Fit:
    """A fitted jig. names, value, start, sure: one each unknown; sure is the half width all lie within, in 99 of 100.

    sd: one standard deviation each. residual: (readings,) model less read, deg. blind: groups of unknowns that these
    pairs cannot tell apart. advice: the further pair that would, in words. scatter: deg, estimated from the residuals,
    None without readings to spare. clamp: what the bar is held against; clamps: rms misfit (deg) of each one tried.
    """

    names: tuple[str, ...]
    start: Floats
    value: Floats
    sd: Floats
    sure: Floats
    residual: Floats
    blind: tuple[tuple[str, ...], ...]
    advice: str
    scatter: float | None
    clamp: str
    clamps: dict[str, float]
    bench: Bench
    notes: tuple[str, ...]

    @property
    def useless(self) -> tuple[str, ...]:
        """Unknowns less sure than their value, or than any jig's could be, or not told and far off: not to be saved."""
        found = []
        for name, start, value, sure in zip(self.names, self.start, self.value, self.sure, strict=True):
            length = NAMES[name].unit == "mm"
            least = _USELESS_MM if length else _USELESS_DEG
            if np.isfinite(sure):
                useless = sure > (max(least, abs(value)) if length else least)
            else:
                useless = abs(value - start) > least
            if useless:
                found.append(name)
        return tuple(found)


def calibrate(pairs: Sequence[NosePair], unknowns: Sequence[str], reading_deg: float = READING_DEG) -> Fit:
    """Fit the chosen unknowns of a jig to measured pairs.

    unknowns: plain names of hidden lengths (`Jig.hidden`), and `clamp` to try what the bar may be held against.
    reading_deg: standard deviation of a reading. Raises InputError for a jig that hides none, for unknowns the jig has
    not, and with too few readings.
    """
    bench = pairs[0].bench
    hidden = bench.jig.hidden()
    if not hidden:
        raise InputError(
            "unknown",
            f"{bench.jig.noun} has no hidden lengths: its {bench.jig.dial} is what is measured",
            "use a foot or rod jig",
        )
    names = tuple(name for name in unknowns if name != "clamp")
    for name in names:
        if name not in hidden:
            allowed = [*(n for n in bench.names if n in hidden), "clamp"]
            raise InputError(
                "unknown", f"given {name}, which {bench.noun} does not have", f"allowed are {', '.join(allowed)}"
            )
    if len(set(unknowns)) != len(unknowns):
        raise InputError("unknown", "an unknown is named twice", "keep one of them")
    count = sum(len(pair.read) for pair in pairs)
    if not names and "clamp" not in unknowns:
        raise InputError("unknown", "nothing is to be fitted", f"name one of {', '.join(hidden)}, clamp")
    if count < len(names):
        raise InputError(
            "unknown", f"{len(names)} unknowns but only {count} readings", "measure more pairs, or fit fewer unknowns"
        )
    tried = {}
    for clamp in bench.jig.holds if "clamp" in unknowns else (bench.jig.held,):
        tried[clamp] = _one(_held(pairs, clamp), names, reading_deg, clamp)
    rms = {clamp: float(np.sqrt((fit.residual**2).mean())) for clamp, fit in tried.items()}
    alike = _alike(rms, reading_deg, count)
    # Where the pairs cannot tell, the jig stays as the recipe has it.
    own = bench.jig.held
    best = tried[own if own in alike else min(rms, key=lambda clamp: rms[clamp])]
    return replace(best, clamps=rms, notes=(*best.notes, *_clamp_notes(alike)))


def _held(pairs: Sequence[NosePair], clamp: str) -> list[NosePair]:
    """The pairs with the bar held another way; a V keeps its opening."""
    held = []
    for pair in pairs:
        jig = pair.bench.jig.model_copy(update={"clamp": clamp})
        held.append(replace(pair, bench=replace(pair.bench, jig=jig)))
    return held


def _alike(rms: dict[str, float], reading_deg: float, count: int) -> list[str]:
    """The ways to hold the bar that fit as well as the best: chi squared tells them by less than 1 in 100."""
    chi = {clamp: value**2 * count / reading_deg**2 for clamp, value in rms.items()}
    return [clamp for clamp, value in chi.items() if value < min(chi.values()) + 6.635]


def _clamp_notes(alike: list[str]) -> list[str]:
    if len(alike) < 2:
        return []
    return [
        f"These pairs cannot tell whether the bar is held by {' or '.join(alike)}: pairs with a bar of another section"
        " in the same jig (column recipe) would."
    ]


class _Model:
    """All readings of the pairs as a function of the unknowns."""

    def __init__(self, pairs: Sequence[NosePair], names: Sequence[str]) -> None:
        self.pairs, self.names = pairs, names
        self._tracers = [Tracer() for _ in pairs]

    def at(self, x: Floats) -> Floats:
        """(readings,) deg; far off where there is no pose."""
        out = []
        for pair, tracer in zip(self.pairs, self._tracers, strict=True):
            out += predicted(pair.bench.set(dict(zip(self.names, x.tolist(), strict=True))), tuple(pair.read), tracer)
        return np.array(out)

    def slope(self, x: Floats) -> Floats:
        """(readings, unknowns) by central differences."""
        columns = []
        for i in range(len(x)):
            step = np.zeros(len(x))
            step[i] = 1e-4
            columns.append((self.at(x + step) - self.at(x - step)) / 2e-4)
        return np.stack(columns, 1) if columns else np.zeros((len(self.at(x)), 0))


def predicted(bench: Bench, names: tuple[str, ...], tracer: Tracer) -> list[float]:
    """The angles (deg) by name that a bench gives; the nose in closed form."""
    wings = tuple(float(name[4:]) for name in names if name != "nose")
    nose = bench.nose_angle()
    if not np.isfinite(nose):
        return [_FAR] * len(names)
    if not wings:
        return [nose]
    try:
        found = tracer.read(bench, wings)
    except InputError:
        return [nose if name == "nose" else _FAR for name in names]
    return [found.value(name) for name in names]


def _one(pairs: Sequence[NosePair], names: tuple[str, ...], reading_deg: float, clamp: str) -> Fit:
    from scipy.optimize import least_squares
    from scipy.special import chdtri

    model = _Model(pairs, names)
    read = np.array([value for pair in pairs for value in pair.read.values()])
    start = np.array([pairs[0].bench.value(name) for name in names])
    scale = np.array([10.0 if NAMES[name].unit == "mm" else 5.0 for name in names])
    x = start
    if names:
        low = np.array([-np.inf if name == "hinge_drop" else -89.0 if name == "cant" else 1e-6 for name in names])
        high = np.array([89.0 if name == "cant" else np.inf for name in names])

        def off(z: Floats) -> Floats:
            # A whisper of "stay near the start" chooses one where the pairs cannot tell; taken away again below.
            return np.concatenate([(model.at(z) - read) / reading_deg, 1e-5 * (z - start) / scale])

        x = least_squares(off, np.clip(start, low + 1e-3, high - 1e-3), bounds=(low, high), x_scale=scale,
                          xtol=1e-15, ftol=1e-15, gtol=1e-15, max_nfev=400).x  # fmt: skip
        x = _sharpened(model, read, x, scale)
    residual = model.at(x) - read
    worst = float(np.abs(residual).max())
    if worst > _WRONG_DEG:
        far = f": the nearest one misses a reading by {worst:.0f}°" if worst < _FAR / 2 else ""
        raise InputError(
            "unknown",
            f"no such jig can have ground these pairs{far}",
            f"check the pairs, or free more unknowns{_inches(pairs)}",
        )
    slope = model.slope(x) * scale / reading_deg
    _, size, rows = np.linalg.svd(slope, full_matrices=True)
    size = np.concatenate([size, np.zeros(len(names) - len(size))])
    dead = size <= _BLIND * max(float(size.max(initial=0.0)), 1e-12)
    blind = [tuple(n for n, part in zip(names, row, strict=True) if abs(part) > 0.1) for row in rows[dead]]
    with np.errstate(divide="ignore"):
        spread = np.where(dead, np.inf, 1 / np.where(dead, 1.0, size))
    part = np.where(np.abs(rows) > 1e-6, rows, 0.0)
    with np.errstate(invalid="ignore"):
        variance = np.nansum(np.where(part == 0, 0.0, (part * spread[:, None]) ** 2), 0)
    spare = len(read) - int((~dead).sum())
    scatter = float(np.sqrt((residual**2).sum() / spare)) if spare > 0 else None
    notes, more = [], 1.0
    if spare > 0 and (residual**2).sum() / reading_deg**2 > chdtri(spare, 0.01):
        assert scatter is not None
        more = scatter / reading_deg
        notes.append(
            f"The readings scatter by {scatter:.2f}°, more than the {reading_deg:g}° they are taken to be good to: the"
            " uncertainties are widened for it. A pair may be wrong, or another length of the jig differs too."
        )
    sd = np.sqrt(variance) * scale * more
    sure = sd * np.sqrt(chdtri(max(int((~dead).sum()), 1), 1 - _SURE))
    vague = tuple(n for n, s in zip(names, sd, strict=True) if np.isfinite(s) and s > _VAGUE[NAMES[n].unit])
    if not blind and len(vague) > 1:
        blind = [vague]
    fitted = pairs[0].bench.set(dict(zip(names, x.tolist(), strict=True)))
    wide = [n for n, s in zip(names, sure, strict=True) if np.isfinite(s) and s > _WIDE[NAMES[n].unit]]
    if wide and not blind:
        said = " and ".join(n.replace("_", " ") for n in wide)
        notes.append(
            f"These pairs hardly tell {said}: what is fitted may be off by as much as stands beside it. More pairs"
            " narrow it, or one of them measured on the jig and left out of the unknowns."
        )
    advice = _advice(pairs, names, x, scale, reading_deg, slope) if blind or vague or wide else ""
    return Fit(names, start, x, sd, sure, residual, tuple(blind), advice, scatter, clamp, {}, fitted, tuple(notes))


def _inches(pairs: Sequence[NosePair]) -> str:
    distances = [pair.bench.value("distance") - pair.bench.jig.pivot_thick_mm for pair in pairs]
    if max(distances) >= _INCHES_MM:
        return ""
    return f". The distances go up to {max(distances):g} mm; if they are inches write them in mm, 1 in = 25.4 mm"


def _sharpened(model: _Model, read: Floats, x: Floats, scale: Floats) -> Floats:
    """Gauss-Newton's last steps, along what the pairs tell and not along what they do not."""
    for _ in range(8):
        residual, slope = model.at(x) - read, model.slope(x) * scale
        step = np.linalg.lstsq(slope, -residual, rcond=_BLIND)[0] * scale
        if not np.isfinite(step).all() or np.abs(step / scale).max() > 1:
            return x
        after = model.at(x + step) - read
        if (after**2).sum() > (residual**2).sum() * (1 + 1e-9) + 1e-26:
            return x
        x = x + step
        if np.abs(step / scale).max() < 1e-13:
            break
    return x


def _advice(
    pairs: Sequence[NosePair], names: tuple[str, ...], x: Floats, scale: Floats, reading_deg: float, slope: Floats
) -> str:
    """Which further pair tells most: the one after which the least sure combination of unknowns is surest."""
    base = pairs[0].bench.set(dict(zip(names, x.tolist(), strict=True)))
    wheels = [None] if base.wheel.diameter_mm is None else [150.0, 200.0, 250.0]
    now = _least(slope)
    for reads in (("nose",), ("nose", "wing50")) if base.path.outlined else (("nose",),):
        best: tuple[float, str] | None = None
        for wheel, projection, nose in product(wheels, (45.0, 65.0, 85.0, 105.0), (25.0, 35.0, 45.0, 55.0)):
            if projection > base.steel_mm - HELD_MM:
                continue
            bench = base.set({"projection": projection} | ({} if wheel is None else {"wheel": wheel}))
            bench = bench.aimed(nose)
            if not bench.value("distance") > bench.jig.pivot_thick_mm + 1:
                continue
            row = _Model([NosePair(bench, dict.fromkeys(reads, nose), 0)], names)
            if np.abs(row.at(x)).max() >= _FAR:
                continue
            gain = _least(np.vstack([slope, row.slope(x) * scale / reading_deg]))
            if best is None or gain > best[0]:
                wheel_text = "the belt" if wheel is None else f"a {wheel:g} mm wheel"
                distance_text = bench.measured_distance() or 0.0
                best = (
                    gain,
                    (
                        f"with {projection:g} mm projection and {distance_text:.0f} mm straight, rim to pocket or rod"
                        f" on {wheel_text} (a nose near {nose:g}°)"
                    ),
                )
        if best is not None and best[0] > max(10 * _BLIND, 1.5 * now) and best[0] > 0.02:
            what = "the nose angle" if reads == ("nose",) else "nose angle and the wing's angle at half its length"
            return f"One more pair that tells most: read {what} {best[1]}."
    counts = base.jig.readings
    same = "" if counts is None else f" {counts.counts}, and that is fitted: the edges come out right all the same."
    return (
        "No further pair of edge angles tells these apart: measure one of them on the jig with a ruler and leave it out"
        f" of the unknowns.{same}"
    )


def _least(slope: Floats) -> float:
    size = np.linalg.svd(slope, compute_uv=False)
    return float(size[-1]) if len(size) == slope.shape[1] else 0.0


def jig_table(fit: Fit, title: str) -> dict[str, object]:
    """The jig as a library file has it: everything but a distance."""
    kept = fit.bench.jig.model_dump(
        exclude_none=True, exclude={"rim_distance_mm", "centre_distance_mm", "nose_angle_deg"}
    )
    if fit.clamp != "vee":
        kept.pop("vee_deg", None)
    rounded = {name: round(value, 6) if isinstance(value, float) else value for name, value in kept.items()}
    return {"title": title} | rounded | {"clamp": fit.clamp}
