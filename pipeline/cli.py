"""The terminal's commands: parse, call, print. Nothing heavy is loaded before a command needs it."""

from __future__ import annotations

from pipeline import cli_checks, cli_draft, cli_people, cli_running, cli_store
from pipeline.cli_app import app

__all__ = ["app", "cli_checks", "cli_draft", "cli_people", "cli_running", "cli_store", "main"]


def main() -> None:
    """Runs the command line."""
    app()
