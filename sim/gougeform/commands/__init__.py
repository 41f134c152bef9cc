"""One module for each command: what it takes, and the question it asks with that."""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable
from typing import Any


def number(text: str) -> float:
    """A word of the command line as a finite number. Raises ArgumentTypeError for what is none."""
    try:
        value = float(text if text.isascii() else "")
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise argparse.ArgumentTypeError(f"given {text[:40]}, allowed is a number alone, like 25.4; lengths in mm")
    return value


def whole(text: str) -> int:
    """A word of the command line as a whole number. Raises ArgumentTypeError for what is none."""
    value = number(text)
    if value != int(value):
        raise argparse.ArgumentTypeError(f"given {text[:40]}, allowed is a whole number")
    return int(value)


class RecipeWord(str):
    """A word that names a recipe: the command line reads the recipe before it asks."""


def recipe_argument(parser: argparse.ArgumentParser, name: str = "recipe", **more: Any) -> None:
    """A recipe that a command is about."""
    usual = {"metavar": "RECIPE", "help": "a .toml file, or the name of a library recipe"}
    parser.add_argument(name, type=RecipeWord, **(usual | more))


def numbers(text: str, between: str = ",") -> tuple[float, ...]:
    """Words with a sign between them as numbers. Raises ArgumentTypeError."""
    return tuple(number(word.strip()) for word in text.split(between))


def span(text: str) -> tuple[float, float]:
    """FROM:TO as two numbers. Raises ArgumentTypeError."""
    if text.count(":") != 1:
        raise argparse.ArgumentTypeError(f"given {text[:40]}, allowed is FROM:TO, as 50:90")
    low, high = numbers(text, ":")
    return low, high


class Named(argparse.Action):
    """Collects NAME=VALUE words of a repeated option into one dict; with `alone` NAME by itself too, as None."""

    def __init__(self, *words: Any, value: Callable[[str], Any] = number, alone: bool = False, **more: Any) -> None:
        super().__init__(*words, **more | {"default": {}})
        self.value, self.alone = value, alone

    def __call__(self, parser: Any, namespace: argparse.Namespace, text: Any, option: str | None = None) -> None:
        """Add one word. Raises ArgumentError where it is not NAME=VALUE, or a name is given twice."""
        name, sign, value = (part.strip() for part in text.partition("="))
        if not name or (not value and not (self.alone and not sign)):
            raise argparse.ArgumentError(self, f"given {text[:40]!r}, allowed is {self.metavar}")
        before = getattr(namespace, self.dest)
        if name in before:
            raise argparse.ArgumentError(self, f"{name} is given twice")
        try:
            setattr(namespace, self.dest, {**before, name: self.value(value) if value else None})
        except argparse.ArgumentTypeError as error:
            raise argparse.ArgumentError(self, f"{name}: {error}") from None


def free_argument(parser: argparse.ArgumentParser, what: str = "a setting that may change") -> None:
    """Settings that may change, each with its bounds or without."""
    parser.add_argument("--free", action=Named, value=span, alone=True, metavar="NAME[=FROM:TO]", help=what)
