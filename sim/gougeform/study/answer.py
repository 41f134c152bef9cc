"""What do many tools come to? The study's table on disk, how many were measured, and why others were not."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from gougeform.errors import InputError
from gougeform.present.answer import Answer, Block, Cell, Number
from gougeform.present.progress import duration
from gougeform.reach.quantities import EVERY
from gougeform.study.figures import draw
from gougeform.study.outputs import GROUPS
from gougeform.study.plan import read, text_of
from gougeform.study.run import StudyRun, run
from gougeform.study.table import REASON, STATUS, counts
from gougeform.study.worker import CONSTRAINT, FAILED, OK

_REASONS = 5  # the commonest


def answer(
    study: str,
    folder: Path | None = None,
    *,
    workers: int | None = None,
    cluster: str | None = None,
    restart: bool = False,
    plot: bool = False,
) -> Answer:
    """Run a study, or go on with it, in `folder` (out/NAME); plot: draw its figures too.

    study: a file, or a name of the library. workers: processes here; cluster: the address of a dask scheduler instead.
    Raises InputError.
    """
    if workers is not None and cluster is not None:
        raise InputError("workers", "is given beside `cluster`", "the cluster has its own workers: give one of the two")
    if workers is not None and not 1 <= workers <= 1024:
        raise InputError("workers", f"given {workers}, allowed is from 1 to 1024", "leave it out for one a core")
    plan = read(study)
    place = folder or Path("out") / plan.name
    outcome = run(plan, place, study=text_of(plan), workers=workers, cluster=cluster, restart=restart)
    drawn, notes = draw(plan, outcome.table, place) if plot and outcome.table.num_rows else ([], [])
    found = counts(outcome.table)
    result = {
        "tools": plan.size,
        "rows": outcome.table.num_rows,
        "computed": outcome.computed,
        "ok": found.get(OK, 0),
        "constraint": found.get(CONSTRAINT, 0),
        "failed": found.get(FAILED, 0),
        "complete": not outcome.stopped,
        "seconds": round(outcome.seconds, 3),
    }
    rows: list[tuple[str, Cell]] = [
        (words, Number(result[key], "", 0))
        for words, key in (("measured", "ok"), ("against a constraint", "constraint"), ("cannot be ground", "failed"))
    ]
    rows += [(f"  because of {reason}", Number(count, "", 0)) for reason, count in _reasons(outcome)]
    done = (
        f"{result['rows']:,} of {result['tools']:,} tools in the table, {result['computed']:,} computed now in"
        f" {duration(outcome.seconds)}"
    )
    if outcome.damaged:
        lines = (
            "1 line of the journal was" if outcome.damaged == 1 else f"{outcome.damaged:,} lines of the journal were"
        )
        notes.insert(0, f"{lines} damaged; what stood there was computed again")
    stopped = ["Stopped: the table has what was done; the same command goes on from there."] if outcome.stopped else []
    return Answer(
        plan.title or plan.name,
        [Block("The tools", rows, ("", ""))],
        verdict=f"{done}.",
        notes=[*notes, *stopped],
        result=result,
        written=[*outcome.files, *drawn],
        stopped=outcome.stopped,
        recipe=plan.recipe,
    )


def outputs() -> Answer:
    """Everything a study can compute, by group."""
    groups = {group: {name: one.of.what for name, one in EVERY.items() if one.of.group == group} for group in GROUPS}
    lists = [
        Block(text=f"{group}\n" + "".join(f"  {name:<34}{text}\n" for name, text in names.items()))
        for group, names in groups.items()
    ]
    said = "Outputs of a study: names of columns, without what follows the point for all places, or a group's name."
    return Answer("", [Block(below=said), *lists], result={"outputs": groups})


def _reasons(outcome: StudyRun) -> list[tuple[str, int]]:
    """The commonest fields that stopped a grind."""
    rows = zip(outcome.table[STATUS].to_pylist(), outcome.table[REASON].to_pylist(), strict=True)
    return Counter(reason.split(":")[0] for status, reason in rows if status == FAILED).most_common(_REASONS)
