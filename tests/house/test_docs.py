"""The documents name every command, field and stage there is."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from diewright import cli
from diewright.job import document

ROOT = Path(__file__).resolve().parents[2]


def test_every_field_is_documented() -> None:
    assert (ROOT / "docs" / "job-file.md").read_text(encoding="utf-8") == document.page(), (
        "run: python -m diewright.job.document > docs/job-file.md"
    )


def test_every_command_is_documented() -> None:
    text = (ROOT / "docs" / "cli.md").read_text(encoding="utf-8")
    commands = [c.name or c.callback.__name__ for c in cli.app.registered_commands if c.callback]
    assert len(commands) >= 15
    assert [c for c in commands if f"`diewright {c}" not in text] == []


def test_every_exit_code_is_documented() -> None:
    text = (ROOT / "docs" / "cli.md").read_text(encoding="utf-8")
    assert {int(c) for c in re.findall(r"^\| (\d+) \|", text, re.M)} == {0, 1, 70, *cli.EXIT_CODES.values()}


def test_the_readme_has_two_commands_first() -> None:
    commands = re.findall(r"^    (.+)$", (ROOT / "README.md").read_text(encoding="utf-8"), re.M)
    assert commands[:2] == ["python3 desk.py demo", "python3 desk.py test"]
    assert (ROOT / ".ci" / "run").read_text().rstrip().endswith(commands[1])


@pytest.mark.parametrize(
    "page", [*sorted((ROOT / "docs").rglob("*.md")), ROOT / "README.md", ROOT / "CONTRIBUTING.md"], ids=lambda p: p.name
)
def test_links_lead_somewhere(page: Path) -> None:
    for target in re.findall(r"\]\(([^)#]+)\)", page.read_text(encoding="utf-8")):
        if "://" not in target:
            assert (page.parent / target).exists(), f"{page.name} -> {target}"
