"""Learns extractors/lexicon/weights.toml from annotated narrations, and says how well it does on writers set aside.

usage: learn_weights.py FOLDER... [--aside PREFIX,PREFIX] [--write] [--rounds N] [--l2 X]

A log-linear choice among the ways to file a figure, and one among its roles; signs are words, weights are
readable. Only figures of narrations that are not set aside are learned from.
"""

from __future__ import annotations

import argparse
import json
import math
import re
from collections import Counter
from pathlib import Path

import numpy as np

from extractors.facts import Role, Segment, Transcript
from extractors.features import Filing, candidates
from extractors.lexicon import FOLDER
from extractors.meant import Story, subject_word
from extractors.passage import make_passage
from extractors.placing import file_one, remember, score
from extractors.quantity_signs import quantity_signs
from extractors.reader import Reader
from extractors.reading_signs import reading_signs
from extractors.role_signs import role_signs
from extractors.scene import Scene
from extractors.talk import Talk
from extractors.units import convert, units


def read(path: Path) -> Transcript:
    segments = []
    for number, line in enumerate(path.read_text().splitlines(), 1):
        match = re.match(r"\[(?:(\d+):)?(\d+):(\d\d)\]\s*", line)
        start = None
        if match:
            start = float(int(match[1] or 0) * 3600 + int(match[2]) * 60 + int(match[3]))
            line = line[match.end() :]
        if line.strip():
            segments.append(Segment(text=line, line=number, start=start))
    return Transcript(segments=tuple(segments))


def plain(text):
    return " ".join("".join(ch if ch.isalnum() or ch == "." else " " for ch in str(text or "").lower()).split())


def as_list(value):
    return value if isinstance(value, list) else [value]


def gold_spans(passage, entries):
    """Token span of each gold quote, by its plain words."""
    pieces, owner = [], []
    for token in passage.tokens:
        for piece in plain(token.text).split():
            pieces.append(piece)
            owner.append(token.index)
    joined, starts = "", []
    for piece in pieces:
        starts.append(len(joined))
        joined += piece
    spans = []
    for entry in entries:
        quote = plain(entry["quote"]).replace(" ", "").rstrip(".")
        at = joined.find(quote)
        if at < 0:
            spans.append(None)
            continue
        first = max(i for i, s in enumerate(starts) if s <= at)
        last = max(i for i, s in enumerate(starts) if s < at + len(quote))
        spans.append((owner[first], owner[last] + 1))
    return spans


def close(a, b):
    return a is not None and b is not None and math.isclose(a, b, rel_tol=2e-3, abs_tol=1e-9)


def same_value(figure, gold, unit):
    """Whether the figure, in a unit (None: any), is the gold one."""
    for want in as_list(gold.get("unit")):
        if any(meets(v, unit, gold.get("value"), want) for v in (figure.value, *figure.also)):
            return True
        if meets(figure.low, unit, gold.get("low"), want) and meets(figure.high, unit, gold.get("high"), want):
            return True
    return False


def meets(value, unit, target, want):
    """Whether a value in a unit (None: any) is the target in its unit."""
    if value is None or target is None:
        return False
    if unit is None or unit == want:
        return close(value, target)
    if want is None or units()[unit].dimension != units()[want].dimension:
        return False
    return close(convert(value, unit, want), target)


def align(scene, golds):
    """Figure index to gold entries that it may be."""
    spans = gold_spans(scene.passage, golds)
    found = {}
    for gold, span in zip(golds, spans, strict=True):
        if span is None:
            continue
        choices = [
            (0 if span[0] <= f.number.start < span[1] else 1, abs(f.number.start - span[1]), i)
            for i, f in enumerate(scene.figures)
            if (span[0] - 2 <= f.number.start < span[1] + 2)
            and any(same_value(f, gold, u) for u in (f.units or (None,)))
        ]
        if choices:
            found.setdefault(min(choices)[2], []).append(gold)
    return found


def spoken_of(scene, gold):
    """Figure indexes that a gold entry under `unplaced` quotes."""
    spans = gold_spans(scene.passage, gold.get("unplaced", []))
    return {i for i, f in enumerate(scene.figures) for s in spans if s and s[0] <= f.number.start < s[1]}


