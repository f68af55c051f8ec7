"""Every command explains itself: a help text with an example that names the command."""

from collections.abc import Iterator

import click
import pytest

from logger.cli.main import COMMANDS, throwbook


def commands(group: click.Group, before: tuple[str, ...] = ()) -> Iterator[tuple[str, click.Command]]:
    ctx = click.Context(group)
    for name in group.list_commands(ctx):
        command = group.get_command(ctx, name)
        assert command is not None
        if isinstance(command, click.Group):
            yield from commands(command, (*before, name))
        else:
            yield " ".join((*before, name)), command


ALL = dict(commands(throwbook))


@pytest.mark.parametrize("name", ALL)
def test_the_help_of_every_command_has_an_example_of_it(name: str):
    text = f"{ALL[name].help} {ALL[name].epilog}"
    assert "Example" in text
    assert f"throwbook {name}" in " ".join(text.split())


@pytest.mark.parametrize("name", ALL)
def test_every_option_of_every_command_is_explained(name: str):
    silent = [one.name for one in ALL[name].params if isinstance(one, click.Option) and not one.help]
    assert silent == []


def test_every_line_of_the_list_of_commands_is_a_sentence():
    for _, _, line in COMMANDS.values():
        assert line.endswith(".")
