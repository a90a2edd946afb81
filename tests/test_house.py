"""The house rules, checked by their tools: one command, ``pytest``, then tells everything."""

import subprocess
import sys
from pathlib import Path

import pytest
from packaging.requirements import Requirement

ROOT = Path(__file__).parent.parent
TOP_LEVEL = {
    *("README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE", "pyproject.toml", "requirements.lock"),
    "requirements-dev.lock",
    *("tracker", "migrations", "scanner_client", "tests", "seed_data", ".ci", ".gitignore"),
}
LONGEST_LINE_OF_A_TEMPLATE = 140


@pytest.mark.parametrize(
    "command",
    [
        ["-m", "ruff", "check", "."],
        ["-m", "ruff", "format", "--check", "."],
        ["-m", "mypy"],
        ["-c", "from importlinter.cli import lint_imports_command; lint_imports_command()"],
    ],
    ids=["ruff", "ruff format", "mypy", "import-linter"],
)
def test_the_tools_find_nothing(command: list[str]) -> None:
    done = subprocess.run([sys.executable, *command], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout[-5_000:] + done.stderr[-2_000:]


def test_alembic_finds_the_tables_in_step_with_the_migrations(tmp_path: Path) -> None:
    import os

    environment = {**os.environ, "TRACKER_DATA_DIR": str(tmp_path), "TRACKER_DATABASE_URL": ""}
    for command in (["upgrade", "head"], ["check"]):
        done = subprocess.run(
            [sys.executable, "-m", "alembic", *command],
            cwd=ROOT,
            env=environment,
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, done.stdout + done.stderr


def test_the_trade_loads_no_framework_and_no_database() -> None:
    program = (
        "import sys, tracker.shop.codes, tracker.shop.cutlist, tracker.shop.verdicts, tracker.shop.progress\n"
        "sys.exit(','.join(sorted({'flask', 'sqlalchemy', 'marshmallow', 'PIL', 'alembic'} & set(sys.modules))) or 0)"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=False)
    assert done.returncode == 0, f"importing the trade loaded {done.stderr}"


def test_the_station_program_loads_nothing_of_the_service() -> None:
    program = (
        "import sys, scanner_client.main\n"
        "sys.exit(','.join(sorted({'flask', 'sqlalchemy', 'marshmallow', 'PIL', 'serial'} & set(sys.modules))) or 0)"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=False)
    assert done.returncode == 0, f"importing the station program loaded {done.stderr}"


def test_nothing_else_lies_at_the_top() -> None:
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if listed.returncode:
        pytest.fail("this is not a git checkout: the rule of the top level cannot be checked")
    assert {line.split("/")[0] for line in listed.stdout.splitlines()} <= TOP_LEVEL


def test_package_files_are_empty_so_that_importing_a_part_loads_no_other() -> None:
    for path in (ROOT / "tracker").rglob("__init__.py"):
        assert path.read_text() == "", path


@pytest.mark.parametrize("lock", ["requirements.lock", "requirements-dev.lock"])
def test_a_small_computer_with_an_arm_processor_is_asked_for_no_package_that_must_be_compiled_there(lock: str) -> None:
    arm = {"platform_machine": "aarch64", "sys_platform": "linux", "implementation_name": "cpython"}
    lines = [line for line in (ROOT / lock).read_text().splitlines() if line and line[0] not in " #"]
    wanted = [Requirement(line) for line in lines]
    names = {each.name for each in wanted if each.marker is None or each.marker.evaluate(arm)}
    assert names & {"pysqlite3", "evdev"} == set()
    assert len([each for each in wanted if each.name == "cryptography"]) == 2  # Intel Macs have an older one


def test_a_line_of_a_template_is_read_without_moving_sideways() -> None:
    templates = (ROOT / "tracker/pages").rglob("*.html")
    lines = ((path, line) for path in templates for line in path.read_text().splitlines())
    assert [(path.name, line) for path, line in lines if len(line) > LONGEST_LINE_OF_A_TEMPLATE] == []
