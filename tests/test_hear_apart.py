"""The process of its own that hears: its result, its strip, its copy for browsers, its errors as the same sentences."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import threading
import time
import wave
from math import pi, sin
from pathlib import Path
from struct import pack

import pytest

from pipeline import hear_apart as hear_apart_module
from pipeline.decode import RATE, blocks
from pipeline.errors import InputError
from pipeline.hear_apart import PEAKS_PER_S, Wanted, hear_apart, peaks_of, playable_copy
from pipeline.keep import digest_of_file


@pytest.fixture
def tone(tmp_path: Path) -> Path:
    """Two seconds of silence, one of a loud tone, one of silence."""
    path = tmp_path / "tone.wav"
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE)
        loud = [0] * 2 * RATE + [int(16000 * sin(2 * pi * 440 * n / RATE)) for n in range(RATE)] + [0] * RATE
        file.writeframes(b"".join(pack("<h", value) for value in loud))
    return path


def test_the_strip_shows_where_the_sound_is(tone: Path) -> None:
    strip = peaks_of(tone)
    assert len(strip) == 4 * PEAKS_PER_S
    assert max(strip[: 2 * PEAKS_PER_S - 1]) < 40
    # 16,000 of 32,767 full scale, and the square root of it.
    assert min(strip[2 * PEAKS_PER_S + 1 : 3 * PEAKS_PER_S - 1]) == pytest.approx(255 * (16000 / 32767) ** 0.5, abs=4)
    assert max(strip[3 * PEAKS_PER_S + 1 :]) < 40


def test_the_copy_for_browsers_keeps_the_times(tone: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy.m4a"
    playable_copy(tone, copy)
    assert copy.read_bytes()[4:8] == b"ftyp"
    samples = sum(len(block) for block in blocks(copy))
    assert samples / RATE == pytest.approx(4.0, abs=0.15)
    strip = peaks_of(copy)
    loud = [i / PEAKS_PER_S for i, level in enumerate(strip) if level > 120]
    assert (min(loud), max(loud)) == (pytest.approx(2.0, abs=0.15), pytest.approx(2.95, abs=0.15))


def test_a_text_is_heard_in_a_process_of_its_own(tmp_path: Path) -> None:
    path = tmp_path / "front.said.txt"
    path.write_text("run cap is 21.9\n")
    out = hear_apart(Wanted(path=str(path), work=str(tmp_path / "work")), lambda done, every: None)

    body = json.loads(out.body)
    assert body["heard"]["transcript"]["segments"][0]["text"] == "run cap is 21.9"
    assert body["source"]["sha256"] == digest_of_file(path)
    assert out.peaks == b""
    assert list((tmp_path / "work").glob("apart-*")) == []


def test_a_file_that_is_no_sound_is_the_same_sentence_as_on_the_command_line(tmp_path: Path) -> None:
    path = tmp_path / "front.m4a"
    path.write_bytes(b"<html><script>alert(1)</script>" * 50)
    with pytest.raises(InputError, match="cannot be read as a recording"):
        hear_apart(Wanted(path=str(path), work=str(tmp_path / "work")), lambda done, every: None)


def test_a_process_that_hangs_is_ended_and_the_recording_set_aside(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "front.said.txt"
    path.write_text("run cap is 21.9\n")
    monkeypatch.setattr(hear_apart_module, "SILENT_FOR_S", 1.0)

    def hang() -> None:
        while not hear_apart_module._children:
            time.sleep(0.005)
        next(iter(hear_apart_module._children)).send_signal(signal.SIGSTOP)

    threading.Thread(target=hang).start()
    with pytest.raises(InputError, match="bearable time"):
        hear_apart(Wanted(path=str(path), work=str(tmp_path / "work")), lambda done, every: None)


GREEDY = """
import pipeline.hear_apart as apart
apart.MOST_MEMORY, apart.MOST_WRITTEN = 300 << 20, 1 << 20
apart._limit()
try:
    held = bytearray(400 << 20)
except MemoryError:
    print("refused")
with open("big", "wb", buffering=0) as file:
    try:
        while file.write(bytes(1 << 19)): pass
    except OSError:
        print(file.tell())
"""


@pytest.mark.skipif(sys.platform != "linux", reason="these limits are the system's, and others have other ones")
def test_what_the_process_may_take_is_bounded(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", f"import signal; signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n{GREEDY}"],
        cwd=tmp_path, env={"PYTHONPATH": str(Path(__file__).parents[1])}, capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert done.stdout.split() == ["refused", str(1 << 20)]


def test_a_file_that_states_more_sound_than_a_day_has_is_refused(tone: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pipeline.decode.LONGEST_S", 3.0)
    with pytest.raises(InputError, match="longer than"):
        list(blocks(tone))
