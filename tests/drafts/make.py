"""Turns a narration with its gold answers into a draft with plausible times: `make.py NAME.gold.json NAME.said.txt`.

The drafts beside this file were made with it and then finished by hand (diagnosis, series, doubts, checks), so that
the papers can be tested without hearing or extraction. All of it is invented.
"""

from __future__ import annotations

import json
import re
import sys
from pathlib import Path

WORDS_PER_SECOND = 2.4


def first(value):
    return value[0] if isinstance(value, list) else value


class Said:
    """The words of the narration with a time for each character."""

    def __init__(self, text: str) -> None:
        self.segments, at = [], 0.0
        for line in filter(None, map(str.strip, text.splitlines())):
            stamp = re.match(r"\[(?:(\d+):)?(\d+):(\d+)\]\s*", line)
            if stamp:
                hours, minutes, seconds = (int(part or 0) for part in stamp.groups())
                at = max(at, hours * 3600 + minutes * 60 + seconds)
                line = line[stamp.end() :]
            for sentence in re.split(r"(?<=[.?!])\s+", line):
                length = round(len(sentence.split()) / WORDS_PER_SECOND, 1)
                if length:
                    self.segments.append({"start": round(at, 1), "end": round(at + length, 1), "text": sentence})
                    at += length + 0.2
        self.end = round(at, 1)

    def evidence(self, quote: str) -> dict:
        flat = "".join(segment["text"].lower() + " " for segment in self.segments)
        place, seen = flat.find(quote.lower()), 0
        for segment in self.segments:
            length = len(segment["text"]) + 1
            if place < seen + length or place < 0:
                share = max(0, place - seen) / length
                start = segment["start"] + share * (segment["end"] - segment["start"])
                return {
                    "start": round(start, 1),
                    "end": round(start + len(quote.split()) / WORDS_PER_SECOND, 1),
                    "quote": quote,
                }
            seen += length
        raise AssertionError(quote)


def fact(row: dict, said: Said, keys: tuple[str, ...]) -> dict:
    made = {key: first(row[key]) for key in keys if first(row.get(key)) is not None}
    made["evidence"] = said.evidence(row["quote"])
    return made


def draft(gold: dict, text: str, name: str) -> dict:
    said = Said(text)
    readings = []
    for row in gold["readings"]:
        made = fact(
            row, said, ("quantity", "subject", "role", "value", "low", "high", "unit", "place", "of", "rating", "stage")
        )
        made |= {
            "id": f"r{len(readings) + 1}",
            "qualifiers": row.get("qualifiers") or [],
            "at": made["evidence"]["start"],
        }
        if isinstance(first(row.get("tolerance_pct")), list | int | float):
            made["tolerance_pct"] = row["tolerance_pct"]
        readings.append(made)
    findings = [
        fact(row, said, ("component", "place", "condition", "status")) | {"id": f"f{n}", "text": row["quote"]}
        for n, row in enumerate((one for one in gold["findings"] if not one.get("optional")), 1)
    ]
    actions = [
        fact(row, said, ("action", "component", "place", "status")) | {"id": f"a{n}", "text": row["quote"]}
        for n, row in enumerate(gold["actions"], 1)
    ]
    parts = [
        fact(row, said, ("component", "description", "quantity", "part_number", "serial", "rating", "status"))
        | {"id": f"p{n}"}
        for n, row in enumerate(gold["parts"], 1)
    ]
    equipment = {
        key: {"value": first(value), "evidence": said.evidence("")}
        for key, value in gold["equipment"].items()
        if first(value)
    }
    complaint = gold.get("complaint")
    return {
        "schema": "draft/1",
        "name": name,
        "made_with": {"program": "0.1.0", "speech_model": "whisper base", "hearing": "careful"},
        "recordings": [
            {
                "file": f"{name}.m4a",
                "sha256": "0" * 64,
                "duration_s": said.end,
                "starts_s": 0,
                "ends_s": said.end,
                "grade": 0.86,
            }
        ],
        "transcript": {"segments": said.segments},
        "complaint": {"text": complaint["text"], "evidence": said.evidence(complaint["quote"])} if complaint else None,
        "equipment": equipment,
        "readings": readings,
        "findings": findings,
        "actions": actions,
        "parts": parts,
        "follow_ups": [{"text": row["text"], "evidence": said.evidence(row["quote"])} for row in gold["follow_ups"]],
        "gaps": [{"field": row["field"], "question": row["question"]} for row in gold["gaps"][:7]],
        "unplaced": [
            {"text": row["text"], "reason": row["reason"], "evidence": said.evidence(row["quote"])}
            for row in gold["unplaced"]
        ],
    }


if __name__ == "__main__":
    gold_file, said_file = map(Path, sys.argv[1:3])
    name = gold_file.name.split(".")[0]
    made = draft(json.loads(gold_file.read_text()), said_file.read_text(), name)
    (Path(__file__).parent / f"{name}.json").write_text(json.dumps(made, indent=1, ensure_ascii=False) + "\n")
