"""What can go wrong, as a user sees it.

ClimateRiskError
├── InputError   the input is wrong: one line that names it, exit status 2
└── RunError     the run failed for a reason outside the input, exit status 1
"""

from __future__ import annotations


class ClimateRiskError(Exception):
    """Base of every error that is reported to a user as one line."""

    exit_status = 1


class InputError(ClimateRiskError):
    """The yard file, the weather or a command word is wrong."""

    exit_status = 2


class RunError(ClimateRiskError):
    """The run failed for a reason outside the input, such as the network or the disk."""
