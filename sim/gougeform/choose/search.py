"""The search for the tools worth having: a genetic search of several objectives, tool by tool kept in a journal.

The sampler is optuna's NSGA-II (Deb and others, 2002: non-dominated sorting), asked for whole generations and told in
their order, so that the same question and seed give the same tools whatever the number of processes. A run that was
stopped begins again at its first generation and takes what is in its journal from there.
"""

from __future__ import annotations

import json
import pickle
import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache, partial
from pathlib import Path
from typing import Any

import numpy as np

from gougeform import __version__
from gougeform.choose.question import Choice, Values, plain
from gougeform.choose.trial import Tried, tried
from gougeform.many.crew import Crew, Died, asked_to_stop, crew
from gougeform.many.journal import Journal
from gougeform.recipe.reading import from_table

JOURNAL = "tried.jsonl"
"""The file of what was tried, in the answer's folder."""

_GENERATION = 40
_NUMBER = re.compile(r"\d+(\.\d+)?")

Tell = Callable[[int, "Searched"], object]


@dataclass(eq=False)
class Searched:
    """All that was tried so far. tools: those that can be had; refused: why the others cannot, with how many.

    stopped: before all tries were done.
    """

    question: Choice
    tools: list[Tried]
    refused: dict[str, int]
    stopped: bool = False

    @property
    def count(self) -> int:
        """How many were looked at."""
        return len(self.tools) + sum(self.refused.values())

    def most_refused(self) -> tuple[int, str]:
        """How many were refused alike, numbers apart, for the reason that most met; and one of them as it was said."""
        alike: dict[str, list[str]] = {}
        for why, many in self.refused.items():
            alike.setdefault(_NUMBER.sub("0", why), []).extend([why] * many)
        most = max(alike.values(), key=len)
        return len(most), most[0]


def search(
    question: Choice,
    folder: Path | None = None,
    *,
    workers: int = 1,
    every: bool = False,
    restart: bool = False,
    tell: Tell = lambda done, so_far: None,
) -> Searched:
    """Try tools until the question's tries are used up, or a person stops it.

    folder: where a journal is kept, so that Ctrl-C stops it and a later run goes on; None keeps none. every: all tools
    of the grid instead of a search. tell: how many are done, and what is known by then. Raises InputError as `Journal`
    does.
    """
    known: dict[tuple[Any, ...], Tried | str] = {}
    if folder is None:
        with crew(workers) as hands:
            return _searched(question, known, None, hands, lambda: False, every, tell)
    key = _fingerprint(question)
    with Journal(folder / JOURNAL, key, restart=restart) as journal, asked_to_stop() as stop, crew(workers) as hands:
        for record in journal.records():
            number, values, what = record
            known[_name(number, values)] = _read(question, number, values, what)
        return _searched(question, known, journal, hands, stop, every, tell)


