"""Looking only where a set-up stands: the shortest projection at which nothing that holds the tool meets the wheel."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TypeVar

from gougeform.errors import InputError
from gougeform.settings.wants import Free

T = TypeVar("T")

_HALVINGS = 6
_LEAST_SPAN_MM = 1e-3  # a projection is looked for within no less


def shortest(
    frees: Sequence[Free], short: float | None, tried: Callable[[Sequence[Free]], T], refusal: InputError
) -> tuple[T, InputError]:
    """What is found with the projection (mm) kept from going below the least bound that stands, and what stops a lower.

    A longer projection keeps what holds the tool away from the wheel. short: a projection that does not stand, refused
    with `refusal`, or None where there is none. tried: finds something with the settings so narrowed. Raises the
    refusal where the projection is not free, and where not even the longest stands.
    """
    free = next((one for one in frees if one.name.name == "projection" and not one.stops), None)
    if free is None or short is None:
        raise refusal
    long = free.high

    def at(low: float) -> T:
        least = min(low, free.high - _LEAST_SPAN_MM)
        return tried([replace(one, low=least) if one is free else one for one in frees])

    try:
        best = at(long)
    except InputError:
        raise refusal from None
    for _ in range(_HALVINGS):
        middle = (short + long) / 2
        try:
            best, long = at(middle), middle
        except InputError as error:
            short, refusal = middle, error
    return best, refusal
