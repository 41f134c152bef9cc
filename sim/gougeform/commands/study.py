"""Ask one question of many tools: a table of all of them, with figures and sensitivities.

STUDY is a file that ends in .toml, or the name of a study in the library. It names a base recipe, the fields that
vary and the outputs. A run that was stopped or killed goes on where it was when the same command is given again.
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gougeform.errors import InputError

if TYPE_CHECKING:
    from gougeform.study.run import Outcome


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform study` takes."""
    parser.add_argument("study", metavar="STUDY", nargs="?", help="a .toml file, or the name of a library study")
    parser.add_argument(
        "--outputs", action="store_true", help="list everything a study can compute, and do nothing else"
    )
    parser.add_argument(
        "--plot", action="store_true", help="draw response curves, heat maps, fronts and sensitivities too"
    )
    parser.add_argument("--workers", metavar="N", help="processes on this machine (default: one for each core)")
    parser.add_argument(
        "--cluster", metavar="ADDRESS", help="run on the dask.distributed scheduler at this address instead"
    )
    parser.add_argument("--restart", action="store_true", help="throw away rows of an earlier run in the same folder")
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of text")
    parser.add_argument("-o", metavar="FOLDER", dest="folder", help="write the files here (default out/NAME)")


def run(arguments: argparse.Namespace) -> int:
    """Do the job; 130 where Ctrl-C has stopped it, with a table of what is done."""
    if arguments.outputs:
        print_outputs()
        return 0
    if arguments.study is None:
        raise InputError("STUDY", "is missing", "name a study file, or say --outputs to see what one can ask for")
    workers = _workers(arguments.workers)
    if workers is not None and arguments.cluster is not None:
        raise InputError(
            "--workers", "is given beside --cluster", "the cluster has its own workers: give one of the two"
        )
    from gougeform.study.plan import read, text_of
    from gougeform.study.run import run as run_study

    plan = read(arguments.study)
    folder = Path("out") / plan.name if arguments.folder is None else Path(arguments.folder)
    outcome = run_study(
        plan,
        folder,
        study=text_of(plan),
        workers=workers,
        cluster=arguments.cluster,
        restart=arguments.restart,
    )
    notes: list[str] = []
    if arguments.plot and outcome.table.num_rows:
        from gougeform.study.figures import draw

        drawn, notes = draw(plan, outcome.table, folder)
        files = [*outcome.files, *drawn]
    else:
        files = list(outcome.files)
    report = _report(outcome, files, notes)
    if arguments.json:
        print(json.dumps(report, indent=1, ensure_ascii=False, allow_nan=False))
        _print_cautions(sys.stderr, outcome)
    else:
        _print(outcome, report)
    return 130 if outcome.stopped else 0


def print_outputs() -> None:
    """Every output with what it is, by group."""
    from gougeform.study.outputs import GROUPS, OUTPUTS

    print("Outputs of a study: names of columns, or a group's name for all of its columns.")
    for group in GROUPS:
        print(f"\n{group}")
        for name, output in OUTPUTS.items():
            if output.group == group:
                print(f"  {name:<28}{output.text}")


def _workers(text: str | None) -> int | None:
    if text is None:
        return None
    if not (text.isascii() and text.isdigit() and 1 <= len(text) <= 4 and 1 <= int(text) <= 1024):
        raise InputError(
            "--workers", f"given {text[:40]}, allowed is a whole number from 1 to 1024", "leave it out for one a core"
        )
    return int(text)


def _report(outcome: Outcome, files: list[Path], notes: list[str]) -> dict[str, Any]:
    from gougeform.study.table import counts
    from gougeform.study.worker import CONSTRAINT, FAILED, OK

    found = counts(outcome.table)
    return {
        "title": outcome.plan.title,
        "tools": outcome.plan.size,
        "rows": outcome.table.num_rows,
        "computed": outcome.computed,
        "ok": found.get(OK, 0),
        "constraint": found.get(CONSTRAINT, 0),
        "failed": found.get(FAILED, 0),
        "complete": not outcome.stopped,
        "seconds": round(outcome.seconds, 3),
        "notes": notes,
        "files": [str(path) for path in files],
    }


def _print(outcome: Outcome, report: dict[str, Any]) -> None:
    from gougeform.study.run import duration

    if outcome.plan.title:
        print(outcome.plan.title)
    print(
        f"{report['rows']:,} of {report['tools']:,} tools in the table, {report['computed']:,} computed now"
        f" in {duration(outcome.seconds)}"
    )
    print(f"  measured             {report['ok']:,}")
    print(f"  against a constraint {report['constraint']:,}")
    print(f"  cannot be ground     {report['failed']:,}")
    for reason, count in _reasons(outcome):
        print(f"    {count:>6,} × {reason}")
    for note in report["notes"]:
        print(f"Note: {note}")
    print("Written:")
    for path in report["files"]:
        print(f"  {path}")
    if outcome.stopped:
        print("Stopped: the table has what was done; the same command goes on from there.")
    _print_cautions(sys.stdout, outcome)


def _reasons(outcome: Outcome, most: int = 5) -> list[tuple[str, int]]:
    """The commonest fields that stopped a grind."""
    from collections import Counter

    from gougeform.study.table import REASON, STATUS
    from gougeform.study.worker import FAILED

    rows = zip(outcome.table[STATUS].to_pylist(), outcome.table[REASON].to_pylist(), strict=True)
    found = Counter(reason.split(":")[0] for status, reason in rows if status == FAILED)
    return [(reason, count) for reason, count in found.most_common(most)]


def _print_cautions(stream: Any, outcome: Outcome) -> None:
    from gougeform.tell.cautions import cautions

    print("\n".join(["Before you grind", *(f"- {line}" for line in cautions(outcome.plan.recipe))]), file=stream)