def _searched(
    question: Choice,
    known: dict[tuple[Any, ...], Tried | str],
    journal: Journal | None,
    hands: Crew,
    stop: Callable[[], bool],
    every: bool,
    tell: Tell,
) -> Searched:
    so_far = Searched(question, [], {})
    seen: set[tuple[Any, ...]] = set()
    work = partial(_work, pickle.dumps(question))

    def had(tasks: list[tuple[int, Values]]) -> list[Tried | str | None]:
        """The results of tasks in their order, None for those that were not done before a stop."""
        fresh = [t for i, t in enumerate(tasks) if _name(*t) not in known and t not in tasks[:i]]
        for number, found in hands.finished(work, fresh, stop=stop):
            if isinstance(found, Died):
                found = found.why
            known[_name(*fresh[number])] = found
            if journal is not None:
                journal.add([[*fresh[number], _written(found)]])
            tell(min(so_far.count + number + 1, question.tries), so_far)
        return [known.get(_name(*t)) for t in tasks]

    def keep(task: tuple[int, Values], found: Tried | str | None) -> None:
        name = _name(*task)
        if found is None or name in seen:
            return
        seen.add(name)
        if isinstance(found, str):
            so_far.refused[found] = so_far.refused.get(found, 0) + 1
        else:
            so_far.tools.append(found)

    if every:
        grid = question.every()
        for begin in range(0, len(grid), _GENERATION):
            tasks = grid[begin : begin + _GENERATION]
            for task, found in zip(tasks, had(tasks), strict=True):
                keep(task, found)
            if stop():
                so_far.stopped = True
                break
        return so_far
    study, ranges = _study(question)
    asked = 0
    while so_far.count < question.tries and asked < 4 * question.tries and not stop():
        size = min(_GENERATION, question.tries - so_far.count)
        trials = [study.ask(ranges) for _ in range(size)]
        asked += size
        tasks = [_task(question, trial.params) for trial in trials]
        for trial, task, found in zip(trials, tasks, had(tasks), strict=True):
            keep(task, found)
            _told(study, trial, found, question)
    so_far.stopped = stop() and so_far.count < question.tries
    return so_far


def _study(question: Choice) -> tuple[Any, dict[str, Any]]:
    import optuna

    optuna.logging.set_verbosity(optuna.logging.WARNING)
    sampler = optuna.samplers.NSGAIISampler(population_size=_GENERATION, seed=question.seed)
    ranges: dict[str, Any] = {"bar": optuna.distributions.CategoricalDistribution(range(len(question.stock)))}
    for key, span in question.spans.items():
        ranges[key] = optuna.distributions.FloatDistribution(span.low, span.high, step=span.step)
    return optuna.create_study(directions=["minimize"] * 5, sampler=sampler), ranges


def _task(question: Choice, params: dict[str, Any]) -> tuple[int, Values]:
    values = {key: round(float(params[key]), 6) for key in question.spans}
    return int(params["bar"]), plain(values, question.spans)


def _told(study: Any, trial: Any, found: Tried | str | None, question: Choice) -> None:
    from optuna.trial import TrialState

    if isinstance(found, Tried):
        study.tell(trial, found.costs(question.prices).tolist())
    else:
        study.tell(trial, state=TrialState.FAIL)


def _work(question: bytes, task: tuple[int, Values]) -> Tried | str:
    return tried(unpickled(question), *task)


@lru_cache(maxsize=2)
def unpickled(pickled: bytes) -> Choice:
    """The question of a task, once a process."""
    question: Choice = pickle.loads(pickled)
    return question


def _name(number: int, values: Values) -> tuple[Any, ...]:
    return number, *(round(values[key], 6) for key in sorted(values))


def _fingerprint(question: Choice) -> str:
    """What was asked, as far as it decides what a tool comes to."""
    from hashlib import sha256

    stock = [[one.bar, one.flute, one.price] for one in question.stock]
    works = {name: sha256(pickle.dumps(work)).hexdigest() for name, work in question.works.items()}
    terms = repr(question.terms)
    return json.dumps([__version__, stock, question.jig, question.wheel, works, terms, question.seed], sort_keys=True)


def _written(found: Tried | str) -> Any:
    if isinstance(found, str):
        return found
    bits = "".join("1" if one else "0" for one in found.reached)
    numbers = [found.missed, found.nose, found.overhang, found.stiffness, found.set_ups, found.steel]
    return {"reached": bits, "numbers": numbers, "recipe": found.recipe.table}


def _read(question: Choice, number: int, values: Values, what: Any) -> Tried | str:
    if isinstance(what, str):
        return what
    reached = np.array([one == "1" for one in what["reached"]])
    missed, nose, overhang, stiffness, set_ups, steel = what["numbers"]
    recipe = from_table(what["recipe"])
    price = question.stock[number].price
    return Tried(number, values, recipe, reached, missed, nose, overhang, stiffness, int(set_ups), steel, price)
