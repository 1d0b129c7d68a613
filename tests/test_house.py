"""The house rules that a machine can check: imports downward, short files, SQL form, documents that agree with the
code."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PACKAGE = ROOT / "pipelines" / "pumpledger"
SQL = sorted((ROOT / "sql").rglob("*.sql"))
LAYERS = [
    "problems",
    "units",
    "engine",
    "workspace",
    "register",
    "intake",
    "proposal",
    "profile",
    "verdicts",
    "hydraulics",
    "accounting",
    "diagnosis",
    "planning",
    "reports",
    "claims",
    "orchestration",
    "scoring",
    "cli_plans_claims",
    "cli",
]
"""Lowest first. engine.lake and workspace belong to one layer, and so do diagnosis and planning."""
_RANK = {name: rank for rank, name in enumerate(LAYERS)} | {
    "workspace": 2,
    "planning": 11,
    "diagnosis": 11,
    "profile": 7,
    "hydraulics": 7,
    "followup": 5,
}


def imported_rooms(path: Path) -> set[str]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    modules = [node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) and node.module]
    return {module.split(".")[1] for module in modules if module.startswith("pumpledger.")}


@pytest.mark.parametrize("path", sorted(PACKAGE.rglob("*.py")), ids=lambda path: str(path.relative_to(PACKAGE)))
def test_imports_run_downward_and_files_are_short(path: Path) -> None:
    room = path.relative_to(PACKAGE).parts[0].removesuffix(".py")
    if room == "simulator":
        assert imported_rooms(path) <= {"simulator"}
    elif room != "__init__":
        above = {other for other in imported_rooms(path) if other == "simulator" or _RANK[other] > _RANK[room]}
        assert not above - ({"simulator"} if room == "cli" else set())
    text = path.read_text(encoding="utf-8")
    assert text.count("\n") <= 400
    assert not text or text.startswith('"""'), "a module opens with what belongs in it"


@pytest.mark.parametrize("path", SQL, ids=lambda path: str(path.relative_to(ROOT / "sql")))
def test_a_query_is_one_select_with_a_header(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    header = re.match(r"(--.*\n)+", text)
    assert header and re.search(r"(?i)grain", header[0]) and re.search(r"(?i)inputs", header[0])
    assert re.match(r"select \* from \w+( order by .+)?$", text.rstrip().splitlines()[-1])
    assert ";" not in re.sub(r"--.*|'[^']*'", "", text)


def test_the_readme_holds_the_fields_as_the_command_prints_them() -> None:
    printed = subprocess.run(
        [str(Path(sys.executable).with_name("pumpledger")), "fields"], capture_output=True, text=True, check=True
    ).stdout
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert printed in readme


def test_the_readmes_commands_are_those_that_ci_calls() -> None:
    readme, script = (
        (ROOT / "README.md").read_text(encoding="utf-8"),
        (ROOT / ".ci" / "run").read_text(encoding="utf-8"),
    )
    commands = re.search(r"```sh\n(.*?)\n(.*?)\n```", readme)
    assert commands
    assert commands[2] in script
    assert commands[1].replace(" install ", " install -q ") in script or commands[1] in script


def test_the_readmes_own_dialect_holds(tmp_path: Path) -> None:
    from pumpledger.intake.dialect_file import read_dialect

    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    block = next(text for text in re.findall(r"```toml\n(.*?)```", readme, re.S) if "[quantity]" in text)
    problems: list = []
    for name, text in (("as_it_stands", block), ("all_lines", re.sub(r"(?m)^# (?!energy =)(\w+ = \{)", r"\1", block))):
        path = tmp_path / f"{name}.toml"
        path.write_text(text, encoding="utf-8")
        assert read_dialect(path, path.name, problems) is not None, problems
    assert not problems
