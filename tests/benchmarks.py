"""All benchmarks in one run: python tests/benchmarks.py [-o FOLDER] [--quick] [--only GROUP ...].

Times both sides of every ratio in the same run on the same shape, on one thread, and prints one table: processor time,
clock, the error achieved on both sides, and the ratio of the processor times. Writes benchmarks.csv, benchmarks.json
and growth.png. Six to ten minutes on a quiet machine; `--quick` takes toy sizes and only shows that everything runs.

Nothing is asserted here: limits that must hold are tests (tests/test_budgets.py).
"""

from __future__ import annotations

import argparse
import csv
import json
import os
import sys
from dataclasses import asdict, fields
from pathlib import Path

from bench.timing import THREADS, Row, machine, say, with_ratios

if __name__ == "__main__":
    os.environ.update(THREADS)  # before NumPy loads


def measured(only: list[str], quick: bool) -> list[Row]:
    """The rows of the groups asked for (all where none is)."""
    from bench.contacts import against_fcl
    from bench.meshes import against_booleans, against_isosurface, level_set_rate
    from bench.reaching import whole_works
    from bench.settings import against_least_squares
    from conftest import grind_tool

    sharp = grind_tool("foot", {"wheel.corner_radius_mm": 0.0})
    rows: list[Row] = []
    if not only or "mesh" in only:
        rows += against_booleans(sharp, (5, 9) if quick else (100, 300), quick)
        rows += against_isosurface(sharp, (0.5,) if quick else (0.05, 0.02), 0.4 if quick else 3.0, quick)
        rows.append(level_set_rate())
    if not only or "contact" in only:
        rows += against_fcl(200 if quick else 4000, 4 if quick else 40, quick)
    if not only or "reach" in only:
        rows += whole_works(quick)
    if not only or "settings" in only:
        rows += against_least_squares(quick)
    if not only or "study" in only:
        from bench.growth import on_all_cores

        rows += on_all_cores(quick)
    return with_ratios(rows)


def table(rows: list[Row]) -> str:
    """Plain text, one line a row, groups apart; `~` marks what is scaled up from a part."""
    out, group = [], ""
    head = ("", "cpu s", "clock s", "error", "ratio", "size")
    cells = [head]
    for one in rows:
        if one.group != group:
            group = one.group
            cells.append((group.upper(), "", "", "", "", ""))
        mark = "~" if one.extrapolated else ""
        error = "" if one.error is None else f"{one.error:.2g} {one.unit}"
        ratio = "" if one.ratio is None else f"{mark}{one.ratio:.3g}"
        size = one.size + (f" ({one.note})" if one.note else "")
        cells.append((f"  {one.what}", mark + _short(one.cpu_s), mark + _short(one.clock_s), error, ratio, size))
    wide = [max(len(row[i]) for row in cells) for i in range(len(head) - 1)]
    for row in cells:
        numbers = (text.rjust(width) for text, width in zip(row[1:-1], wide[1:], strict=True))
        out.append("  ".join([row[0].ljust(wide[0]), *numbers, row[-1]]).rstrip())
    return "\n".join(out)


def _short(seconds: float) -> str:
    return f"{seconds:.4f}" if seconds < 1 else f"{seconds:.1f}" if seconds < 1000 else f"{seconds:,.0f}"


def main(argv: list[str] | None = None) -> int:
    """Run, print, write; returns the exit code."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", 1)[0])
    parser.add_argument("-o", "--output", type=Path, default=Path("out/benchmarks"), help="folder to write to")
    parser.add_argument("--quick", action="store_true", help="toy sizes: shows that it runs, the figures mean nothing")
    parser.add_argument(
        "--only", nargs="*", default=[], choices=("mesh", "contact", "reach", "settings", "study", "growth")
    )
    asked = parser.parse_args(argv)
    asked.output.mkdir(parents=True, exist_ok=True)
    about = machine()
    if about["load_before"] > 0.5:
        say(f"the machine is busy (load {about['load_before']}): processor times stand, the clock does not")
    rows = [] if asked.only == ["growth"] else measured(asked.only, asked.quick)
    found = []
    if not asked.only or "growth" in asked.only:
        from bench.growth import curves, figure

        found = curves(asked.quick)
        figure(found, asked.output / "growth.png")
    about["load_after"] = round(os.getloadavg()[0], 2)
    with (asked.output / "benchmarks.csv").open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow([field.name for field in fields(Row)])
        writer.writerows(asdict(one).values() for one in rows)
    growth = [asdict(one) | {"exponent": one.by} for one in found]
    text = json.dumps({"machine": about, "rows": [asdict(one) for one in rows], "growth": growth}, indent=1)
    (asked.output / "benchmarks.json").write_text(text + "\n")
    write = sys.stdout.write
    write(f"{about['processor']}, {about['cores']} cores, {about['threads']} thread; load {about['load_before']}\n")
    write(table(rows) + "\n")
    for one in found:
        span = f"{one.sizes[0]:g} to {one.sizes[-1]:g}"
        write(f"growth of {one.title} with {one.size}, {span}: n^{one.by:.2f}, last {_short(one.cpu_s[-1])} s\n")
    write(f"written: {asked.output}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
