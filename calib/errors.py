"""What stops a piece of work: where, what, and what to do."""

from __future__ import annotations


class InputError(Exception):
    """What was given cannot be used as it is.  The one base of everything that a user can cause.

    ``where`` it is (a file, a line of it, an option; "" where that is plain), ``what`` is the matter with it,
    and what to ``do`` about it, each in the user's words and without a full stop.
    """

    def __init__(self, where: str, what: str, do: str):
        super().__init__(where, what, do)
        self.where, self.what, self.do = where, what, do

    def __str__(self) -> str:
        said = f"{self.where}: {self.what}" if self.where else self.what
        return f"{said}; {self.do}" if self.do else said
