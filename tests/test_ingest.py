"""Files of every container that phones make, their names and times, and files that cannot be used."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pipeline.decode import RATE, blocks, probe
from pipeline.errors import InputError
from pipeline.ingest import job_name, survey
from tests.sounds import tone, write

CONTAINERS: dict[str, dict[str, Any]] = {
    "memo.m4a": {"codec": "aac", "rate": 44_100},
    "memo.aac": {"codec": "aac", "rate": 48_000, "form": "adts"},
    "memo.mp3": {"codec": "libmp3lame", "rate": 22_050},
    "memo.wav": {"codec": "pcm_s16le", "rate": 8_000},
    "float.wav": {"codec": "pcm_f32le", "rate": 48_000},
    "memo.flac": {"codec": "flac", "rate": 16_000},
    "memo.ogg": {"codec": "libopus", "rate": 48_000},
    "memo.opus": {"codec": "libopus", "rate": 48_000, "form": "ogg"},
    "memo.amr": {"codec": "libopencore_amrnb", "rate": 8_000, "form": "amr"},
    "memo.3gp": {"codec": "libopencore_amrnb", "rate": 8_000, "form": "3gp"},
    "memo.webm": {"codec": "libopus", "rate": 48_000},
    "film.mp4": {"codec": "aac", "rate": 48_000, "video": True},
    "film.mov": {"codec": "aac", "rate": 48_000, "video": True},
    "memo.wma": {"codec": "wmav2", "rate": 44_100, "form": "asf"},
    "memo.caf": {"codec": "pcm_s16le", "rate": 48_000},
    "memo.aiff": {"codec": "pcm_s16be", "rate": 44_100},
    "really-mp3.wav": {"codec": "libmp3lame", "rate": 44_100, "form": "mp3"},
}


def decoded(path: Path) -> Any:
    return np.concatenate(list(blocks(path)))


def pitch(samples: Any) -> float:
    spectrum = np.abs(np.fft.rfft(samples[RATE // 2 : -RATE // 2]))
    return float(spectrum.argmax() * RATE / len(samples[RATE // 2 : -RATE // 2]))


@pytest.mark.parametrize(("name", "how"), CONTAINERS.items(), ids=CONTAINERS)
def test_container_gives_its_sound_at_16_khz(tmp_path: Path, name: str, how: dict[str, Any]) -> None:
    path = write(tmp_path / name, tone(3.0, rate=how["rate"]), **how)

    samples = decoded(path)

    assert probe(path).declared_s == pytest.approx(3.0, abs=0.3)
    assert len(samples) / RATE == pytest.approx(3.0, abs=0.15)
    assert pitch(samples) == pytest.approx(440.0, abs=3.0)


def test_blocks_join_without_a_seam(tmp_path: Path) -> None:
    path = write(tmp_path / "long.flac", tone(25.0, rate=44_100), rate=44_100, codec="flac")

    lengths = [len(block) / RATE for block in blocks(path)]

    assert lengths[:2] == [10.0, 10.0]
    assert sum(lengths) == pytest.approx(25.0, abs=0.01)
    # A seam would show as a step; the steepest a 440 Hz sine of this level gets is 0.3 × 2π × 440 / 16000.
    assert np.abs(np.diff(decoded(path))).max() < 0.06


MIXES = {
    "two microphones are averaged": ([tone(2.0), tone(2.0)], 0.3),
    "one dead channel": ([tone(2.0), np.zeros(2 * RATE, "float32")], 0.15),
    "poles swapped do not cancel": ([tone(2.0), -tone(2.0)], 0.3),
    "a constant offset goes": ([tone(2.0) + 0.4, tone(2.0) + 0.4], 0.3),
}


@pytest.mark.parametrize(("channels", "level"), MIXES.values(), ids=MIXES)
def test_channels_become_one(tmp_path: Path, channels: list[Any], level: float) -> None:
    samples = decoded(write(tmp_path / "a.wav", np.stack(channels)))[RATE // 4 : -RATE // 4]

    assert float(np.abs(samples).max()) == pytest.approx(level, abs=0.01)
    assert float(samples.mean()) == pytest.approx(0.0, abs=0.005)


def test_file_cut_off_is_read_up_to_the_cut(tmp_path: Path) -> None:
    whole = write(tmp_path / "whole.mp3", tone(10.0, rate=44_100), rate=44_100, codec="libmp3lame")
    cut = tmp_path / "cut.mp3"
    cut.write_bytes(whole.read_bytes()[: whole.stat().st_size // 2])

    assert probe(cut).declared_s == pytest.approx(10.0, abs=0.3)
    assert len(decoded(cut)) / RATE == pytest.approx(5.0, abs=0.4)


def test_damaged_middle_keeps_the_time_of_what_follows(tmp_path: Path) -> None:
    samples = np.concatenate([tone(4.0, 440, 48_000), tone(4.0, 880, 48_000)])
    whole = write(tmp_path / "a.mka", samples, rate=48_000, codec="libopus", form="matroska")
    data = bytearray(whole.read_bytes())
    for at in range(len(data) // 5, len(data) // 4):
        data[at] = 0
    (tmp_path / "b.mka").write_bytes(data)

    heard = decoded(tmp_path / "b.mka")

    assert pitch(heard[int(4.5 * RATE) :]) == pytest.approx(880.0, abs=5.0)


def film_without_sound(path: Path) -> Path:
    return write(path, [], video=True)


def cut_m4a(path: Path) -> Path:
    whole = write(path, tone(3.0, rate=44_100), rate=44_100, codec="aac", form="ipod")
    path.write_bytes(whole.read_bytes()[:2_000])
    return path


def text(path: Path, content: bytes) -> Path:
    path.write_bytes(content)
    return path


FAULTS: dict[str, tuple[Any, str]] = {
    "empty": (lambda folder: text(folder / "a.m4a", b""), "empty-audio"),
    "a text that calls itself sound": (lambda folder: text(folder / "a.wav", b"suction\n" * 50), "unreadable-audio"),
    "a picture": (lambda folder: text(folder / "a.mp3", b"\x89PNG\r\n\x1a\n" + bytes(500)), "unreadable-audio"),
    "no sound track": (lambda folder: film_without_sound(folder / "a.mp4"), "no-sound-track"),
    "an index that was never written": (lambda folder: cut_m4a(folder / "a.m4a"), "unreadable-audio"),
    "not there": (lambda folder: folder / "nothing.m4a", "not-found"),
    "a name with everything": (lambda folder: text(folder / "it's \"5\" … 🧊 ..m4a", b"x"), "unreadable-audio"),
}  # fmt: skip


@pytest.mark.parametrize(("make", "code"), FAULTS.values(), ids=FAULTS)
def test_bad_file_is_told_and_the_others_stay(tmp_path: Path, make: Any, code: str) -> None:
    good = text(tmp_path / "good.txt", b"suction is 68\n")
    bad = make(tmp_path)

    first, second = survey([bad, good])

    assert first.fault is not None
    assert first.fault.code == code
    assert bad.name in first.fault.message
    assert first.fault.hint
    assert second.fault is None


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="root may read everything")
def test_file_without_rights(tmp_path: Path) -> None:
    path = text(tmp_path / "a.txt", b"a")
    path.chmod(0)

    fault = survey([path])[0].fault

    assert fault is not None
    assert fault.code == "unreadable"


def test_folder_gives_its_sounds_and_texts_in_order(tmp_path: Path) -> None:
    for name in ("memo 10.txt", "memo 2.txt", "notes.pdf", ".hidden.txt", "job.toml"):
        text(tmp_path / name, b"words\n")

    assert [source.path.name for source in survey([tmp_path])] == ["memo 2.txt", "memo 10.txt"]


def test_folder_without_recordings(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no recording") as fault:
        survey([tmp_path])

    assert fault.value.code == "no-sources"


def test_same_file_twice_is_one_source(tmp_path: Path) -> None:
    path = text(tmp_path / "a.txt", b"words\n")

    assert len(survey([path, tmp_path, tmp_path / ".." / tmp_path.name / "a.txt"])) == 1


@pytest.mark.parametrize(
    ("name", "job"),
    [
        ("front-cooler.said.txt", "front-cooler"),
        ("2026.03.14 front.m4a", "2026.03.14 front"),
        ("Memo.M4A", "Memo"),
        ("a.mp3.wav", "a"),
        ("plain", "plain"),
        (".txt", ".txt"),
        ("unit 3.5 ton.ogg", "unit 3.5 ton"),
    ],
)
def test_job_is_named_after_its_file(name: str, job: str) -> None:
    assert job_name(Path(name)) == job


NAMED = {
    "20260314_092653.wav": "2026-03-14T09:26:53",
    "2026-03-14 09.26.53 front.wav": "2026-03-14T09:26:53",
    "2026.03.14 front.wav": "2026-03-14",
    "rec-20260314-0926.wav": "2026-03-14T09:26:00",
}


@pytest.mark.parametrize(("name", "when"), NAMED.items())
def test_time_of_recording_from_the_name(tmp_path: Path, name: str, when: str) -> None:
    source = survey([write(tmp_path / name, tone(1.0))])[0]

    assert (source.recorded_at, source.recorded_at_from) == (when, "file name")


@pytest.mark.parametrize(("name", "codec"), [("a.m4a", "aac"), ("20260101.ogg", "libopus"), ("a.flac", "flac")])
def test_time_of_recording_from_the_file_itself_comes_first(tmp_path: Path, name: str, codec: str) -> None:
    said = {"creation_time": "2026-03-14T09:26:53.000000Z"}
    path = write(tmp_path / name, tone(1.0, rate=48_000), rate=48_000, codec=codec, metadata=said)

    source = survey([path])[0]

    assert (source.recorded_at, source.recorded_at_from) == ("2026-03-14T09:26:53+00:00", "metadata")


@pytest.mark.parametrize("said", ["1970-01-01T00:00:00Z", "1904-01-01T00:00:00Z", "yesterday"])
def test_recorder_without_a_clock_is_not_believed(tmp_path: Path, said: str) -> None:
    path = write(tmp_path / "a.flac", tone(1.0), codec="flac", metadata={"creation_time": said})

    assert survey([path])[0].recorded_at_from == "file time"


@pytest.mark.parametrize("name", ["model 20261399.wav", "serial 120260314.wav", "unit 2026.wav"])
def test_digits_that_are_no_date(tmp_path: Path, name: str) -> None:
    assert survey([write(tmp_path / name, tone(1.0))])[0].recorded_at_from == "file time"
