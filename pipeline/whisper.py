"""Whisper models in CTranslate2 form: one window of sound in, words with times and probabilities out."""

from __future__ import annotations

import os
import re
import statistics
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from extractors.facts import HeardDoubt
from pipeline.errors import SetupError
from pipeline.speech_models import SpeechModel

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Samples = NDArray[np.float32]

FRAMES_PER_S = 100
LONGEST_FRAMES = 3000
SHORTEST_SPEECH_S = 0.4
LONGEST_TAIL_S = 2.0
PAUSE_S = 1.2
"""A pause between words after which a new passage begins."""
BEAM = 5

REPEATS = 2.4
"""A text that packs better than this is a loop and no speech (the limit of Whisper's authors)."""
UNLIKELY = -1.0
"""Mean log probability below which another way of decoding is tried (the limit of Whisper's authors)."""
NOBODY = 0.6
"""Probability of no speech above which an unlikely text is left out (the limit of Whisper's authors)."""
ECHO_WORDS = 4
"""This many words of the lead-in in a row were not said by the speaker."""

MARKS = " .,;:?!-\"'()[]…"
STEP_S = 0.02
LONGEST_WORD_S = 0.8
ENDS_SENTENCE = re.compile(r"(?<!\bMr)(?<!\bMrs)(?<!\bDr)(?<!\bSt)[.?!][\"')\]]*$")


@dataclass(frozen=True)
class HeardWord:
    """One word, its times in seconds from the start of the window, and its probability."""

    start: float
    end: float
    text: str
    """With the space that stands before it, if one does."""
    probability: float


@dataclass(frozen=True)
class HeardPassage:
    """A sentence or what stands between two pauses; times in seconds from the start of the window."""

    words: tuple[HeardWord, ...]
    logprob: float
    """Mean log probability of the text it was decoded with."""
    heard_again: str | None = None
    doubts: tuple[HeardDoubt, ...] = ()

    @property
    def text(self) -> str:
        """The words as they were written."""
        return "".join(word.text for word in self.words).strip()


@dataclass(frozen=True)
class Encoded:
    """Sound as the model's encoder left it, to be asked again and again without new encoding."""

    state: Any
    frames: int


@dataclass(frozen=True)
class Written:
    """One text that a model made of a stretch of sound."""

    tokens: tuple[int, ...]
    text: str
    logprob: float
    no_speech: float
    led: bool
    """Written after the lead-in."""

    @property
    def loops(self) -> bool:
        """The text repeats itself, as it does over noise."""
        from faster_whisper.transcribe import get_compression_ratio

        return bool(self.text) and float(get_compression_ratio(self.text)) > REPEATS


@dataclass(frozen=True)
class Stretch:
    """A stretch of the window that was heard in one go."""

    encoded: Encoded
    offset_s: float
    written: Written
    words: tuple[HeardWord, ...]
    likely: tuple[float, ...]
    """How likely each token of the text is, if all those before it were said."""


