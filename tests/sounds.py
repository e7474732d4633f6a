"""Sound files for tests, made as phones and recorders make them."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np

RATE = 16_000


def tone(seconds: float, hertz: float = 440.0, rate: int = RATE, level: float = 0.3) -> Any:
    """A sine as float32."""
    return (level * np.sin(2 * np.pi * hertz * np.arange(int(seconds * rate)) / rate)).astype("float32")


def write(
    path: Path,
    channels: Any,
    *,
    rate: int = RATE,
    codec: str = "pcm_s16le",
    form: str | None = None,
    metadata: Mapping[str, str] | None = None,
    options: Mapping[str, str] | None = None,
    video: bool = False,
) -> Path:
    """Writes one channel (1-D) or several (2-D, a row a channel) with the given codec."""
    rows = np.atleast_2d(np.asarray(channels, dtype="float32"))
    layout = "mono" if len(rows) == 1 else "stereo"
    with av.open(str(path), "w", format=form, options=dict(options or {})) as file:
        if metadata:
            file.metadata.update(metadata)
        stream = None
        if channels is not None and rows.size:
            stream = file.add_stream(codec, rate=rate, layout=layout)
            stream.bit_rate = 32_000
        if video:
            picture = file.add_stream("mpeg4", rate=5)
            picture.time_base = Fraction(1, 5)
            picture.width, picture.height, picture.pix_fmt = 64, 48, "yuv420p"
            for number in range(5):
                frame = av.VideoFrame.from_ndarray(np.full((48, 64, 3), number * 40, dtype="uint8"), "rgb24")
                frame.pts, frame.time_base = number, Fraction(1, 5)
                file.mux(picture.encode(frame))
            file.mux(picture.encode(None))
        if stream is not None:
            resampler = av.AudioResampler(stream.format, layout, rate, stream.codec_context.frame_size or 1024)
            frame = av.AudioFrame.from_ndarray(np.ascontiguousarray(rows), "fltp", layout)
            frame.sample_rate, frame.pts, frame.time_base = rate, 0, Fraction(1, rate)
            for ready in [*resampler.resample(frame), *resampler.resample(None)]:
                file.mux(stream.encode(ready))
            file.mux(stream.encode(None))
    return path
