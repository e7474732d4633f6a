"""Sound given back the balance of ordinary speech, as a pocket, a glove or a cheap microphone took it away."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.decode import RATE

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Samples = NDArray[np.float32]

# Long-term average of speech in third octaves, hertz and decibels. Source: D. Byrne et al., "An international
# comparison of long-term average speech spectra", J. Acoust. Soc. Am. 96 (1994); values from memory.
SPEECH_DB = {
    100: 54.4, 125: 57.7, 160: 56.8, 200: 60.2, 250: 60.3, 315: 59.0, 400: 62.1, 500: 62.1, 630: 60.5, 800: 56.8,
    1000: 53.7, 1250: 53.0, 1600: 52.0, 2000: 48.7, 2500: 48.1, 3150: 46.8, 4000: 45.6, 5000: 44.5, 6300: 44.3,
    8000: 43.7,
}  # fmt: skip
SIZE = 512
SMOOTH = 9
ANCHOR_HZ = (200.0, 1000.0)
"""Where the sound is left as loud as it is."""
MOST_UP_DB, MOST_DOWN_DB = 18.0, 6.0


def balanced(samples: Samples) -> Samples:
    """The sound with its average spectrum brought towards that of speech, by 18 dB at most; the same length."""
    import numpy as np

    frames = samples[: len(samples) // SIZE * SIZE].reshape(-1, SIZE)
    if len(frames) < 2:
        return samples
    power = np.square(frames).mean(axis=1)
    louder = frames[power >= np.median(power)]
    if not power.any():
        return samples
    spectrum = np.square(np.abs(np.fft.rfft(louder * np.hanning(SIZE)))).mean(axis=0)
    hertz = np.fft.rfftfreq(SIZE, 1 / RATE)
    have_db = _smooth(10 * np.log10(spectrum + 1e-12))
    # A third octave is wider the higher it lies; per hertz the table falls by so much more.
    bands = np.array(list(SPEECH_DB), float)
    want_db = np.interp(hertz, bands, np.array(list(SPEECH_DB.values())) - 10 * np.log10(bands))
    lift_db = want_db - have_db
    lift_db -= lift_db[(hertz > ANCHOR_HZ[0]) & (hertz < ANCHOR_HZ[1])].mean()
    lift_db = np.clip(lift_db, -MOST_DOWN_DB, MOST_UP_DB)
    lift_db[hertz < bands[0]] = 0.0
    gain = 10 ** (np.interp(np.fft.rfftfreq(len(samples), 1 / RATE), hertz, lift_db) / 20)
    return np.fft.irfft(np.fft.rfft(samples) * gain, len(samples)).astype("float32")


def _smooth(level_db: NDArray[np.float64]) -> NDArray[np.float64]:
    import numpy as np

    padded = np.pad(level_db, SMOOTH // 2, mode="edge")
    return np.convolve(padded, np.ones(SMOOTH) / SMOOTH, "valid")
