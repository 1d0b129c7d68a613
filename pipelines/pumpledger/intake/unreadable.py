"""The one way intake says that an export is set aside whole.

Belongs here: the exception. Which faults raise it stands with the code that finds them.
"""

from __future__ import annotations

from pumpledger.problems import Problem


class Unreadable(Exception):
    """A file that is set aside whole; ``problem`` says why and what to do."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        super().__init__(str(problem))
