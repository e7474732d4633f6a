"""The documentation says what the program has: parts that are made from it are compared, the rest is looked up.

With ACCEPT=1 the made parts are written anew.
"""

from __future__ import annotations

import ast
import os
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from typer.main import get_command

ROOT = Path(__file__).parents[1]
README = ROOT / "README.md"
DEVELOPERS = ROOT / "DEVELOPERS.md"
ERRORS = {"InputError": 2, "SetupError": 3, "AuthoringError": 4, "StoreError": 5}


def commands() -> str:
    """Every command with the first line of its help."""
    from pipeline.cli import app

    lines = ["| command | what it does |", "|---|---|"]
    for name, command in sorted(get_command(app).commands.items()):  # type: ignore[attr-defined]
        wanted = [
            f"[{parameter.metavar or parameter.name.upper()}]" if not parameter.required
            else (parameter.metavar or parameter.name.upper())
            for parameter in command.params
            if parameter.param_type_name == "argument"
        ]  # fmt: skip
        call = " ".join(["jobtape", name, *wanted])
        lines.append(f"| `{call}` | {command.help.strip().splitlines()[0]} |")
    return "\n".join(lines)


def settings() -> str:
    """Every setting with its variable and default."""
    from pipeline.settings import SETTINGS

    lines = ["| variable | default | what it sets |", "|---|---|---|"]
    lines += [f"| `{row.variable}` | {row.default} | {row.help} |" for row in SETTINGS]
    return "\n".join(lines)


def errors() -> str:
    """Every code of an error that a user can meet, with the exit status of its kind."""
    found: dict[str, tuple[str, set[str]]] = {}
    for path in sorted([*(ROOT / "pipeline").rglob("*.py"), *(ROOT / "extractors").rglob("*.py")]):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in ERRORS):
                continue
            if node.args and isinstance(node.args[0], ast.Constant):
                module = path.relative_to(ROOT).with_suffix("").as_posix()
                found.setdefault(str(node.args[0].value), (node.func.id, set()))[1].add(module)
    lines = ["| code | kind | exit status | raised in |", "|---|---|---|---|"]
    for code, (kind, modules) in sorted(found.items()):
        lines.append(f"| `{code}` | {kind} | {ERRORS[kind]} | {', '.join(sorted(modules))} |")
    return "\n".join(lines)


def rules() -> str:
    """Every rule with what it compares and where its limits come from."""
    from pipeline.checks.limits import all_limits

    lines = ["| rule | compares | sources |", "|---|---|---|"]
    for name, limits in all_limits().items():
        sources = dict.fromkeys(limit.source.title for limit in limits.limits.values())
        lines.append(f"| `{name}` | {limits.title} | {'; '.join(sources)} |")
    return "\n".join(lines)


def extractors() -> str:
    """Every extractor with what it gives."""
    from extractors.registry import discover

    lines = ["| extractor | gives |", "|---|---|"]
    lines += [f"| `{one.name}` | {one.gives} |" for one in discover()]
    return "\n".join(lines)


def needs() -> str:
    """Which figures each rule needs."""
    from pipeline.checks.needs import needs_table

    return needs_table()


MADE: list[tuple[Path, str, Callable[[], str]]] = [
    (README, "commands", commands),
    (README, "settings", settings),
    (DEVELOPERS, "errors", errors),
    (DEVELOPERS, "rules", rules),
    (DEVELOPERS, "extractors", extractors),
    (DEVELOPERS, "needs", needs),
]


@pytest.mark.parametrize(("file", "name", "make"), MADE, ids=[name for _, name, _ in MADE])
def test_made_parts_are_fresh(file: Path, name: str, make: Callable[[], str]) -> None:
    text = file.read_text(encoding="utf-8")
    part = re.compile(rf"(<!-- {name}: made by tests/test_docs.py -->\n).*?(<!-- end -->)", re.S)
    assert part.search(text), f"{file.name} has no part for {name}"
    fresh = part.sub(lambda found: f"{found[1]}{make()}\n{found[2]}", text)
    if os.environ.get("ACCEPT"):
        file.write_text(fresh, encoding="utf-8")

    assert fresh == file.read_text(encoding="utf-8")


def test_the_readme_begins_with_the_job_and_two_commands_of_one_line() -> None:
    text = README.read_text(encoding="utf-8")
    blocks = re.findall(r"^```(\w*)\n(.*?)^```", text, re.S | re.M)

    assert [kind for kind, _ in blocks[:2]] == ["sh", "sh"]
    assert [len(body.splitlines()) for _, body in blocks[:2]] == [1, 1]
    assert text.splitlines()[2].startswith("A commercial-refrigeration")


def test_every_variable_that_the_program_reads_is_a_setting() -> None:
    from pipeline.settings import SETTINGS

    read = {
        name
        for path in (ROOT / "pipeline").rglob("*.py")
        for name in re.findall(r"JOBTAPE_[A-Z_]+", path.read_text(encoding="utf-8"))
    }

    assert read == {row.variable for row in SETTINGS}


@pytest.mark.parametrize("file", [README, DEVELOPERS], ids=lambda file: file.name)
def test_files_that_the_documentation_names_are_there(file: Path) -> None:
    named = re.findall(
        r"`((?:extractors|pipeline|templates|tests|samples)/[\w/.-]+)`|\]\((samples/[\w/.-]+)\)",
        file.read_text(encoding="utf-8"),
    )
    missing = [path for pair in named if (path := pair[0] or pair[1]) and not (ROOT / path).exists()]

    assert named
    assert missing == []


def test_the_constraints_pin_what_is_asked_for_and_name_no_address() -> None:
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [*project["dependencies"], *(one for extra in project["optional-dependencies"].values() for one in extra)]
    lines = (ROOT / "constraints.txt").read_text(encoding="utf-8").splitlines()[1:]
    pinned = {plain(line.split("==")[0]) for line in lines}

    assert [line for line in lines if not re.fullmatch(r"[\w.-]+==[\w.+!]+", line)] == []
    assert {plain(re.split(r"[\[<>=~! ]", one)[0]) for one in wanted} - pinned - {"jobtape"} == set()


def plain(name: str) -> str:
    """A package's name as indexes compare it (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()