class Whisper:
    """A Whisper model: on a graphics card where there is one, else on the processor."""

    def __init__(self, model: SpeechModel, *, lead_in: str = "", never_said: str = "", threads: int = 0) -> None:
        """Loads the model; `lead_in` is a text whose manner of writing it takes on.

        A text with four words in a row of `never_said`, which is part of the lead-in, is taken for its echo.
        Raises SetupError when the files cannot be loaded.
        """
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
        self._model = self._whisper.model
        self.tokenizer = Tokenizer(
            self._whisper.hf_tokenizer, self._model.is_multilingual, task="transcribe", language="en"
        )
        self._suppressed = get_suppressed_tokens(self.tokenizer, [-1])
        self.lead_in = lead_in
        self._never_said = _runs(never_said)

    def _before(self, lead_in: str) -> list[int]:
        """The tokens that stand for what seems to have been said before; none without a lead-in."""
        if not lead_in:
            return []
        room = self._whisper.max_length // 2 - 1
        return [self.tokenizer.sot_prev, *self.tokenizer.encode(" " + lead_in)[-room:]]

    def encode(self, samples: Samples) -> Encoded:
        """At most 30 s of 16 kHz sound, encoded."""
        from faster_whisper.audio import pad_or_trim

        features = self._whisper.feature_extractor(samples)
        frames = min(LONGEST_FRAMES, features.shape[-1] - 1)
        return Encoded(self._whisper.encode(pad_or_trim(features[:, :frames])), frames)

    def write(self, encoded: Encoded, *, led: bool, **way: float | int) -> Written:
        """One text for the sound, after the lead-in or without it. The same sound gives the same text."""
        prompt = [
            *self._before(self.lead_in if led else ""),
            *self.tokenizer.sot_sequence,
            self.tokenizer.no_timestamps,
        ]
        found = self._model.generate(
            encoded.state,
            [prompt],
            max_length=self._whisper.max_length,
            return_scores=True,
            return_no_speech_prob=True,
            suppress_tokens=self._suppressed,
            **way,
        )[0]
        tokens = tuple(token for token in found.sequences_ids[0] if token < self.tokenizer.eot)
        return Written(
            tokens=tokens,
            text=self.tokenizer.decode(list(tokens)).strip(),
            logprob=float(found.scores[0]) * len(tokens) / (len(tokens) + 1),
            no_speech=float(found.no_speech_prob),
            led=led and bool(self.lead_in),
        )

    def write_best(self, encoded: Encoded) -> Written:
        """The text of the first way of decoding that gives a likely one, else the likeliest.

        Whisper's authors sample here at random; a run that is taken up again must give the same words.
        """
        ways: tuple[tuple[bool, dict[str, float | int]], ...] = (
            (True, {"beam_size": BEAM}),
            (False, {"beam_size": BEAM}),
            (False, {"beam_size": BEAM, "no_repeat_ngram_size": 4, "repetition_penalty": 1.1}),
        )
        tried: list[Written] = []
        for led, way in ways[0 if self.lead_in else 1 :]:
            written = self.write(encoded, led=led, **way)
            if led and self._echoes(written.text):
                continue
            tried.append(written)
            if not written.loops and (written.logprob >= UNLIKELY or written.no_speech > NOBODY):
                break
        best = max(tried, key=lambda written: (not written.loops, written.logprob))
        if best.loops or (best.no_speech > NOBODY and best.logprob < UNLIKELY):
            return replace(best, tokens=(), text="")
        return best

    def _echoes(self, text: str) -> bool:
        """Words of the lead-in came out as if they had been said; over noise they do."""
        return not self._never_said.isdisjoint(_runs(text))

    def times(self, encoded: Encoded, written: Written) -> tuple[tuple[HeardWord, ...], list[float]]:
        """The words of the text with the times at which the sound holds them, and how likely each token is."""
        if not written.tokens:
            return (), []
        found = self._align(encoded, written.tokens, led=written.led)
        likely = [float(probability) for probability in found.text_token_probs]
        begins = dict.fromkeys(range(len(written.tokens) + 1), 0.0)
        for token, step in reversed(found.alignments):
            begins[token] = step * STEP_S
        words: list[HeardWord] = []
        at = 0
        for text, tokens in zip(*self.words_of(written.tokens), strict=True):
            # A pause after a word belongs to the mark that follows it, or to nothing.
            core = max(1, len(tokens) - len(self._marks(tokens)))
            words.append(HeardWord(begins[at], begins[at + core], text, min(likely[at : at + core])))
            at += len(tokens)
        return _shortened(words), likely

    def _marks(self, tokens: tuple[int, ...]) -> list[int]:
        """The marks at the end of a word."""
        marks: list[int] = []
        for token in reversed(tokens):
            if self.tokenizer.decode([token]).strip(MARKS):
                break
            marks.append(token)
        return marks

    def _align(self, encoded: Encoded, tokens: tuple[int, ...], *, led: bool) -> Any:
        start = [*self._before(self.lead_in if led else ""), *self.tokenizer.sot_sequence]
        return self._model.align(encoded.state, start, [list(tokens)], encoded.frames)[0]

    def probabilities(self, encoded: Encoded, tokens: tuple[int, ...], *, led: bool) -> list[float]:
        """How likely each token is, if all those before it were said."""
        found = self._align(encoded, tokens, led=led)
        return [float(probability) for probability in found.text_token_probs]

    def words_of(self, tokens: tuple[int, ...]) -> tuple[list[str], list[tuple[int, ...]]]:
        """The tokens put together to words; marks stay with the word that they follow."""
        words, parts = self.tokenizer.split_to_word_tokens([*tokens, self.tokenizer.eot])
        joined: list[str] = []
        held: list[tuple[int, ...]] = []
        for word, part in zip(words[:-1], parts[:-1], strict=True):
            if joined and not word.startswith(" "):
                joined[-1], held[-1] = joined[-1] + word, (*held[-1], *part)
            else:
                joined.append(word)
                held.append(tuple(part))
        return joined, held

    def tokens_of(self, text: str) -> tuple[int, ...]:
        """The tokens of a word, with the space before it if it has one."""
        return tuple(self.tokenizer.encode(text))

    def stretches(self, samples: Samples, speech_until_s: float) -> list[Stretch]:
        """The whole window heard; what a text leaves out at the end is heard again from there."""
        found: list[Stretch] = []
        offset_s = 0.0
        while True:
            encoded = self.encode(samples[round(offset_s * 16_000) :])
            written = self.write_best(encoded)
            timed, likely = self.times(encoded, written)
            words = tuple(replace(word, start=word.start + offset_s, end=word.end + offset_s) for word in timed)
            found.append(Stretch(encoded, offset_s, written, words, tuple(likely)))
            if not words or speech_until_s - words[-1].end < LONGEST_TAIL_S:
                return found
            offset_s = max(words[-1].end, offset_s + SHORTEST_SPEECH_S)

    def listen(self, samples: Samples, speech_until_s: float) -> list[HeardPassage]:
        """What is said in the window of at most 30 s of 16 kHz sound; nobody speaks after `speech_until_s`."""
        return [
            passage
            for stretch in self.stretches(samples, speech_until_s)
            for passage in passages(stretch.words, stretch.written.logprob)
        ]


