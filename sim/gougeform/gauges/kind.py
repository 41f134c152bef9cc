"""What a kind of gauge is: its words, its options, and how it is made of a ground tool.

To add a gauge, add a file to `gougeform.gauges.kinds` with a class that inherits `GaugeKind`. The command line, the
page and the sets find it there. Modules of geometry are imported inside its methods: options and words are listed
without.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, ClassVar

from gougeform.gauges.options import Options
from gougeform.quantity import Quantity, unit_of

if TYPE_CHECKING:
    from gougeform.gauges.gauge import Gauge
    from gougeform.gauges.setup import Setup


@dataclass(frozen=True)
class GaugeKind(Options):
    """What every kind of gauge has, and what it must say; its fields are its options.

    name: the word for it. title: over its picture. does: what it is, for the list of kinds. rank: where it stands in
    lists, small first. parts: a regular expression of what follows the name in a file's name.
    """

    name: ClassVar[str]
    title: ClassVar[str]
    does: ClassVar[str]
    rank: ClassVar[int] = 50
    parts: ClassVar[str] = ""

    def gauge(self, setup: Setup) -> Gauge:
        """The gauge, of a kind that has one; instead of `gauges`.

        Raises InputError where there can be none, NotImplementedError for a kind that brings neither of the two.
        """
        raise NotImplementedError(f"{self.name} makes nothing")

    def gauges(self, setup: Setup) -> Sequence[Callable[[], Gauge]]:
        """What makes each gauge of this kind that the tool needs, one by one: one that cannot be stops no other.

        Raises InputError, itself or when a gauge is made, where there can be none.
        """
        return [partial(self.gauge, setup)]

    def spoken(self, dimension: str) -> str:
        """A dimension of its gauges in words."""
        key, _, place = dimension.partition(".")
        return f"{key.removesuffix(unit_of(key).ending).replace('_', ' ')} {place}".rstrip()


WHEELS = Quantity("wheel", "wheel diameter, instead of the recipe's", ge=20, le=5000)
"""Of kinds that can be made for other wheels than the recipe's."""
