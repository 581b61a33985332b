"""`acoustic bearings`: list or search the catalogue."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from itertools import zip_longest
from pathlib import Path

import click

from acoustic.bearings.document import BearingsDocument
from acoustic.bearings.grease import grease_amount
from acoustic.bearings.search import CatalogueRow, load_catalogue, nothing_found, search
from acoustic.cli.bearing_options import catalogue_option
from acoustic.structures import encode

_COLUMNS = (("bearing", 11), ("size, mm", 12), ("balls", 15), ("used in", 32), ("ball data", 24))
_WIDTH = 98  # columns: of the table


@click.command()
@click.argument("text", nargs=-1, metavar="[TEXT]")
@catalogue_option
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")
def bearings(text: tuple[str, ...], catalogue: Path | None, as_json: bool) -> None:
    """List the bearing catalogue, or the bearings that match TEXT.

    TEXT is a designation (6805-2RS), a size (25x37x7), or words of shell, its width,
    spindle, part and rows: "press-fit 86.5 mm, 24 mm spindle", "square taper",
    "threaded double row".
    """
    wanted = " ".join(text)
    rows = load_catalogue(catalogue)
    found = search(rows, wanted)
    if not found:
        raise nothing_found(rows, wanted)
    if as_json:
        click.echo(encode(BearingsDocument(schema="acoustic.bearings/1", text=wanted, rows=found)))
        return
    click.echo(_table(found))
    click.echo(f"{len(found)} of {len(rows)} bearings. Full sources: --json.", err=True)


def _balls(row: CatalogueRow) -> str:
    """Say the counts and balls: "16 or 15 x 3.5 mm"."""
    counts: dict[float, list[str]] = {}
    for ball_set in row.ball_sets:
        counts.setdefault(ball_set.ball_diameter_mm, []).append(str(ball_set.balls))
    return ", ".join(f"{' or '.join(some)} x {diameter:g}" for diameter, some in counts.items())


def _uses(row: CatalogueRow) -> str:
    places: dict[str, list[str]] = {}
    for fit in row.fits:
        spindle = "" if fit.spindle_mm is None else f"{fit.spindle_mm:g} mm spindle in "
        places.setdefault(spindle, []).append(fit.place)
    return "; ".join(spindle + ", ".join(some) for spindle, some in places.items())


def _grease(row: CatalogueRow) -> str:
    """What goes into one when it is regreased: by the makers, and where water gets in."""
    if row.bore_mm is None or row.outside_mm is None or row.width_mm is None:
        return ""
    amount = grease_amount(row.bore_mm, row.outside_mm, row.width_mm)
    return f"grease {amount.least_g:.1f} to {amount.most_g:.1f} g, {amount.against_water_g:.1f} g against water"


def _table(rows: Sequence[CatalogueRow]) -> str:
    """Set the rows in columns, with long cells wrapped; of the source only the first clause is shown."""
    blocks = [_lines([heading for heading, _ in _COLUMNS])]
    for row in rows:
        kind = f"{row.kind}, two rows" if row.rows == 2 else row.kind
        use = "; ".join(words for words in (kind, _uses(row), _grease(row)) if words)
        block = _lines([row.designation, row.size, _balls(row), use, row.source.split(";")[0]])
        blocks.append(
            "\n".join([block, *textwrap.wrap(row.note, _WIDTH, initial_indent="  ", subsequent_indent="  ")])
        )
    return "\n\n".join(blocks)


def _lines(cells: Sequence[str]) -> str:
    wrapped = [textwrap.wrap(cell, width) for cell, (_, width) in zip(cells, _COLUMNS, strict=True)]
    lines = []
    for parts in zip_longest(*wrapped, fillvalue=""):
        padded = [part.ljust(width) for part, (_, width) in zip(parts, _COLUMNS, strict=True)]
        lines.append("  ".join(padded).rstrip())
    return "\n".join(lines)
