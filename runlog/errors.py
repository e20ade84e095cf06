"""The exceptions of the program and the exit code of each.

    RunlogError                 1   cannot do what was asked
    ├── FileFaults              1   a file was refused; carries every problem found in it (``runlog.problems``)
    ├── LogbookError            1   the logbook can't be opened, is held by another process, or is damaged
    ├── NotFound                1   no such car, day, run or channel
    └── UsageError              2   the command was given options that don't fit together

Library code raises these; only ``runlog.cli`` prints them and exits.
"""


class RunlogError(Exception):
    """Anything that stops a command; its text is shown to the user as it stands."""

    exit_code = 1


class UsageError(RunlogError):
    """The command was used wrongly: options missing or contradicting each other."""

    exit_code = 2


class LogbookError(RunlogError):
    """The logbook can't be opened, is held by another process, or is not a logbook."""


class NotFound(RunlogError):  # noqa: N818 - reads as what happened
    """The car, day, run or channel that was named isn't in the logbook."""
