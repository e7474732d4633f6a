"""Windows, resuming, what could not be heard, models and real speech."""

from __future__ import annotations

import itertools
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pipeline.compare import items
from pipeline.decode import RATE, blocks
from pipeline.doubt import doubt_table
from pipeline.errors import InputError, SetupError
from pipeline.hear import Heard, HearSettings, hear
from pipeline.ingest import survey
from pipeline.keep import Keep
from pipeline.shape import balanced
from pipeline.speech_models import find_model, find_witness
from pipeline.voice import FRAME_S, WINDOW_S, Window, sound_out, speech, windows
from pipeline.whisper import HeardPassage, HeardWord, passages
from tests.sounds import tone, write

SAMPLE = Path(__file__).parents[1] / "samples" / "day" / "walk-in-cooler.m4a"


@pytest.fixture(scope="module")
def talk(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The first 100 seconds of the sample: four windows."""
    samples = np.concatenate([block for block, _ in zip(blocks(SAMPLE), range(10), strict=False)])
    return write(tmp_path_factory.mktemp("talk") / "talk.flac", samples, codec="flac")


class Listener:
    """Writes two words a window, at its start and at its end, and remembers what it was given."""

    def __init__(self, *, stop_at: int = -1, deaf_at: int = -1) -> None:
        self.heard: list[int] = []
        self.stop_at = stop_at
        self.deaf_at = deaf_at

    def listen(self, samples: Any, speech_until_s: float) -> list[HeardPassage]:
        if len(self.heard) == self.stop_at:
            raise KeyboardInterrupt
        self.heard.append(len(samples))
        if len(self.heard) - 1 == self.deaf_at:
            return []
        words = (
            HeardWord(0.6, 0.9, " sixty", 0.9),
            HeardWord(speech_until_s - 0.4, speech_until_s, f" {len(samples)}", 0.8),
        )
        return [HeardPassage(words, -0.3)]


def call(path: Path, keep: Keep, listener: Listener) -> Heard:
    return hear(survey([path])[0], HearSettings(), keep=keep, load=lambda model, settings: listener)


@pytest.fixture(scope="module")
def whole(talk: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Heard, Listener]:
    listener = Listener()
    return call(talk, Keep(tmp_path_factory.mktemp("whole")), listener), listener


def test_an_interrupted_call_goes_on_and_gives_the_same(
    talk: Path, tmp_path: Path, whole: tuple[Heard, Listener]
) -> None:
    first, second = Listener(stop_at=1), Listener()
    with pytest.raises(KeyboardInterrupt):
        call(talk, Keep(tmp_path), first)

    again = call(talk, Keep(tmp_path), second)

    assert again == whole[0]
    assert first.heard + second.heard == whole[1].heard


KILLED = """
import os, signal, sys
sys.path.insert(0, sys.argv[1])
from pathlib import Path
from pipeline.keep import Keep
from tests.test_hear import Listener, call

class Struck(Listener):
    def listen(self, samples, speech_until_s):
        if len(self.heard) == 2:
            os.kill(os.getpid(), signal.SIGKILL)
        return super().listen(samples, speech_until_s)

call(Path(sys.argv[3]), Keep(Path(sys.argv[2])), Struck())
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no SIGKILL there")
def test_a_killed_call_goes_on_and_gives_the_same(talk: Path, tmp_path: Path, whole: tuple[Heard, Listener]) -> None:
    root = str(Path(__file__).parents[1])
    done = subprocess.run([sys.executable, "-c", KILLED, root, str(tmp_path), str(talk)], check=False)
    assert done.returncode == -9

    rest = Listener()
    again = call(talk, Keep(tmp_path), rest)

    assert again == whole[0]
    assert rest.heard == whole[1].heard[2:]


def test_the_same_call_again_hears_nothing(talk: Path, tmp_path: Path) -> None:
    call(talk, Keep(tmp_path), Listener())
    second = Listener()

    call(talk, Keep(tmp_path), second)

    assert second.heard == []


def test_other_settings_are_other_results(talk: Path, tmp_path: Path) -> None:
    call(talk, Keep(tmp_path), Listener())
    second = Listener()
    source = survey([talk])[0]

    hear(source, HearSettings(hearing="quick"), keep=Keep(tmp_path), load=lambda model, settings: second)

    assert second.heard


def test_words_carry_the_recordings_own_times(talk: Path, whole: tuple[Heard, Listener]) -> None:
    starts = [word.start for segment in whole[0].transcript.segments for word in segment.words]
    found = sound_out(talk)
    spans = [span for window in windows(found.voice, round(found.heard_s * RATE)) for span in window.spans]

    assert starts == sorted(starts, key=lambda start: start or 0.0)
    for segment in whole[0].transcript.segments:
        for word in segment.words:
            assert word.start is not None
            assert word.end is not None
            assert any(first / RATE - 0.011 <= word.start <= word.end <= last / RATE + 0.011 for first, last in spans)


def test_progress_rises_to_the_end(talk: Path, tmp_path: Path) -> None:
    told: list[tuple[float, float]] = []
    source = survey([talk])[0]

    hear(source, HearSettings(), lambda *at: told.append(at), keep=Keep(tmp_path), load=lambda *_: Listener())

    assert [done for done, _ in told] == sorted(done for done, _ in told)
    assert told[-1][0] == pytest.approx(told[-1][1])


def test_speech_without_words_is_listed_as_unheard(talk: Path, tmp_path: Path) -> None:
    heard = call(talk, Keep(tmp_path), Listener(deaf_at=2))

    lost = windows(sound_out(talk).voice, 10**9)[2].spans
    within = [
        stretch
        for stretch in heard.unheard
        if any(first / RATE <= stretch.start and stretch.end <= last / RATE for first, last in lost)
    ]
    assert sum(stretch.end - stretch.start for stretch in within) > 5.0


def test_recording_index_is_carried(talk: Path, tmp_path: Path) -> None:
    source = survey([talk])[0]

    heard = hear(source, HearSettings(), keep=Keep(tmp_path), recording=2, load=lambda *_: Listener(deaf_at=1))

    assert {segment.recording for segment in heard.transcript.segments} == {2}
    assert {stretch.recording for stretch in heard.unheard} == {2}


def noise(seconds: float, level: float) -> Any:
    return (level * np.random.default_rng(1).standard_normal(int(seconds * RATE))).astype("float32")


NOBODY = {
    "silent": (np.zeros(5 * RATE, "float32"), "silent-audio"),
    "a hum": (tone(5.0, 120.0), "no-speech"),
    "a hiss": (noise(5.0, 0.05), "no-speech"),
    "a faint hiss": (noise(5.0, 0.002), "no-speech"),
}


@pytest.mark.parametrize(("samples", "code"), NOBODY.values(), ids=NOBODY)
def test_nobody_speaks(tmp_path: Path, samples: Any, code: str) -> None:
    path = write(tmp_path / "a.wav", samples)

    with pytest.raises(InputError) as fault:
        call(path, Keep(tmp_path / "keep"), Listener())

    assert fault.value.code == code
    assert "a.wav" in fault.value.message


def test_a_file_that_breaks_off_says_so(tmp_path: Path) -> None:
    found = np.concatenate(list(blocks(SAMPLE)))[: 60 * RATE]
    whole = write(tmp_path / "whole.mp3", found, codec="libmp3lame")
    cut = tmp_path / "cut.mp3"
    cut.write_bytes(whole.read_bytes()[: whole.stat().st_size // 2])

    heard = call(cut, Keep(tmp_path / "keep"), Listener())

    assert [problem.code for problem in heard.problems] == ["cut-off"]
    assert "1:00" in heard.problems[0].message
    assert heard.duration_s == pytest.approx(30.0, abs=1.5)


def test_a_fault_of_the_source_is_raised(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is not there"):
        call(tmp_path / "gone.m4a", Keep(tmp_path), Listener())


def voice(*runs: tuple[float, float]) -> Any:
    """A probability a frame from (seconds, probability) runs."""
    return np.concatenate([np.full(round(seconds / FRAME_S), p, "float32") for seconds, p in runs])


def test_short_pauses_stay_and_long_ones_go() -> None:
    probabilities = voice((3, 0), (2, 0.9), (1.5, 0), (2, 0.9), (10, 0), (1, 0.9), (3, 0))

    spans = [(round(a / RATE, 1), round(b / RATE, 1)) for a, b in speech(probabilities, 10**9)]

    assert spans == [(2.4, 9.1), (17.9, 20.1)]


PACKED = {
    "one long talk without a pause": voice((100, 0.9)),
    "a talk with breaths": voice(*[(3.7, 0.9), (0.3, 0.0)] * 30),
    "many short remarks": voice(*[(2.0, 0.9), (6.0, 0.0)] * 30),
    "a remark, then a long talk": voice((5, 0.9), (5, 0.0), (60, 0.9)),
    "an hour's gap": voice((5, 0.9), (3600, 0.0), (5, 0.9)),
}


@pytest.mark.parametrize("probabilities", PACKED.values(), ids=PACKED)
def test_windows_hold_all_speech_once(probabilities: Any) -> None:
    packed = windows(probabilities, len(probabilities) * 512)

    spans = [span for window in packed for span in window.spans]
    assert all(first[1] <= second[0] for first, second in itertools.pairwise(spans))
    assert all(0 < window.length_s <= WINDOW_S + 0.1 for window in packed)
    inside = np.zeros(len(probabilities), bool)
    for start, end in spans:
        inside[start // 512 : -(-end // 512)] = True
    assert inside[probabilities > 0.5].all()


def test_windows_are_cut_in_pauses() -> None:
    probabilities = voice(*[(3.7, 0.9), (0.3, 0.0)] * 30)

    for window in windows(probabilities, len(probabilities) * 512)[:-1]:
        assert probabilities[window.spans[-1][1] // 512] < 0.5


def test_time_in_a_window_is_time_in_the_recording() -> None:
    window = Window(((10 * RATE, 15 * RATE), (60 * RATE, 62 * RATE)))

    assert window.when(1.0) == (11.0, 10.0, 15.0)
    assert window.when(6.0) == (61.0, 60.0, 62.0)
    assert window.when(99.0) == (62.0, 60.0, 62.0)


def test_passages_end_with_sentences_and_pauses() -> None:
    words = [
        HeardWord(at, at + 0.3, text, 0.9)
        for at, text in ((0.0, " Mr."), (0.4, " A"), (0.8, " is"), (1.2, " in."), (1.6, " So"), (4.0, " yes"))
    ]

    assert [passage.text for passage in passages(tuple(words), -0.2)] == ["Mr. A is in.", "So", "yes"]


def band_db(samples: Any, low: float, high: float) -> float:
    spectrum = np.square(np.abs(np.fft.rfft(samples)))
    hertz = np.fft.rfftfreq(len(samples), 1 / RATE)
    return float(10 * np.log10(spectrum[(hertz > low) & (hertz < high)].mean()))


def test_muffled_sound_gets_its_highs_back(talk: Path) -> None:
    samples = np.concatenate(list(blocks(talk)))[: 20 * RATE]
    spectrum = np.fft.rfft(samples)
    hertz = np.fft.rfftfreq(len(samples), 1 / RATE)
    muffled = np.fft.irfft(spectrum / np.sqrt(1 + (hertz / 1500) ** 4), len(samples)).astype("float32")

    def fall(sound: Any) -> float:
        return band_db(sound, 300, 800) - band_db(sound, 2500, 3500)

    restored = balanced(muffled)

    assert len(restored) == len(muffled)
    assert fall(muffled) - fall(samples) > 9
    assert abs(fall(restored) - fall(balanced(samples))) < 4


@pytest.mark.parametrize("samples", [np.zeros(RATE, "float32"), np.zeros(3, "float32")], ids=["silence", "a moment"])
def test_nothing_to_balance(samples: Any) -> None:
    assert (balanced(samples) == samples).all()


def test_models_are_found_and_differ() -> None:
    first = find_model()
    second = find_witness(first)

    assert first.sha256.startswith("d01c3014")
    assert second is not None
    assert second.sha256.startswith("1a5afae0")


@pytest.mark.parametrize(("damage", "code"), [("absent", "model-missing"), ("other bytes", "model-damaged")])
def test_model_that_is_not_there_or_not_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, damage: str, code: str
) -> None:
    folder = tmp_path / "models" / "whisper-base-d01c3014"
    if damage == "absent":
        wanted = str(tmp_path / "nothing")
    else:
        folder.mkdir(parents=True)
        for name in ("model.bin", "config.json", "tokenizer.json"):
            (folder / name).write_bytes(b"no model")
        monkeypatch.setenv("JOBTAPE_CACHE", str(tmp_path))
        wanted = ""

    with pytest.raises(SetupError) as fault:
        find_model(wanted)

    assert fault.value.code == code
    assert fault.value.hint


@pytest.mark.speech
def test_real_speech_is_heard_with_times_and_doubts(tmp_path: Path) -> None:
    samples = np.concatenate(list(blocks(SAMPLE)))[: 24 * RATE]
    source = survey([write(tmp_path / "a.wav", samples)])[0]

    careful = hear(source, HearSettings(), keep=Keep(tmp_path))
    quick = hear(source, HearSettings(hearing="quick"), keep=Keep(tmp_path))
    other_run = hear(source, HearSettings(), keep=Keep(tmp_path / "other"))

    assert careful == other_run
    found = {
        segment.text[doubt.start : doubt.end]: segment.heard_again
        for segment in careful.transcript.segments
        for doubt in segment.doubts
    }
    assert {item.value for text in found for item in items([text])} == {51.0, 36.0}
    assert all(found.values())
    assert not any(segment.heard_again for segment in quick.transcript.segments)
    assert careful.grade is not None
    assert careful.grade > 0.7


@pytest.mark.speech
def test_noise_that_reaches_the_recogniser_gives_no_figure(tmp_path: Path) -> None:
    from pipeline.whisper import Whisper

    figures = doubt_table().lead_in["figures"]
    whisper = Whisper(find_model(), lead_in=figures, never_said=figures)
    hum = tone(20.0, 120.0, level=0.1) + noise(20.0, 0.05)

    for samples in (hum, noise(20.0, 0.003), np.zeros(20 * RATE, "float32")):
        texts = [passage.text for passage in whisper.listen(samples.astype("float32"), 19.4)]
        assert not [item for item in items(texts) if item.values]
