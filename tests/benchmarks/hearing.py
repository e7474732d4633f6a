"""How well figures are heard and how well doubt tells the wrong ones, on narrations that voices read over noise.

    python -m tests.benchmarks.hearing hear NARRATIONS OUT --voice joe --condition 10 [NAME ...]
    python -m tests.benchmarks.hearing table OUT     figures right, missed, flagged, by voice and condition
    python -m tests.benchmarks.hearing fit OUT       weights for doubt.toml by logistic regression, with the curve

`hear` keeps the signs of each figure beside the truth in OUT, one file a recording, so that weights can be fitted
without hearing again. NARRATIONS is a folder of NAME.said.txt.
"""

from __future__ import annotations

import argparse
import json
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from pipeline.compare import agree, items, opposite
from pipeline.doubt import doubt_table
from pipeline.second_hearing import Hearing, recogniser
from pipeline.speech_models import find_model
from pipeline.voice import RATE, SoundReader, sound_out, windows
from tests.benchmarks.material import CONDITIONS, noisy, talk, write_wave

PENALTY = 1.0
"""Pulls weights to zero, so that a sign seen on a few figures alone does not decide."""


def hear_one(narration: Path, voice: str, condition: str, out: Path, hearing: Hearing) -> None:
    """Hears one narration and writes the signs of every figure with whether it is right."""
    name = narration.name.removesuffix(".said.txt")
    target = out / f"{name}.{voice}.{condition}.json"
    if target.exists():
        return
    spoken = talk(narration, voice, out / "said")
    sound = write_wave(out / "now.wav", noisy(spoken.samples, condition, sum(map(ord, name + condition))))
    found = sound_out(sound)
    reader = SoundReader(sound, found.gain)
    texts: list[str] = []
    rows: list[dict[str, Any]] = []
    for window in windows(found.voice, round(found.heard_s * RATE)):
        samples = reader.read(window)
        for stretch in hearing.first.stretches(samples, window.speech_until_s):
            passages, signs, _ = hearing.signs(samples, stretch)
            rows += [
                {"at": (len(texts) + sign.passage, sign.item.start), "text": sign.item.text, "signs": sign.signs}
                for sign in signs
            ]
            texts += [passage.text for passage in passages]
    said = items([" , ".join(spoken.lines)])
    heard = items(texts)
    twins = {(item.segment, item.start): (item, twin) for item, twin in zip(heard, opposite(heard, said), strict=True)}
    met = set()
    for row in rows:
        item, twin = twins[tuple(row["at"])]
        row["right"] = twin is not None and bool(twin.values) and agree(item, twin)
        row["said"] = twin.text if twin is not None and twin.values else None
        if twin is not None and twin.values:
            met.add(twin.start)
    missed = [item.text for item in said if item.values and item.start not in met]
    target.write_text(json.dumps({"said": sum(bool(item.values) for item in said), "missed": missed, "rows": rows}))
    print(target.name, flush=True)


def kept(out: Path) -> Iterator[tuple[str, dict[str, Any]]]:
    """The files of an earlier `hear`, with voice and condition."""
    for path in sorted(out.glob("*.json")):
        yield " ".join(path.name.split(".")[-3:-1]), json.loads(path.read_text())


def table(out: Path) -> None:
    """Prints, for 100 spoken figures, how many came right and what the flags did."""
    weights = doubt_table().careful
    sums: dict[str, list[int]] = defaultdict(lambda: [0] * 6)
    for group, kept_one in kept(out):
        row = sums[group]
        row[0] += kept_one["said"]
        row[1] += len(kept_one["missed"])
        for figure in kept_one["rows"]:
            flagged = weights.wrong(figure["signs"]) >= weights.threshold
            row[2 if figure["right"] else 4] += 1
            row[3 if figure["right"] else 5] += flagged
    print("voice and noise   said  right  missed  wrong unflagged  right flagged   (each for 100 said)")
    for group, (said, missed, right, right_flagged, wrong, wrong_flagged) in sums.items():
        shares = [100 * n / said for n in (right, missed, wrong - wrong_flagged, right_flagged)]
        print(f"{group:16} {said:5} {shares[0]:6.1f} {shares[1]:7.1f} {shares[2]:16.1f} {shares[3]:14.1f}")


def fit(out: Path) -> None:
    """Prints weights and how many wrong figures a threshold catches for how many right ones flagged."""
    rows = [row for _, kept_one in kept(out) for row in kept_one["rows"]]
    names = list(doubt_table().careful.weights)
    signs = np.array([[row["signs"].get(name, 0.0) for name in names] for row in rows])
    wrong = np.array([not row["right"] for row in rows], float)
    fitted = logistic(signs, wrong)
    print(f"{len(rows)} figures, {int(wrong.sum())} wrong\nconstant = {fitted[0]:.2f}")
    for name, weight in zip(names, fitted[1:], strict=True):
        print(f"{name} = {weight:.2f}")
    score = 1 / (1 + np.exp(-(fitted[0] + signs @ fitted[1:])))
    print("threshold  wrong caught  right flagged  wrong among the flagged")
    for threshold in (0.03, 0.05, 0.08, 0.1, 0.15, 0.2, 0.3, 0.5):
        flagged = score >= threshold
        caught, lost = (flagged * wrong).sum() / wrong.sum(), (flagged * (1 - wrong)).sum() / (1 - wrong).sum()
        print(f"{threshold:9} {100 * caught:12.0f}% {100 * lost:13.0f}% {100 * wrong[flagged].mean():12.0f}%")


def logistic(signs: Any, wrong: Any) -> Any:
    """The constant and the weights, none below zero: no sign speaks for a figure being right."""
    columns = np.hstack([np.ones((len(signs), 1)), signs])
    weights = np.zeros(columns.shape[1])
    rate = 4.0 / (np.square(columns).sum(axis=1).max() + PENALTY)
    pull = PENALTY * np.r_[0.0, np.ones(signs.shape[1])]
    for _ in range(20_000):
        score = 1 / (1 + np.exp(-columns @ weights))
        weights -= rate * ((columns.T @ (score - wrong)) / len(signs) + pull * weights / len(signs))
        weights[1:] = np.maximum(weights[1:], 0.0)
    return weights


def main() -> None:
    """Runs one of the three."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=["hear", "table", "fit"])
    parser.add_argument("folders", type=Path, nargs="+")
    parser.add_argument("--voice", default="joe")
    parser.add_argument("--condition", choices=CONDITIONS, default="10")
    parser.add_argument("--name", action="append")
    given = parser.parse_args()
    if given.what != "hear":
        {"table": table, "fit": fit}[given.what](given.folders[0])
        return
    narrations, out = given.folders
    hearing = recogniser(find_model(), careful=True)
    for narration in sorted(narrations.glob("*.said.txt")):
        if not given.name or narration.name.removesuffix(".said.txt") in given.name:
            hear_one(narration, given.voice, given.condition, out, hearing)


if __name__ == "__main__":
    main()
