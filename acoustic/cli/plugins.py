"""`acoustic plugins`: what is installed, from where, and what is broken."""

from __future__ import annotations

import sys

import click

from acoustic.errors import EXIT_PLUGIN_FAILED
from acoustic.plugin.document import plugins_document
from acoustic.plugin.entry import PluginRecord, installed
from acoustic.structures import encode


@click.command(short_help="Show the installed plugins and which are broken.")
@click.option("--check", is_flag=True, help="Load every plugin; show its hooks, or why it is set aside.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")
def plugins(check: bool, as_json: bool) -> None:
    """List the installed plugins; with --check, load them and exit with 3 if one is broken."""
    records = _loaded() if check else tuple(installed())
    if as_json:
        click.echo(encode(plugins_document(records, loaded=check)))
    else:
        width = max((len(r.name) for r in records), default=4)
        for r in records:
            state = f"BROKEN  {r.broken}" if r.broken else ", ".join(h.removeprefix("acoustic_") for h in r.hooks)
            click.echo(f"{r.name:<{width}}  {r.version:<8} {r.distribution:<16} {state or r.module}".rstrip())
    broken = [r for r in records if r.broken]
    for r in broken:
        click.echo(
            f"acoustic: plugin {r.name} is set aside, and every check is undecided while it is installed.\n"
            f"  Update it, or remove it with: pip uninstall {r.distribution or r.module}",
            err=True,
        )
    sys.exit(EXIT_PLUGIN_FAILED if broken else 0)


def _loaded() -> tuple[PluginRecord, ...]:
    from acoustic.plugin.registry import load_plugins  # brings numpy

    return load_plugins().records
