"""A pseudo-terminal at which a command asks and is answered."""

from __future__ import annotations

import os
import re
import select
import subprocess
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from conftest import Program


def answered(program: Program, words: tuple[str, ...], answers: dict[str, str | list[str]]) -> tuple[int, str]:
    """Run a command at a pseudo-terminal, answering each question by its beginning; return (exit code, screen)."""
    import pty  # not on Windows

    leader, follower = pty.openpty()
    command = [str(Path(sys.executable).with_name("runlog")), *words]
    started = subprocess.Popen(
        command, cwd=program.folder, env={**program.env, "TERM": "dumb"}, stdin=follower, stdout=follower,
        stderr=follower, start_new_session=True,
    )  # fmt: skip
    os.close(follower)
    screen, done, deadline = "", 0, time.monotonic() + 60
    while time.monotonic() < deadline:
        if select.select([leader], [], [], 0.1)[0]:
            try:
                screen += os.read(leader, 4096).decode()
            except OSError:
                break
            question = re.search(r"([^\n\r]*): ?$", screen[done:])
            if question:
                reply = next((text for name, text in answers.items() if question[1].strip().startswith(name)), "")
                if isinstance(reply, list):  # one after the other
                    reply = reply.pop(0)
                done = len(screen)
                os.write(leader, f"{reply}\n".encode())
    started.wait(timeout=10)
    os.close(leader)
    return started.returncode, screen
