"""What stops a command: where, what, and what to do."""

from __future__ import annotations

from calib.errors import InputError
from photoangle.core.findings import UNUSABLE, Finding


class CannotUse(InputError):
    """The whole command cannot go on."""

    @classmethod
    def because(cls, finding: Finding) -> CannotUse:
        """The error that says what a Finding says."""
        return cls(finding.where, finding.what, finding.do)


def as_finding(error: InputError, level: str = UNUSABLE) -> Finding:
    """The Finding that says what an error says."""
    return Finding(level, error.where, error.what, error.do)
