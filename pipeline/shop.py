"""The shop's own settings for its papers and limits: `shop.toml`."""

from __future__ import annotations

import struct
import tomllib
import zlib
from pathlib import Path
from typing import Any, Literal

from pydantic import Field, ValidationError, field_validator

from extractors.facts import Frozen
from pipeline.errors import AuthoringError, InputError
from pipeline.words import load_words

FILE_NAME = "shop.toml"
LARGEST_LOGO = 2_000_000
"""Bytes. A logo goes into every paper and every mail."""


class Shop(Frozen):
    """What a shop sets once. `folder` is where its `shop.toml` stands; own templates and the logo lie there."""

    name: str = ""
    address: tuple[str, ...] = ()
    phone: str = ""
    email: str = ""
    licences: tuple[str, ...] = ()
    technicians: dict[str, str] = Field(default_factory=dict)
    """Certificate numbers by technician's name."""
    logo: str = ""
    paper_size: Literal["A4", "Letter"] = "Letter"
    units_shown: Literal["said", "US", "SI", "both"] = "said"
    date_form: Literal["iso", "month first", "day first", "long"] = "long"
    closing: str = ""
    language: str = "en"
    altitude_ft: float | None = None
    limits: dict[str, dict[str, Any]] = Field(default_factory=dict)
    folder: Path | None = None

    @field_validator("address", "licences", mode="before")
    @classmethod
    def _lines(cls, value: object) -> object:
        """One text, even of several lines, does as well as a list."""
        return tuple(value.splitlines()) if isinstance(value, str) else value

    @field_validator("language")
    @classmethod
    def _known_language(cls, value: str) -> str:
        """The language must have its catalogue of words."""
        try:
            load_words(value)
        except AuthoringError as fault:
            raise ValueError(str(fault)) from fault
        return value

    def certificate(self, technician: str) -> str:
        """The certificate number of a technician by name; empty when the shop gives none."""
        wanted = technician.casefold().strip()
        return next((number for name, number in self.technicians.items() if name.casefold() == wanted), "")


def load_shop(path: Path) -> Shop:
    """The shop of a `shop.toml`. Raises InputError naming the field that is wrong and what to write."""
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as fault:
        raise InputError(
            "shop-unreadable", f"The shop's file {path} cannot be read ({fault.strerror}).", "Check its name."
        ) from fault
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as fault:
        raise InputError(
            "shop-wrong", f"{path} is not valid TOML ({fault}).", 'Text stands in quotes: name = "…".'
        ) from fault
    if "folder" in table:
        raise InputError("shop-wrong", f"{path}: folder is not to be set.", "It is the folder of the file itself.")
    try:
        shop = Shop.model_validate({**table, "folder": path.resolve().parent})
    except ValidationError as fault:
        first = fault.errors()[0]
        field = ".".join(str(part) for part in first["loc"])
        raise InputError(
            "shop-wrong", f"{path}: {field}: {first['msg']}.", f"It can hold {', '.join(_fields())}."
        ) from fault
    if shop.logo and logo_bytes(shop) is None:
        raise InputError(
            "logo-wrong",
            f"The logo {shop.logo} named in {path} is no picture that can be printed.",
            f"Give a PNG, JPEG or SVG file of at most {LARGEST_LOGO // 1_000_000} MB, beside shop.toml.",
        )
    return shop


def logo_bytes(shop: Shop) -> tuple[str, bytes] | None:
    """The logo as its kind (`png`, `jpg`, `svg`) and bytes; None when there is none that can be printed.

    Looks before it reads: a file of 40 MB is refused by its size and never loaded.
    """
    if not shop.logo or shop.folder is None:
        return None
    path = shop.folder / shop.logo
    try:
        if not path.is_file() or path.stat().st_size > LARGEST_LOGO:
            return None
        data = path.read_bytes()
    except OSError:
        return None
    kind = picture_kind(data)
    return (kind, data) if kind else None


def picture_kind(data: bytes) -> str:
    """`png`, `jpg` or `svg` by what is inside, whatever the name says; empty for anything else or half a picture."""
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return "png" if _whole_png(data) else ""
    if data.startswith(b"\xff\xd8\xff"):
        return "jpg" if b"\xff\xd9" in data else ""
    if b"<svg" in data[:2000] and b"</svg>" in data and b"\x00" not in data[:2000]:
        return "svg"
    return ""


def _whole_png(data: bytes) -> bool:
    """Whether every chunk of a PNG is there and sound, up to its end (ISO/IEC 15948)."""
    place = 8
    while place + 12 <= len(data):
        length, kind = struct.unpack(">I4s", data[place : place + 8])
        body = data[place + 4 : place + 8 + length]
        check = data[place + 8 + length : place + 12 + length]
        if len(check) < 4 or struct.unpack(">I", check)[0] != zlib.crc32(body):
            return False
        if kind == b"IEND":
            return True
        place += 12 + length
    return False


def _fields() -> list[str]:
    """The names that a shop.toml may hold."""
    return [name for name in Shop.model_fields if name != "folder"]
