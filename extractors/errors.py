"""The base of every error that a user meets: one sentence for what happened, one for what to do."""

from __future__ import annotations


class ReportError(Exception):
    """A fault that a user can meet. `exit_status` is the command's exit status, `http_status` the web answer's."""

    exit_status = 1
    http_status = 500

    def __init__(self, code: str, message: str, hint: str = "") -> None:
        """Takes a stable kebab-case code, what happened, and what to do about it."""
        super().__init__(message)
        self.code = code
        self.message = message
        self.hint = hint

    def __str__(self) -> str:
        """Both sentences on one line."""
        return f"{self.message} {self.hint}".strip()


class AuthoringError(ReportError):
    """A trade-word file, template, rule or extractor is wrong; found at start."""

    exit_status = 4
    http_status = 500