def right(scene, candidate, figure, golds):
    """Whether a gold entry accepts a candidate, by its name or by the noun that was said."""
    names = {candidate.subject, subject_word(scene, candidate.subject, candidate.mention)}
    return any(
        names & set(as_list(g["subject"]))
        and str(candidate.quantity) in as_list(g["quantity"])
        and same_value(figure, g, candidate.unit)
        for g in golds
    )


def collect(scenes, table, unplaced):
    """Examples of readings, quantities, subjects and roles: (lists of signs, indexes of the right ones)."""
    examples = {"reading": [], "quantity": [], "subject": [], "role": []}
    missing = Counter()
    for name, scene, aligned in scenes:
        story = Story()
        for index, figure in enumerate(scene.figures):
            aside = scene.asides.get(index)
            golds = aligned.get(index, [])
            needed = [g for g in golds if not g.get("optional")]
            if scene.is_used(figure) or (aside is not None and not aside.weak) or figure.form.startswith("tolerance"):
                if needed:
                    missing[f"aside: {aside.because if aside else 'used'}"] += 1
                continue
            quantities = quantity_signs(scene, index, figure, story)
            wanted_q = {q for g in golds for q in as_list(g["quantity"])}
            good_q = [i for i, (q, _) in enumerate(quantities) if str(q) in wanted_q]
            if good_q and len(good_q) < len(quantities):
                examples["quantity"].append(([s for _, s in quantities], good_q))
            elif needed and not good_q:
                missing["no quantity right"] += 1
            best_q = max(good_q or range(len(quantities)), key=lambda i: score(quantities[i][1], table), default=None)
            if best_q is None:
                continue
            found = candidates(scene, index, figure, story, quantities[best_q][0])
            guess = file_one(scene, index, story, table) if table else None
            seen = found
            if table:
                top = max(range(len(quantities)), key=lambda i: score(quantities[i][1], table))
                seen = candidates(scene, index, figure, story, quantities[top][0])
            is_signs = reading_signs(scene, index, figure, seen, story)
            if needed:
                examples["reading"].append(([(), is_signs], [1]))
            elif not golds and index in unplaced[name]:
                examples["reading"].append(([(), is_signs], [0]))
            good = [i for i, c in enumerate(found) if right(scene, c, figure, golds)]
            if good and len(good) < len(found):
                examples["subject"].append(([c.signs for c in found], good))
            elif needed and not good:
                missing["no subject right"] += 1
            if found and good:
                chosen = found[max(good, key=lambda i: score(found[i].signs, table))]
                way = Filing(chosen.subject, chosen.quantity, chosen.unit, chosen.mention, chosen.where)
                by_role = role_signs(scene, index, way, story)
                names = list(by_role)
                wanted = {r for g in golds for r in as_list(g["role"])}
                if wanted:
                    examples["role"].append(
                        ([by_role[n] for n in names], [i for i, n in enumerate(names) if n.value in wanted])
                    )
                if guess is None:
                    remember(story, figure, way, Role(sorted(wanted)[0]) if wanted else Role.MEASURED)
            if guess is not None and guess.filing.subject is not None:
                # The story goes on with what the weights chose, right or wrong, as when nobody knows the answer.
                remember(story, figure, guess.filing, guess.role)
    return examples, missing


# How hard weights are pulled to nothing, by what they decide; chosen on writers set aside.
PULL = {"reading": 1.5, "quantity": 2.5, "subject": 1.5, "role": 2.5}


def learn(scenes, unplaced, l2, rounds):
    """Weights after some rounds; each round sees the story as the weights before tell it."""
    table: dict[str, float] = {}
    for _ in range(rounds):
        examples, missing = collect(scenes, table, unplaced)
        table = {}
        for name, part in examples.items():
            table |= fit(part, l2 * PULL[name])
    print(
        "learned from",
        {k: len(v) for k, v in examples.items()},
        len(table),
        "weights; right",
        {k: round(accuracy(v, table), 3) for k, v in examples.items()},
        "unreachable",
        dict(missing),
    )
    return table


