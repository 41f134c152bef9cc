"""Looking only where a set-up stands: the shortest projection at which nothing that holds the tool meets the wheel."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from gougeform.errors import InputError

T = TypeVar("T")

_HALVINGS = 6


def shortest(short: float, long: float, tried: Callable[[float], T], refusal: InputError) -> tuple[T, InputError]:
    """What is found with the projection (mm) kept from going below the least bound that stands, and what stops a lower.

    A longer projection keeps what holds the tool away from the wheel. short: a bound that does not stand, refused with
    `refusal`; long: the longest looked for. tried: finds something with the projection at a bound or above. Raises the
    refusal where not even the longest stands.
    """
    try:
        best = tried(long)
    except InputError:
        raise refusal from None
    for _ in range(_HALVINGS):
        middle = (short + long) / 2
        try:
            best, long = tried(middle), middle
        except InputError as error:
            short, refusal = middle, error
    return best, refusal
