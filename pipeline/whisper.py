"""Whisper models in CTranslate2 form: one window of sound in, words with times and probabilities out."""

from __future__ import annotations

import os
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pipeline.errors import SetupError
from pipeline.speech_models import SpeechModel

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Samples = NDArray[np.float32]

FRAMES_PER_S = 100
LONGEST_FRAMES = 3000
TIME_STEP_S = 0.02
LEAST_PROGRESS_S = 1.0
SHORTEST_SPEECH_S = 0.4
LONGEST_TAIL_S = 2.0

REPEATS = 2.4
"""A text that packs better than this is a loop and no speech (the limit of Whisper's authors)."""
UNLIKELY = -1.0
"""Mean log probability below which another way of decoding is tried (the limit of Whisper's authors)."""

# Other ways of decoding, tried in order when the first text is a loop or unlikely. Sampling, which Whisper's
# authors use here, gives other words on every run; a resumed run must give the same ones.
WAYS: tuple[dict[str, float | int], ...] = (
    {"beam_size": 5},
    {"beam_size": 5, "no_repeat_ngram_size": 4, "repetition_penalty": 1.1},
    {"beam_size": 1, "no_repeat_ngram_size": 3, "repetition_penalty": 1.2},
)


@dataclass(frozen=True)
class HeardWord:
    """One word, its times in seconds from the start of the window, and its probability."""

    start: float
    end: float
    text: str
    probability: float


@dataclass(frozen=True)
class HeardPassage:
    """One run of words that the recogniser wrote as a whole; times in seconds from the start of the window."""

    start: float
    end: float
    text: str
    words: tuple[HeardWord, ...]
    logprob: float
    """Mean log probability of the text it was decoded with."""
    no_speech: float
    """Probability that nobody speaks there, as the recogniser judges."""


@dataclass(frozen=True)
class Encoded:
    """A stretch of a window as the recogniser's encoder left it, to be asked again without new encoding."""

    state: Any
    offset_s: float
    frames: int
    tokens: tuple[int, ...]
    """What was decoded from it, text and time tokens."""


