"""The one error a person can act on, and nothing else."""

from __future__ import annotations

from dataclasses import FrozenInstanceError, dataclass, fields, replace


@dataclass(eq=True, unsafe_hash=True)
class InputError(Exception):
    """Something in the input cannot be used: where it is, what was wrong, what to do.

    field: dotted place in the recipe ("flute.web_mm") or "" where the whole file is meant.
    problem: what was given and what is allowed, one sentence without a final full stop.
    hint: what to change, one sentence without a final full stop; may be empty.
    file: the file as the person named it; empty while it is not known.
    """

    field: str
    problem: str
    hint: str = ""
    file: str = ""

    # Not `frozen=True`: Python itself must be able to set __traceback__, __cause__ and __notes__.
    def __setattr__(self, name: str, value: object) -> None:
        if name in self.__dict__ and name in {f.name for f in fields(self)}:
            raise FrozenInstanceError(f"cannot assign to field {name!r}")
        super().__setattr__(name, value)

    def __reduce__(self) -> tuple[type[InputError], tuple[str, str, str, str]]:
        # Exception's own way forgets arguments given by name.
        return type(self), (self.field, self.problem, self.hint, self.file)

    def in_file(self, file: str) -> InputError:
        """The same error with the file filled in, where it was not known before."""
        return self if self.file else replace(self, file=file)

    def __str__(self) -> str:
        where = ": ".join(part for part in (self.file, self.field) if part)
        text = f"{where}: {self.problem}" if where else self.problem
        whole = f"{text}. {self.hint[:1].upper()}{self.hint[1:]}." if self.hint else f"{text}."
        # What was given may hold line breaks, or letters that turn a terminal's line around: one line it stays.
        return "".join(letter if letter.isprintable() else "?" for letter in whole)
