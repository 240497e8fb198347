"""``carvegen motifs``: what can be grown, with presets and settings."""

from __future__ import annotations

import json
from typing import Any

import click

from carvegen.interfaces.cli import options

__all__ = ["command"]


@click.command(name="motifs")
@options.as_json
def command(as_json: bool) -> None:
    """List the motifs, their presets and, with --json, every setting with its range.

    A preset is a name for settings that belong together; each setting changes one of them.
    """
    from carvegen.motifs import summaries

    result = {name: _described(name, summary) for name, summary in sorted(summaries().items())}
    if as_json:
        click.echo(json.dumps(result, indent=1))
        return
    for name, entry in result.items():
        click.echo(f"{name}: {entry['about']}")
        click.echo(f"  presets: {', '.join(entry['presets'])}")
        click.echo(f"  settings: {', '.join(setting['option'] for setting in entry['settings'])}")
        click.echo(f"  more: carvegen {name} --help\n")


_LISTED = ("name", "default", "unit", "help", "at_least", "at_most")


def _described(name: str, summary: str) -> dict[str, Any]:
    from dataclasses import asdict

    from carvegen.base.parameters import parameters
    from carvegen.interfaces.cli.options.option_values import option_of
    from carvegen.motifs import motif

    module = motif(name)
    settings = [
        {"option": option_of(setting.name), **{key: value for key, value in asdict(setting).items() if key in _LISTED}}
        for setting in parameters(module.Settings)
    ]
    return {"about": summary, "presets": dict(module.PRESETS), "settings": settings}
