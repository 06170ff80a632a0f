"""Whatever can be asked of the program is written down: commands, options, codes, variables."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator

import click
import pytest

from photocheck.cli import exits
from photocheck.cli.main import commands
from photocheck.words import EXIT_CODES
from tests.support.places import APP, ROOT

WORKSHOP = (APP / "help" / "workshop.md").read_text(encoding="utf-8")
README = (ROOT / "README.md").read_text(encoding="utf-8")
PAGES = [
    ROOT / "README.md",
    ROOT / "DEVELOPERS.md",
    ROOT / "photocheck" / "benchmark" / "FIGURES.md",
    ROOT / "sample_images_demo" / "README.md",
    *sorted((APP / "help").glob("*.md")),
]

EVERYWHERE = {"--help", "-h", "--out"}
"""`--out` is the long name of `-o`, which is written down."""


def all_commands() -> Iterator[tuple[str, click.Command]]:
    def within(group: click.Group, path: str) -> Iterator[tuple[str, click.Command]]:
        context = click.Context(group)
        for name in group.list_commands(context):
            command = group.get_command(context, name)
            assert command is not None
            if isinstance(command, click.Group):
                yield from within(command, f"{path}{name} ")
            else:
                yield f"{path}{name}", command

    yield from within(commands, "")


COMMANDS = dict(all_commands())


@pytest.mark.parametrize("name", COMMANDS)
def test_a_command_and_its_options_are_written_down(name: str) -> None:
    last = name.split()[-1]
    assert re.search(rf"`(?:{re.escape(name)}|{re.escape(last)})\b", WORKSHOP), name
    for option in COMMANDS[name].params:
        if isinstance(option, click.Option):
            said = {opt for opt in option.opts if f"`{opt}`" in WORKSHOP or f"`{opt} " in WORKSHOP}
            assert said or set(option.opts) <= EVERYWHERE, option.opts


def test_options_of_all_commands_are_written_down() -> None:
    for option in commands.params:
        assert any(f"`{opt}`" in WORKSHOP for opt in option.opts) or option.opts[0] in EVERYWHERE


def test_no_option_is_written_down_that_is_not_there() -> None:
    there = {
        opt
        for command in (*COMMANDS.values(), commands)
        for option in command.params
        for opt in (*option.opts, *option.secondary_opts)
    }
    written = set(re.findall(r"(?<![\w-])--[a-z][a-z0-9-]+", WORKSHOP))
    assert written <= there | {"--help"}


def test_every_exit_code_is_written_down() -> None:
    codes = {*EXIT_CODES.values(), exits.FAILED, exits.NOT_WANTED, exits.PARTLY}
    codes |= {exits.INTERRUPTED}
    written = {int(code) for code in re.findall(r"^\| (\d+) \|", WORKSHOP, re.MULTILINE)}
    assert written == codes


def variables() -> set[str]:
    """Every environment variable of ours that the code names."""
    found = set()
    for folder in ("photocheck", "app"):
        for path in (ROOT / folder).rglob("*.py"):
            source = path.read_text(encoding="utf-8")
            # most name none, and are not read by their syntax
            for node in ast.walk(ast.parse(source)) if "PHOTOCHECK_" in source else ():
                if isinstance(node, ast.Constant) and isinstance(node.value, str):
                    found |= set(re.findall(r"\bPHOTOCHECK_[A-Z_]+\b", node.value))
    return found


def test_every_environment_variable_is_written_down() -> None:
    written = set(re.findall(r"\bPHOTOCHECK_[A-Z_]+\b", WORKSHOP))
    assert written == variables()
    assert len(written) > 5


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_links_lead_to_files_that_are_there(page) -> None:
    text = page.read_text(encoding="utf-8")
    links = re.findall(r"\]\(([^)#]+)[^)]*\)|src=\"([^\"]+)\"", text)
    for link in filter(None, (one or other for one, other in links)):
        if not link.startswith(("http:", "https:")):
            assert (page.parent / link).exists(), link


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_files_and_modules_that_are_named_are_there(page) -> None:
    text = page.read_text(encoding="utf-8")
    for path in re.findall(r"`((?:photocheck|app|tests|\.ci)/[\w./-]*\w)/?`", text):
        assert (ROOT / path).exists(), path
    for module in re.findall(r"python -m ((?:photocheck|tests)[\w.]*)", text):
        place = ROOT.joinpath(*module.split("."))
        assert place.with_suffix(".py").exists() or (place / "__main__.py").exists(), module


def test_the_readme_is_for_a_newcomer() -> None:
    assert len(README.splitlines()) <= 200
