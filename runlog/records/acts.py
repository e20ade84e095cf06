"""What is said about entries themselves: that one is withdrawn, or that one holds where several differ."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Withdrawal:
    """An entry, named by its identity, is withdrawn; or, with ``withdrawn`` False, brought back."""

    identity: str
    withdrawn: bool


@dataclass(frozen=True)
class Choice:
    """What an entry, named by its identity, says of these things holds from now on."""

    identity: str
    things: tuple[str, ...]
