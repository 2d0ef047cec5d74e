"""The one way a mistake of the user's leaves the program: lines to print, exit status 2."""

from __future__ import annotations


class UserError(Exception):
    """A mistake the user can mend.

    Each line says what was found, what was expected and what to do. The command line prints the
    lines to standard error and ends with status 2; no other exception may reach it.
    """

    def __init__(self, *lines: str) -> None:
        super().__init__("\n".join(lines))
        self.lines: tuple[str, ...] = lines
