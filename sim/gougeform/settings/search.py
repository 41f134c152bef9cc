"""One search for settings, all stops held: in closed form, by brackets, or by least squares from many starts.

The nose follows from the distance in closed form (law of cosines), so the distance (a table's tilt) drops out wherever
the nose is wanted; what is left is a scan for brackets when one setting remains, and least squares when more do.
"""

from __future__ import annotations

from itertools import product

import numpy as np
from numpy.typing import NDArray

from gougeform.errors import InputError
from gougeform.settings.bench import HELD_MM
from gougeform.settings.problem import EXACT, Blocked, Problem, Solution, Solved, Unmet
from gougeform.settings.wants import Free

Floats = NDArray[np.float64]

_SCAN = 25
_FAR = 1e3


class Search:
    """One search with all stops held. closed: let the distance or tilt follow from the nose in closed form."""

    def __init__(self, problem: Problem, held: dict[str, float], *, closed: bool = True) -> None:
        self.problem, self.held = problem, held
        self.bench = problem.reader.bench
        self.wants = problem.sought
        frees = [free for free in problem.frees if not free.stops]
        self.aim = next((free for free in frees if free.name is self.bench.dial), None)
        nose = next((want for want in self.wants if want.name == "nose"), None)
        closed = closed and self.aim is not None and nose is not None and len(frees) >= len(self.wants)
        self.nose = nose if closed else None
        self.samples = _SCAN if self.bench.path.outlined else 13
        self.frees = [free for free in frees if not (self.nose and free is self.aim)]
        self.rest = [want for want in self.wants if want is not self.nose]
        self.low = np.array([free.low for free in self.frees])
        self.high = np.array([free.high for free in self.frees])
        self.span = np.maximum(self.high - self.low, 1e-12)
        now = np.array([self.bench.value(free.name.name) for free in self.frees])
        self.now = np.clip((now - self.low) / self.span, 0.0, 1.0)

    def settings(self, x: Floats) -> dict[str, float]:
        """All changed settings at x (n,), from 0 (low) to 1 (high). Raises Blocked where the distance cannot be."""
        values = dict(self.held)
        values |= {
            f.name.name: float(lo + t * s) for f, t, lo, s in zip(self.frees, x, self.low, self.span, strict=True)
        }
        if self.nose is not None:
            assert self.aim is not None
            value = self.bench.set(values).aimed(self.nose.value).value(self.aim.name.name)
            if not self.aim.low <= value <= self.aim.high:
                raise Blocked("distance", self._no_distance(value))
            values[self.aim.name.name] = value
        return values

    def _no_distance(self, value: float) -> str:
        assert self.aim is not None
        assert self.nose is not None
        if not np.isfinite(value) or value <= 0:
            return f"for a nose of {self.nose.value:g}° the pocket or rod would lie inside the wheel"
        bound = self.aim.low if value < self.aim.low else self.aim.high
        return f"for a nose of {self.nose.value:g}° {self.aim.name.name} would be {value:.1f}, past its bound {bound:g}"

    def at(self, x: Floats) -> Solution:
        """The edge at x (n,). Raises Blocked."""
        values = self.settings(x)
        try:
            reading = self.problem.reader.read(values)
        except InputError as error:
            raise Blocked(error.field, error.problem) from error
        return Solution(values, reading, {w.name: reading.value(w.name) - w.value for w in self.wants})

    def misses(self, x: Floats) -> Floats | None:
        """(m,) misses of the wants that are left, or None where there is no edge."""
        try:
            found = self.at(x)
        except Blocked:
            return None
        return np.array([found.misses[want.name] for want in self.rest])

    def answer(self) -> Solved:
        """Exact solutions or the best there is. Raises Blocked where there is no edge at all."""
        if not self.rest or not self.frees:
            return self._as_it_is()
        if len(self.frees) == len(self.rest) == 1:
            return self._scan()
        return self._many()

    def _as_it_is(self) -> Solved:
        """Nothing left to search for: the other free settings stay where they are."""
        try:
            found = self.at(self.now)
        except Blocked as error:
            grid = self._grid()
            reachable = [x for x in grid if self.misses(x) is not None]
            if not reachable:
                return self._no_nose(error)
            found = self.at(min(reachable, key=lambda x: float(((x - self.now) ** 2).sum())))
        exact = found.worst <= EXACT
        unmet = () if exact else self._unmet(found, self.now)
        return Solved((found,), exact, exact and bool(self.frees), unmet)

    def _no_nose(self, error: Blocked) -> Solved:
        """The nose itself is out of reach: the edge at the end of the distance's bounds that comes nearest to it."""
        if self.nose is None or self.aim is None or self.aim.name.name != "distance":
            raise error
        best: tuple[float, Solution] | None = None
        for x in [self.now, *self._grid()[:: max(1, len(self._grid()) // 8)]]:
            values = dict(self.held) | {
                f.name.name: float(lo + t * s) for f, t, lo, s in zip(self.frees, x, self.low, self.span, strict=True)
            }
            end = self._last_distance(values)
            if end is None:
                continue
            reading = self.problem.reader.read(values | {"distance": end})
            misses = {w.name: reading.value(w.name) - w.value for w in self.wants}
            if best is None or abs(misses["nose"]) < abs(best[1].misses["nose"]):
                best = end, Solution(values | {"distance": end}, reading, misses)
        if best is None:
            raise error
        end, found = best
        bound = end in (self.aim.low, self.aim.high)
        why = "its bound" if bound else "past it, " + self._why_at(found.values, found.misses["nose"] < 0)
        because = f"distance stops at {end:.1f} mm: {why}"
        others = tuple(
            Unmet(w, w.value + found.misses[w.name], because) for w in self.rest if abs(found.misses[w.name]) > EXACT
        )
        return Solved((found,), False, False, (Unmet(self.nose, found.reading.nose, because), *others))

    def _why_at(self, values: dict[str, float], farther: bool) -> str:
        try:
            self.problem.reader.read(values | {"distance": values["distance"] + (1e-3 if farther else -1e-3)})
        except InputError as error:
            return error.problem
        return "it gets no nearer"

    def _last_distance(self, values: dict[str, float]) -> float | None:
        """The distance within bounds whose nose comes nearest to the wanted one, None where no distance has an edge."""
        assert self.aim is not None
        assert self.nose is not None

        def miss(end: float) -> float:
            try:
                return abs(self.problem.reader.read(values | {"distance": end}).nose - self.nose.value)  # type: ignore[union-attr]
            except InputError:
                return np.inf

        ends = np.linspace(max(self.aim.low, 1e-3), self.aim.high, 41)
        value = np.array([miss(float(end)) for end in ends])
        k = int(value.argmin())
        if not np.isfinite(value[k]):
            return None
        # The nose grows with the distance: the nearest lies at a bound, or where the poses end beside it.
        way = 1 if self.bench.set(values | {"distance": float(ends[k])}).nose_angle() < self.nose.value else -1
        good, bad = float(ends[k]), float(ends[min(max(k + way, 0), len(ends) - 1)])
        for _ in range(40 if bad != good else 0):
            middle = (good + bad) / 2
            good, bad = (middle, bad) if miss(middle) < np.inf else (good, middle)
        return good

    def _scan(self) -> Solved:
        """One setting for one want: every root, from brackets and from minima between them."""
        from scipy.optimize import brentq, minimize_scalar

        def one(t: float) -> float:
            value = self.misses(np.array([t]))
            return _FAR if value is None else float(value[0])

        grid = np.unique(np.append(np.linspace(0.0, 1.0, self.samples), self.now))
        value = np.array([one(t) for t in grid])
        good = np.abs(value) < _FAR
        if not good.any():
            return self._no_nose(self._why(self.now))
        ends = []
        for k in np.flatnonzero(good[1:] != good[:-1]):
            ends.append(self._last_good(grid[k], grid[k + 1], inside_first=bool(good[k])))
        if ends:
            grid, value = np.append(grid, ends), np.append(value, [one(t) for t in ends])
            order = np.argsort(grid)
            grid, value = grid[order], value[order]
            good = np.abs(value) < _FAR
        roots: list[float] = [float(t) for t in grid[np.abs(value) < 1e-12]]
        for i in range(len(grid) - 1):
            if good[i] and good[i + 1] and value[i] * value[i + 1] < 0:
                roots.append(float(brentq(one, grid[i], grid[i + 1], xtol=1e-15, rtol=8.9e-16)))
        for i in range(1, len(grid) - 1):
            # A dip that stays on one side of zero at the samples may still touch it between them.
            three = value[i - 1 : i + 2]
            if good[i - 1 : i + 2].all() and (np.sign(three) == np.sign(three[0])).all():
                size = np.abs(three)
                if size[1] <= size[0] and size[1] <= size[2] and size[1] < 4 * np.abs(np.diff(three)).max():
                    low = minimize_scalar(lambda t: abs(one(t)), bounds=(grid[i - 1], grid[i + 1]), method="bounded",
                                          options={"xatol": 1e-9}).x  # fmt: skip
                    if np.sign(one(low)) != np.sign(three[0]):
                        roots += [
                            float(brentq(one, a, b, xtol=1e-15)) for a, b in ((grid[i - 1], low), (low, grid[i + 1]))
                        ]
                    else:
                        grid, value, good = np.append(grid, low), np.append(value, one(low)), np.append(good, True)
        found = [self.at(np.array([t])) for t in _apart(np.array(sorted(roots))[:, None])[:, 0]]
        found = [solution for solution in found if solution.worst <= EXACT]
        if found:
            return Solved(tuple(found), True, False)
        best = np.array([grid[int(np.where(np.abs(value) < _FAR, np.abs(value), np.inf).argmin())]])
        # On its own the want that is left is missed least here; over all wants least squares may do better.
        solution = self.at(best)
        return Solved((solution,), False, False, self._unmet(solution, best))

    def _last_good(self, a: float, b: float, *, inside_first: bool) -> float:
        """The last place between a and b that still has an edge."""
        good, bad = (a, b) if inside_first else (b, a)
        for _ in range(20):
            middle = (good + bad) / 2
            if self.misses(np.array([middle])) is None:
                bad = middle
            else:
                good = middle
        return good

    def _grid(self) -> list[Floats]:
        each = {0: 1, 1: self.samples, 2: 6, 3: 4}.get(len(self.frees), 3)
        return [
            np.array(x) for x in product(np.linspace(0.0, 1.0, each) if each > 1 else [0.5], repeat=len(self.frees))
        ]

    def _many(self) -> Solved:
        """Several settings, or more wants than settings, or fewer: least squares from the best of many starts."""
        from scipy.optimize import least_squares

        def every(x: Floats) -> Floats:
            value = self.misses(x)
            return np.full(len(self.rest), _FAR) if value is None else value

        starts = [self.now, *self._grid()]
        first = [self.misses(x) for x in starts]
        usable = [(float((v**2).sum()), i) for i, v in enumerate(first) if v is not None]
        if not usable:
            return self._no_nose(self._why(self.now))
        under = len(self.frees) > len(self.rest)
        chosen = [i for _, i in sorted(usable)]
        chosen = ([0] if first[0] is not None else []) + [i for i in chosen if i != 0]
        runs, ends = [], []
        for i in chosen[: 4 if not under else 3]:
            start = np.clip(starts[i], 1e-9, 1 - 1e-9)
            run = least_squares(every, start, bounds=(0.0, 1.0), xtol=1e-9, ftol=1e-11, gtol=1e-12, max_nfev=40)
            runs.append(run.x)
            ends.append(float(np.abs(run.fun).max()))
        sharp = [self._sharpen(x) if miss < 1e-3 else x for x, miss in zip(runs, ends, strict=True)]
        if under:
            near = self._nearest(min(sharp, key=lambda x: float(np.abs(every(x)).max())))
            sharp = [near] if near is not None else sharp
        solutions = [self.at(x) for x in sharp]
        exact = [k for k, solution in enumerate(solutions) if solution.worst <= EXACT]
        if exact:
            kept = _apart(np.array([sharp[k] for k in exact]))
            return Solved(tuple(self.at(x) for x in kept), True, under)
        best = int(np.argmin([sum(m * m for m in solution.misses.values()) for solution in solutions]))
        return Solved((solutions[best],), False, False, self._unmet(solutions[best], sharp[best]))

    def _jacobian(self, x: Floats) -> Floats | None:
        """(m, n) derivatives of the misses by central differences, None next to a place without an edge."""
        columns = []
        for i in range(len(x)):
            step = np.zeros(len(x))
            step[i] = 1e-5
            both = self.misses(np.clip(x + step, 0, 1)), self.misses(np.clip(x - step, 0, 1))
            if both[0] is None or both[1] is None:
                return None
            width = min(x[i] + 1e-5, 1.0) - max(x[i] - 1e-5, 0.0)
            columns.append((both[0] - both[1]) / width)
        return np.stack(columns, 1)

    def _sharpen(self, x: Floats) -> Floats:
        """Newton's last steps, inside the bounds."""
        for _ in range(6):
            miss, slope = self.misses(x), self._jacobian(x)
            if miss is None or slope is None or np.abs(miss).max() < 1e-11:
                return x
            step = np.linalg.lstsq(slope, -miss, rcond=1e-10)[0]
            nxt = np.clip(x + step, 0.0, 1.0)
            after = self.misses(nxt)
            if after is None or np.abs(after).max() >= np.abs(miss).max():
                return x
            x = nxt
        return x

    def _nearest(self, x: Floats) -> Floats | None:
        """Of a whole range of solutions the one nearest to the present settings, each measured by its span.

        Linearised again and again: at a fixed point the way from the present settings stands square to the range.
        """
        held = np.zeros(len(x), bool)
        for _ in range(40):
            miss, slope = self.misses(x), self._jacobian(x)
            if miss is None or slope is None:
                return None
            move = np.where(held, x - self.now, 0.0)
            target = -miss + slope @ (x - self.now - move)
            step = np.zeros(len(x))
            step[~held] = np.linalg.lstsq(slope[:, ~held], target, rcond=1e-10)[0]
            nxt = self.now + move + step
            out = (nxt < 0) | (nxt > 1)
            held = held | (out & ~held)
            nxt = np.clip(nxt, 0.0, 1.0)
            if np.abs(nxt - x).max() < 1e-12 and np.abs(miss).max() < EXACT:
                return nxt
            x = nxt
        return x if (value := self.misses(x)) is not None and np.abs(value).max() < EXACT else None

    def _why(self, x: Floats) -> Blocked:
        try:
            self.at(x)
        except Blocked as error:
            return error
        return Blocked("", "there is no edge")

    def _bound_words(self, free: Free, bound: float) -> str:
        """The bound's unit, and the bar's end where that is what bounds a projection."""
        steel = self.bench.steel_mm
        if self.bench.ends_at_ferrule(free.name) and bound == steel - HELD_MM:
            return f" mm (the bar has {steel:g} mm ahead of the ferrule, and a clamp needs {HELD_MM:g} of it)"
        return {"mm": " mm", "deg": "°"}.get(free.name.unit, "")

    def _unmet(self, solution: Solution, x: Floats) -> tuple[Unmet, ...]:
        """The wants this solution misses, with what stops a nearer one."""
        reasons = []
        for i, free in enumerate(self.frees):
            if x[i] < 1e-6 or x[i] > 1 - 1e-6:
                end = "lower" if x[i] < 0.5 else "upper"
                bound = free.low if x[i] < 0.5 else free.high
                reasons.append(f"{free.name.name} is at its {end} bound {bound:g}{self._bound_words(free, bound)}")
                continue
            for way in (1e-4, -1e-4):
                beyond = x.copy()
                beyond[i] += way
                if self.misses(beyond) is None:
                    why = self._why(beyond).why
                    reasons.append(f"{free.name.name} stops at {solution.values[free.name.name]:.2f}: past it, {why}")
        if not self.frees:
            held = ", ".join(self.held) or "anything"
            reasons.append(
                f"no setting is left free to change {held}" if self.held else "no setting is left free for it"
            )
        elif not reasons:
            names = " and ".join(
                free.name.name for free in (*self.frees, *([self.aim] if self.nose and self.aim else []))
            )
            reasons.append(f"changing {names} either way makes it worse: free another setting")
        because = "; ".join(reasons)
        missed = [want for want in self.wants if abs(solution.misses[want.name]) > EXACT]
        return tuple(
            Unmet(w, w.value + solution.misses[w.name], because, tuple(o.name for o in missed if o is not w))
            for w in missed
        )


def _apart(points: Floats) -> Floats:
    """Points (k, n) without those that repeat an earlier one."""
    kept: list[Floats] = []
    for x in points:
        if all(np.abs(x - y).max() > 1e-6 for y in kept):
            kept.append(x)
    return np.array(kept).reshape(-1, points.shape[1] if points.ndim == 2 else 1)
