"""Print what makes a shell complete carvegen's commands and options."""

from __future__ import annotations

import click
from click.shell_completion import get_completion_class

__all__ = ["command"]

_SHELLS = ("bash", "zsh", "fish")


@click.command("completion")
@click.argument("shell", type=click.Choice(_SHELLS))
def command(shell: str) -> None:
    """Print what makes a shell complete commands and options when Tab is pressed.

    \b
    bash:  carvegen completion bash >> ~/.bashrc
    zsh:   carvegen completion zsh >> ~/.zshrc
    fish:  carvegen completion fish > ~/.config/fish/completions/carvegen.fish
    """
    root = click.get_current_context().find_root().command
    known = get_completion_class(shell)
    if known is None:
        raise click.UsageError(f"no completion is known for {shell}")
    click.echo(known(root, {}, "carvegen", "_CARVEGEN_COMPLETE").source())
