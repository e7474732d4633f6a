"""Photos made fit for paper: upright, of moderate size, without what a phone writes beside the picture."""

from __future__ import annotations

import base64
import io
from fractions import Fraction
from pathlib import Path
from typing import Any

LONGEST_SIDE = 1400
"""Pixels: 300 an inch at 118 mm, wider than a photo stands on paper."""
LARGEST_FILE = 60_000_000
"""Bytes. Above it a file is not looked at; phones write 2 to 12 MB."""
LARGEST_PICTURE = 120_000_000
"""Pixels. Above it a picture is not unpacked."""
JFIF = b"\xff\xe0\x00\x10JFIF\x00\x01\x01\x00\x00\x01\x00\x01\x00\x00"
"""The mark of a JPEG file (ITU-T T.871), without which some programs take none."""


def inside(folder: Path, name: str) -> Path | None:
    """The file of this name if it lies in the folder or below it; None when the name leads out."""
    path = (folder / name).resolve()
    return path if path.is_relative_to(folder.resolve()) else None


def photo(path: Path) -> bytes | None:
    """A photo as JPEG bytes, scaled and turned upright; None when the file is no picture that can be read.

    The picture is drawn anew, so that the place where it was taken and other notes of the camera stay in the shop.
    """
    try:
        if not path.is_file() or path.stat().st_size > LARGEST_FILE:
            return None
        return redrawn(path.read_bytes())
    except OSError:
        return None


def redrawn(data: bytes) -> bytes | None:
    """The first picture in the bytes as a new JPEG, without anything that stood beside it; None for no picture."""
    import av
    import numpy

    try:
        with av.open(io.BytesIO(data), mode="r") as container:
            if not container.streams.video:
                return None
            stream = container.streams.video[0]
            width, height = stream.codec_context.width, stream.codec_context.height
            if not 0 < width * height <= LARGEST_PICTURE:
                return None
            frame: Any = next(container.decode(video=0))
    except (av.error.FFmpegError, StopIteration, ValueError, IndexError):
        return None
    turns = round(frame.rotation / 90) % 4
    scale = min(1.0, LONGEST_SIDE / max(frame.width, frame.height))
    size = max(2, int(frame.width * scale) // 2 * 2), max(2, int(frame.height * scale) // 2 * 2)
    pixels = frame.reformat(width=size[0], height=size[1], format="rgb24").to_ndarray()
    upright = av.VideoFrame.from_ndarray(numpy.ascontiguousarray(numpy.rot90(pixels, turns)), format="rgb24")
    encoder: Any = av.CodecContext.create("mjpeg", "w")
    encoder.width, encoder.height, encoder.pix_fmt = upright.width, upright.height, "yuvj420p"
    encoder.time_base = Fraction(1, 1)
    encoder.options = {"qmin": "3", "qmax": "3"}
    drawn = upright.reformat(format="yuvj420p")
    drawn.pts = 0
    data = b"".join(bytes(packet) for packet in [*encoder.encode(drawn), *encoder.encode(None)])
    return data if data[6:10] == b"JFIF" else data[:2] + JFIF + data[2:]


def data_address(kind: str, data: bytes) -> str:
    """A picture inside the page itself."""
    media = {"png": "image/png", "jpg": "image/jpeg", "svg": "image/svg+xml"}[kind]
    return f"data:{media};base64,{base64.b64encode(data).decode('ascii')}"
