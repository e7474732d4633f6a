"""Writes coverage.txt: the characters that the fonts beside it can print. Needs fonttools; run after a font changes."""

from pathlib import Path

from fontTools.ttLib import TTFont

FOLDER = Path(__file__).parent


def ranges(points: list[int]) -> list[str]:
    """Sorted code points as hexadecimal ranges, `41-5a`."""
    found: list[list[int]] = []
    for point in points:
        if found and point == found[-1][1] + 1:
            found[-1][1] = point
        else:
            found.append([point, point])
    return [f"{low:x}-{high:x}" for low, high in found]


def main() -> None:
    """Reads every font and writes the union of their characters."""
    points = sorted({point for path in FOLDER.glob("*.ttf") for point in TTFont(path).getBestCmap()})
    (FOLDER / "coverage.txt").write_text("\n".join(ranges(points)) + "\n", encoding="ascii")


if __name__ == "__main__":
    main()
