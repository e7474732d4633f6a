"""The wheel, as it would be installed: it brings trade data, templates and the sample along, and runs."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel of this checkout."""
    out = tmp_path_factory.mktemp("wheel")
    command = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(out)]
    subprocess.run(command, cwd=ROOT, check=True, capture_output=True)
    return next(out.glob("*.whl"))


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel's files where nothing of the checkout is near; a wheel without scripts is installed by unpacking."""
    folder = tmp_path_factory.mktemp("installed")
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(folder)
    return folder


def python(installed: Path, *arguments: object) -> subprocess.CompletedProcess[str]:
    environ = {**os.environ, "PYTHONPATH": str(installed)}
    command = [sys.executable, "-P", *map(str, arguments)]
    return subprocess.run(command, cwd=installed, env=environ, capture_output=True, text=True, check=False)


def test_every_data_file_is_in_the_wheel(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        inside = set(archive.namelist())
    homes = {"extractors": "extractors", "pipeline": "pipeline", "templates": "pipeline/_templates"}
    homes["samples"] = "pipeline/_samples"
    wanted = {
        f"{home}/{path.relative_to(ROOT / folder).as_posix()}"
        for folder, home in homes.items()
        for path in (ROOT / folder).rglob("*")
        if path.is_file() and "__pycache__" not in path.parts and not path.name.startswith(".")
    }

    assert wanted - inside == set()


def test_the_installed_program_drafts_the_sample_it_brought(installed: Path, tmp_path: Path) -> None:
    sample = installed / "pipeline" / "_samples" / "day" / "school-prep-table.txt"
    run = "import pipeline.cli; print(pipeline.cli.__file__); pipeline.cli.main()"
    done = python(installed, "-c", run, "draft", sample, "--out", tmp_path)

    assert done.stderr == ""
    assert Path(done.stdout.splitlines()[0]).is_relative_to(installed)
    assert (tmp_path / "school-prep-table" / "report.pdf").stat().st_size > 1000


def test_the_wheel_names_its_command_and_licence(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        info = next(name for name in archive.namelist() if name.endswith("entry_points.txt"))
        commands = archive.read(info).decode()
        licences = [name for name in archive.namelist() if "licenses/" in name]

    assert "jobtape = pipeline.cli:main" in commands
    assert [Path(name).name for name in licences] == ["LICENSE"]