def fit(examples, l2, steps=260):
    """Weights by gradient ascent on the log-likelihood of the right choices."""
    counts = Counter(s for lists, _ in examples for signs in lists for s in signs)
    names = sorted(s for s, c in counts.items() if c >= 3)
    position = {s: i for i, s in enumerate(names)}
    penalty = np.array(
        [l2 * (2.0 if n.startswith(("about:", "size:")) or "<about" in n or "<unit" in n else 1.0) for n in names]
    )
    rows, owners, marks = [], [], []
    for number, (lists, good) in enumerate(examples):
        for i, signs in enumerate(lists):
            rows.append([position[s] for s in signs if s in position])
            owners.append(number)
            marks.append(i in set(good))
    width = max(len(r) for r in rows)
    matrix = np.full((len(rows), width), len(names))
    for i, r in enumerate(rows):
        matrix[i, : len(r)] = r
    owners, marks = np.array(owners), np.array(marks)
    size = len(examples)
    w = np.zeros(len(names) + 1)
    m, v = np.zeros_like(w), np.zeros_like(w)
    for step in range(1, steps + 1):
        s = w[matrix].sum(1)
        top = np.full(size, -1e9)
        np.maximum.at(top, owners, s)
        e = np.exp(s - top[owners])
        whole, right = np.zeros(size), np.zeros(size)
        np.add.at(whole, owners, e)
        np.add.at(right, owners, e * marks)
        p = e / whole[owners]
        q = np.where(marks, e / np.maximum(right[owners], 1e-12), 0.0)
        delta = q - p
        g = np.zeros_like(w)
        np.add.at(g, matrix, delta[:, None])
        g[:-1] -= penalty * w[:-1]
        g[-1] = 0.0
        m = 0.9 * m + 0.1 * g
        v = 0.99 * v + 0.01 * g * g
        w += 0.08 * (m / (1 - 0.9**step)) / (np.sqrt(v / (1 - 0.99**step)) + 1e-6)
        w[-1] = 0.0
    return {n: round(float(w[i]), 3) for n, i in position.items() if abs(w[i]) >= 0.02}


def accuracy(examples, table):
    right = 0
    for lists, good in examples:
        scores = [score(s, table) for s in lists]
        right += int(np.argmax(scores)) in good
    return right / max(1, len(examples))


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--aside", default="", help="comma-separated starts of names that are set aside")
    parser.add_argument("--readers", nargs="*", default=[], type=Path, help="folders of learn_reader.py --leave")
    parser.add_argument("--write", action="store_true")
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--l2", type=float, default=0.6)
    parser.add_argument("--quiet", action="store_true")
    args = parser.parse_args()
    apart = tuple(x for x in args.aside.split(",") if x)
    from extractors import identified

    readers = [(set(json.loads((f / "unseen.json").read_text())), Reader(f)) for f in args.readers]
    known, test, unplaced = [], [], {}
    for folder in args.folders:
        for path in sorted(folder.glob("*.gold.json")):
            name = path.name.removesuffix(".gold.json")
            gold = json.loads(path.read_text())
            talk = Talk(make_passage(read(path.with_name(name + ".said.txt"))))
            # A talk that stands in no list was new to all readers.
            own = [r for n, r in readers if name in n] or [r for _, r in readers]
            scene = Scene(talk, identified(talk), own[len(name) % len(own)] if own else None)
            unplaced[name] = spoken_of(scene, gold)
            entry = (name, scene, align(scene, gold["readings"]))
            (test if apart and name.startswith(apart) else known).append(entry)
    table = learn(known, unplaced, args.l2, args.rounds)
    if test:
        examples, missing = collect(test, table, unplaced)
        print(
            "set aside:",
            {k: (len(v), round(accuracy(v, table), 3)) for k, v in examples.items()},
            "unreachable",
            dict(missing),
        )
    if args.write:
        lines = [
            "# Learned by tests/benchmarks/learn_weights.py from the annotated narrations; do not edit by hand.",
            "# Higher means likelier. A sign is a word for something seen beside a figure.",
            "",
            "[weights]",
        ]
        lines += [f"{json.dumps(k, ensure_ascii=False)} = {v}" for k, v in sorted(table.items())]
        (FOLDER / "weights.toml").write_text("\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
