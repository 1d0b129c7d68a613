"""The command line in this process: as `pumpledger` does it, without the seconds that a new interpreter takes to import.

Belongs here: `run` for tests of what the command says and does. That the installed program answers as this does is held
by `tests/pipeline/test_installed_command.py`; what needs a process of its own, to be killed or limited, starts one.
"""

from __future__ import annotations

import gc
import io
import sys
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from unittest.mock import patch

from pumpledger.cli import main


@dataclass(frozen=True, slots=True)
class Done:
    """How a command ended, and what it wrote, as bytes and as text."""

    returncode: int
    out: bytes
    err: bytes

    @property
    def stdout(self) -> str:
        return self.out.decode("utf-8")

    @property
    def stderr(self) -> str:
        return self.err.decode("utf-8")


def run(*arguments: object) -> Done:
    """Run `pumpledger ARGUMENTS`.

    Raises:
        Exception: whatever leaves the command; a user would see it as a traceback.
        AssertionError: a traceback was printed all the same.
    """
    out, err = (io.TextIOWrapper(io.BytesIO(), "utf-8", write_through=True) for _ in range(2))
    looks = gc.get_threshold()
    status: object = 0
    with (
        patch.object(sys, "argv", ["pumpledger", *map(str, arguments)]),
        redirect_stdout(out),
        redirect_stderr(err),
    ):
        try:
            main()
        except SystemExit as left:
            status = left.code
        finally:
            gc.set_threshold(*looks)
    done = Done(int(status or 0), out.buffer.getvalue(), err.buffer.getvalue())
    assert b"Traceback" not in done.out + done.err, done.stderr
    return done
