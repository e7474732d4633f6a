"""The table of DEVELOPERS.md against OWASP ASVS 5.0: all of level 1 is there, and every test it names exists."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).parents[1]

# OWASP Application Security Verification Standard, release 5.0.0: the numbers of all requirements of level 1.
SAID = """
1.2.1 1.2.2 1.2.3 1.2.4 1.2.5 1.3.1 1.3.2 1.5.1 2.1.1 2.2.1 2.2.2 2.3.1 3.2.1 3.2.2 3.3.1 3.4.1 3.4.2 3.5.1 3.5.2 3.5.3
4.1.1 4.4.1 5.2.1 5.2.2 5.3.1 5.3.2 6.1.1 6.2.1 6.2.2 6.2.3 6.2.4 6.2.5 6.2.6 6.2.7 6.2.8 6.3.1 6.3.2 6.4.1 6.4.2 7.2.1
7.2.2 7.2.3 7.2.4 7.4.1 7.4.2 8.1.1 8.2.1 8.2.2 8.3.1 9.1.1 9.1.2 9.1.3 9.2.1 10.4.1 10.4.2 10.4.3 10.4.4 10.4.5 11.3.1
11.3.2 11.4.1 12.1.1 12.2.1 12.2.2 13.4.1 14.2.1 14.3.1 15.1.1 15.2.1 15.3.1
"""
LEVEL_1 = tuple(SAID.split())


def table() -> list[list[str]]:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split("### OWASP ASVS", 1)[1].split("\n## ", 1)[0]
    rows = [line.strip("| ").split(" | ") for line in text.splitlines() if line.startswith("| ")]
    assert rows[0] == ["requirement", "how", "test"]
    return rows[1:]


def numbers(said: str) -> set[str]:
    """The requirements that a cell names; of "7.2.1 to 7.2.4" those between as well."""
    found = set(re.findall(r"\d+\.\d+\.\d+", said))
    for first, last in re.findall(r"(\d+\.\d+\.\d+) to (\d+\.\d+\.\d+)", said):
        begun = LEVEL_1.index(first)
        found |= set(LEVEL_1[begun : LEVEL_1.index(last) + 1])
    return found


def test_every_requirement_of_level_1_has_a_row() -> None:
    named = [number for row in table() if not row[0].startswith("level") for number in numbers(row[0])]
    assert sorted(named) == sorted(LEVEL_1)


def test_every_row_says_how_and_its_tests_exist() -> None:
    missing = []
    for row in table():
        assert len(row) == 3
        assert row[1]
        if row[2] in ("none", "none needed"):
            continue
        file = ""
        for part in re.sub(r"\([^)]*\)", "", row[2]).split(","):
            name, _, word = part.strip().rpartition(": ")
            if name or (ROOT / "tests" / f"test_{word}.py").is_file():
                file, word = (name, word) if name else (word, "")
            text = (ROOT / "tests" / f"test_{file}.py").read_text(encoding="utf-8")
            if not re.search(rf"^def test_\w*{word}", text, re.MULTILINE):
                missing.append((file, word))
    assert missing == []
