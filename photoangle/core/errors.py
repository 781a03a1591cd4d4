"""What stops a command: where, what, and what to do."""

from __future__ import annotations


class CannotUse(Exception):
    """The whole command cannot go on; carries the Finding that says why."""

    def __init__(self, finding):
        super().__init__(finding.what)
        self.finding = finding
