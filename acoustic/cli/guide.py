"""`acoustic guide`: the user's guide, topic by topic."""

from __future__ import annotations

import click

from acoustic.errors import InputError


@click.command(short_help="Show the user's guide, topic by topic.")
@click.argument("topic", required=False)
def guide(topic: str | None) -> None:
    """Print one TOPIC of the user's guide; without TOPIC, list the topics.

    The topic to start with is at the top of the list.
    """
    from acoustic.guide import topics

    known = topics()
    if topic is None:
        width = max(len(one.name) for one in known)
        click.echo("\n".join(f"{one.name:<{width}}  {one.title}" for one in known))
        click.echo(f"\nRead a topic with: acoustic guide TOPIC. Start with: acoustic guide {known[0].name}")
        return
    texts = {one.name: one.text for one in known}
    if topic.lower() not in texts:
        raise _unknown(topic, list(texts))
    click.echo(texts[topic.lower()].rstrip())


def _unknown(topic: str, names: list[str]) -> InputError:
    from difflib import get_close_matches

    near = get_close_matches(topic.lower(), names, n=3, cutoff=0.6)
    hint = f"The nearest names: {', '.join(near)}. " if near else ""
    return InputError(
        f"the guide has no topic {topic!r}; one of its own topics is needed",
        hint=f"{hint}List all topics with: acoustic guide",
    )