class Whisper:
    """A Whisper model: the processor's or, where there is one, a graphics card's."""

    def __init__(self, model: SpeechModel, *, threads: int = 0, hotwords: str = "") -> None:
        """Loads the model. Raises SetupError when the files cannot be loaded."""
        import ctranslate2
        import faster_whisper
        from faster_whisper.tokenizer import Tokenizer
        from faster_whisper.transcribe import get_suppressed_tokens

        self.device = "cuda" if ctranslate2.get_cuda_device_count() else "cpu"
        try:
            self._whisper = faster_whisper.WhisperModel(
                str(model.folder),
                device=self.device,
                compute_type="float16" if self.device == "cuda" else "int8",
                cpu_threads=threads or min(os.cpu_count() or 1, 8),
                local_files_only=True,
            )
        except (RuntimeError, ValueError, OSError) as fault:
            raise SetupError(
                "model-damaged",
                f"The speech model in {model.folder} cannot be loaded ({fault}).",
                "Install jobtape again, or name another model folder with --model.",
            ) from fault
        self.name = model.name
        self.sha256 = model.sha256
        self._model = self._whisper.model
        self.tokenizer = Tokenizer(
            self._whisper.hf_tokenizer, self._model.is_multilingual, task="transcribe", language="en"
        )
        self._suppressed = get_suppressed_tokens(self.tokenizer, [-1])
        self._hotwords = hotwords

    def listen(self, samples: Samples, speech_until_s: float) -> tuple[list[HeardPassage], list[Encoded]]:
        """What is said in the window, in order, and the encoder's view of it.

        The window is at most 30 s of 16 kHz sound; after `speech_until_s` nobody speaks in it. The same sound
        gives the same words.
        """
        features = self._whisper.feature_extractor(samples)
        frames = features.shape[-1] - 1
        passages: list[HeardPassage] = []
        encoded: list[Encoded] = []
        seek = 0
        last_end_s = 0.0
        while seek < frames and (seek == 0 or speech_until_s - seek / FRAMES_PER_S > SHORTEST_SPEECH_S):
            size = min(LONGEST_FRAMES, frames - seek)
            state = self._encode(features[:, seek : seek + size])
            found, logprob = self._decode(state)
            tokens = list(found.sequences_ids[0])
            encoded.append(Encoded(state, seek / FRAMES_PER_S, size, tuple(tokens)))
            parts, reached = self._parts(tokens, seek, size, speech_until_s)
            self._whisper.add_word_timestamps(
                [parts], self.tokenizer, state, size, "\"'“¿([{-", "\"'.。,，!！?？:：”)]}、", last_end_s
            )
            for part in parts:
                passage = self._passage(part, logprob, found.no_speech_prob)
                if passage is not None:
                    passages.append(passage)
                    last_end_s = passage.end
            seek = max(seek + int(LEAST_PROGRESS_S * FRAMES_PER_S), reached)
        return passages, encoded

    def _encode(self, features: NDArray[np.float32]) -> Any:
        from faster_whisper.audio import pad_or_trim

        return self._whisper.encode(pad_or_trim(features))

    def _decode(self, state: Any) -> tuple[Any, float]:
        """The best of the ways that had to be tried, and its mean log probability."""
        from faster_whisper.transcribe import get_compression_ratio

        best: tuple[bool, float, Any] | None = None
        for way in WAYS:
            found = self.generate(state, self.prompt(self._hotwords), **way)[0]
            tokens = found.sequences_ids[0]
            logprob = found.scores[0] * len(tokens) / (len(tokens) + 1)
            text = self.tokenizer.decode(tokens).strip()
            loops = get_compression_ratio(text) > REPEATS
            if best is None or (not loops, logprob) > best[:2]:
                best = (not loops, logprob, found)
            if not loops and (logprob >= UNLIKELY or found.no_speech_prob > 0.6):
                break
        if best is None:
            raise ValueError("no way of decoding")
        return best[2], best[1]

    def prompt(self, hotwords: str = "", *, times: bool = True) -> list[int]:
        """The tokens that decoding starts with; `hotwords` come before them as if they had been said."""
        before: list[int] = []
        if hotwords:
            before = [
                self.tokenizer.sot_prev,
                *self.tokenizer.encode(" " + hotwords)[: self._whisper.max_length // 2 - 1],
            ]
        return [*before, *self.tokenizer.sot_sequence, *([] if times else [self.tokenizer.no_timestamps])]

    def generate(self, state: Any, prompt: list[int], **way: float | int) -> Any:
        """Decodes an encoded window once."""
        return self._model.generate(
            state,
            [prompt],
            max_length=self._whisper.max_length,
            return_scores=True,
            return_no_speech_prob=True,
            suppress_blank=True,
            suppress_tokens=self._suppressed,
            max_initial_timestamp_index=50,
            **way,
        )

    def _parts(
        self, tokens: list[int], seek: int, size: int, speech_until_s: float
    ) -> tuple[list[dict[str, Any]], int]:
        """The decoded tokens cut at pairs of time tokens, and the frame from which to hear on."""
        first_time = self.tokenizer.timestamp_begin
        stops = [at + 1 for at in range(len(tokens) - 1) if tokens[at] >= first_time and tokens[at + 1] >= first_time]
        parts: list[dict[str, Any]] = []
        offset_s = seek / FRAMES_PER_S
        past = 0
        end_s = 0.0
        for stop in [*stops, len(tokens)]:
            piece = tokens[past:stop]
            times = [(token - first_time) * TIME_STEP_S for token in piece if token >= first_time]
            words = [token for token in piece if token < self.tokenizer.eot]
            closed = bool(piece) and piece[-1] >= first_time
            if words and not closed and stops and size / FRAMES_PER_S - end_s >= LEAST_PROGRESS_S:
                # The window broke off in mid-sentence: the sentence is heard again as a whole.
                return parts, seek + round(end_s * FRAMES_PER_S)
            if words:
                start_s = times[0] if times and piece[0] >= first_time else end_s
                end_s = times[-1] if closed else size / FRAMES_PER_S
                parts.append({"seek": seek, "start": offset_s + start_s, "end": offset_s + end_s, "tokens": words})
            past = stop
        # Speech that goes on well after the last word is heard again from there, so that no tail is lost.
        if parts and speech_until_s - (offset_s + end_s) > LONGEST_TAIL_S:
            return parts, seek + round(end_s * FRAMES_PER_S)
        return parts, seek + size

    def _passage(self, part: dict[str, Any], logprob: float, no_speech: float) -> HeardPassage | None:
        words = tuple(
            HeardWord(float(word["start"]), float(word["end"]), word["word"], float(word["probability"]))
            for word in part.get("words", ())
        )
        if not words:
            return None
        return HeardPassage(
            start=words[0].start,
            end=words[-1].end,
            text="".join(word.text for word in words).strip(),
            words=words,
            logprob=logprob,
            no_speech=no_speech,
        )
