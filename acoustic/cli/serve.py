"""`acoustic serve`: the counter page."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from acoustic.cli.book_options import book_option
from acoustic.errors import InputError

if TYPE_CHECKING:
    from acoustic.serve.running import Certificate
    from acoustic.serve.shop import Shop

PORT = 8321  # any that is seldom taken
FOLDER = click.Path(path_type=Path, file_okay=False)


@click.command(short_help="Serve the counter page to phones and laptops in the workshop.")
@click.option("--share", is_flag=True, help="Also answer other devices in the workshop's network.")
@click.option(
    "--tls",
    metavar="auto|CERT,KEY",
    help="Encrypt: with a certificate that is made and kept for this machine, or with the shop's own (two PEM "
    "files). Phones let a page use microphone and motion sensors only so.",
)
@click.option("--port", type=click.IntRange(1, 65535), default=PORT, show_default=True, help="Where to listen.")
@click.option(
    "--folder",
    type=FOLDER,
    help="Where devices and uploads are kept. [default: beside the book, or in your own data folder]",
)
@click.option("--demo", is_flag=True, help="Serve the invented workshop's book, which is thrown away at the end.")
@click.option("--no-browser", is_flag=True, help="Do not open a browser here.")
@book_option
def serve(
    share: bool, tls: str | None, port: int, folder: Path | None, demo: bool, no_browser: bool, book: str | None
) -> None:
    """Serve the counter page: film a spin with a phone, read the grade on it.

    The address is printed with a code for the first device; it is good once, for ten minutes.
    Only this computer is answered, unless --share is given. Ctrl-C ends it; what was sent is
    kept and judged at the next start.
    """
    from acoustic.serve.running import ended_calmly

    with ended_calmly():
        if demo:
            _serve_demo(share=share, tls=tls, port=port, no_browser=no_browser)
        else:
            _serve(book, folder or _folder(book), share=share, tls=tls, port=port, no_browser=no_browser)


def _serve_demo(*, share: bool, tls: str | None, port: int, no_browser: bool) -> None:
    import tempfile

    from acoustic.book.invented import write_year
    from acoustic.book.opening import open_book
    from acoustic.cli.progress import Progress
    from acoustic.plugin.registry import load_plugins

    with tempfile.TemporaryDirectory(prefix="acoustic-demo-") as name:
        path = Path(name) / "demo.db"
        book = open_book(str(path))
        try:
            write_year(book, load_plugins(), Progress(quiet=False))
        finally:
            book.close()
        _serve(str(path), Path(name) / "counter", share=share, tls=tls, port=port, no_browser=no_browser)


def _serve(book: str | None, folder: Path, *, share: bool, tls: str | None, port: int, no_browser: bool) -> None:
    from acoustic.serve.app import create_app
    from acoustic.serve.running import listen, own_names, run
    from acoustic.serve.settings import Settings
    from acoustic.serve.shop import open_shop

    names = own_names(shared=share)
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    files = _certificate(tls, folder, names)
    settings = Settings(
        book=book,
        folder=folder,
        names=names,
        port=port,
        secure=files is not None,
        workers=max(1, os.cpu_count() or 1),
    )
    with listen("0.0.0.0" if share else "127.0.0.1", port) as opened:
        shop = open_shop(settings)
        try:
            run(
                create_app(shop),
                opened=opened,
                tls=files,
                started=lambda: _tell(shop, share=share, browser=not no_browser),
                stopping=shop.changes.end,
            )
        finally:
            shop.close()
    click.echo("The counter page has ended.", err=True)


def _tell(shop: Shop, *, share: bool, browser: bool) -> None:
    """Print addresses with a code each, as a QR where phones may scan it, and open the page here."""
    import segno

    own, others = shop.settings.own_address, shop.settings.shared_addresses
    here = f"{own}/pair#{shop.pairing.new_code()}"
    click.echo(f"The counter page on this computer: {here}")
    if share and others:
        there = f"{others[0]}/pair#{shop.pairing.new_code()}"
        click.echo(f"On a phone in the same network:    {there}")
        if sys.stdout.isatty():
            segno.make(there, error="l").terminal(compact=True)
    elif share:
        click.echo("This computer is in no network, so no phone can reach it now.", err=True)
    click.echo(f"Each code is good once, for ten minutes. Help: {own}/help. Ctrl-C ends the page.", err=True)
    if browser:
        click.launch(here)


def _certificate(tls: str | None, folder: Path, names: tuple[str, ...]) -> Certificate | None:
    from acoustic.serve.running import Certificate, certificate, require_usable

    if tls is None:
        return None
    if tls == "auto":
        return certificate(folder, names)
    cert, comma, key = tls.partition(",")
    files = Certificate(Path(cert), Path(key))
    if not comma or not files.cert.is_file() or not files.key.is_file():
        raise InputError(
            f"--tls is {tls}",
            hint="Write auto, or the certificate's and the key's file with a comma between them.",
        )
    require_usable(files)
    return files


def _folder(book: str | None) -> Path:
    """Beside the book where it is a file, else in the user's data folder."""
    from platformdirs import user_data_path

    said = book or os.environ.get("ACOUSTIC_BOOK")
    if said is None or "://" in said:
        return user_data_path("acoustic-crank", appauthor=False) / "counter"
    path = Path(said).expanduser()
    return path.with_name(f"{path.stem}.counter")