def _shortened(words: list[HeardWord]) -> tuple[HeardWord, ...]:
    """No word longer than any is spoken: what is too much lies before the first word of a sentence, else after."""
    lengths = [word.end - word.start for word in words if word.end > word.start]
    longest = max(LONGEST_WORD_S, 2 * statistics.median(lengths)) if lengths else LONGEST_WORD_S
    found: list[HeardWord] = []
    for number, word in enumerate(words):
        if word.end - word.start <= longest:
            found.append(word)
        elif number == 0 or ENDS_SENTENCE.search(words[number - 1].text):
            found.append(replace(word, start=word.end - longest))
        else:
            found.append(replace(word, end=word.start + longest))
    return tuple(found)


def passages(words: tuple[HeardWord, ...], logprob: float) -> list[HeardPassage]:
    """The words cut at ends of sentences and at pauses."""
    found: list[HeardPassage] = []
    held: list[HeardWord] = []
    for word in words:
        if held and (word.start - held[-1].end > PAUSE_S or ENDS_SENTENCE.search(held[-1].text)):
            found.append(HeardPassage(tuple(held), logprob))
            held = []
        held.append(word)
    if held:
        found.append(HeardPassage(tuple(held), logprob))
    return found


def _runs(text: str) -> set[tuple[str, ...]]:
    """All runs of four words."""
    words = re.findall(r"[a-z']+", text.lower())
    return {tuple(words[at : at + ECHO_WORDS]) for at in range(len(words) - ECHO_WORDS + 1)}
