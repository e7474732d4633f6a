"""The errors a user meets, apart from those of authoring."""

from __future__ import annotations

from extractors.errors import AuthoringError, ReportError


class InputError(ReportError):
    """What the user gave cannot be used."""

    exit_status = 2
    http_status = 400


class SetupError(ReportError):
    """Something that the machine needs is missing; names the setting, downloads nothing."""

    exit_status = 3
    http_status = 503


class StoreError(ReportError):
    """What is stored cannot be read or written."""

    exit_status = 5
    http_status = 500


__all__ = ["AuthoringError", "InputError", "ReportError", "SetupError", "StoreError"]
