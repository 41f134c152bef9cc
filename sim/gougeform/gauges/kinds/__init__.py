"""The kinds of gauges, one a file; what a kind must bring is said by `gougeform.gauges.kind.GaugeKind`."""

from __future__ import annotations

import importlib
import pkgutil

from gougeform.gauges.kind import GaugeKind
from gougeform.gauges.options import Option, Printing


def _found() -> dict[str, type[GaugeKind]]:
    kinds: dict[str, type[GaugeKind]] = {}
    for module in pkgutil.iter_modules(__path__):
        inside = importlib.import_module(f"{__name__}.{module.name}")
        own = [one for one in vars(inside).values() if isinstance(one, type) and one.__module__ == inside.__name__]
        for kind in (one for one in own if issubclass(one, GaugeKind)):
            if kind.name in kinds:
                raise TypeError(f"{inside.__name__}: there are two gauges called {kind.name}")
            kinds[kind.name] = kind
    return dict(sorted(kinds.items(), key=lambda item: (item[1].rank, item[0])))


KINDS = _found()
"""By name, usual ones first."""

OPTIONS: dict[str, Option] = {}
"""Every option of any kind and of the printing, by key."""
for _option in (*(option for kind in KINDS.values() for option in kind.options()), *Printing.options()):
    OPTIONS.setdefault(_option.key, _option)
