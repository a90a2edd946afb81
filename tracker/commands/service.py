"""Commands that make a shop ready and run it: init, serve, tls, demo."""

import logging
import os
import sys
from dataclasses import asdict, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click
from click import echo

from tracker.commands.command import FOLDER, json_option, main, own_settings, put, shop_database
from tracker.settings import Settings


@main.command()
@json_option
def init(as_json: bool) -> None:
    """Make or upgrade the database; safe to repeat.

    Example: tracker init
    """
    from tracker.records.migrate import expected_revision, upgrade

    database = shop_database()
    upgrade(database)
    where, version = database.url.render_as_string(), expected_revision()
    sentence = f"The database is ready at version {version}: {where}"
    put({"database": where, "version": version}, sentence, as_json=as_json)


@main.command()
@click.option("--host", default="127.0.0.1", show_default=True, help="The address to listen on.")
@click.option("--port", default=8000, show_default=True, type=click.IntRange(0, 65535), help="The port to listen on.")
@click.option("--certificate", type=click.Path(path_type=Path), help="Serve HTTPS with this, a PEM file.")
@click.option("--key", type=click.Path(path_type=Path), help="The certificate's key, a PEM file.")
def serve(host: str, port: int, certificate: Path | None, key: Path | None) -> None:
    """Run the service until SIGTERM or Ctrl-C; what was accepted is finished first.

    With a certificate and its key (from `tracker tls`, or of your own) it speaks HTTPS, and takes a renewed one while
    it runs.

    Example: tracker serve --host 0.0.0.0 --port 8000
    """
    from tracker.app import create_app
    from tracker.https import certificate_of
    from tracker.pages.frame.trust import PLAIN_PATHS
    from tracker.records.migrate import upgrade
    from tracker.server import Server

    database, settings = shop_database(), own_settings()
    _log_to_stderr(settings)
    settings = replace(
        settings, certificate=certificate or settings.certificate, certificate_key=key or settings.certificate_key
    )
    tls = certificate_of(settings.certificate, settings.certificate_key)
    upgrade(database)
    app = create_app(settings, database)
    server = Server(
        app,
        host=host,
        port=port,
        trusted_proxy=settings.trusted_proxy,
        certificate=tls,
        plain_paths=PLAIN_PATHS,
    )
    echo(f"Serving on {server.address} (stop with Ctrl-C)", err=True)
    server.run_until_signalled()
    app.extensions["shop_prints"].close()


def _log_to_stderr(settings: Settings) -> None:
    from tracker.server import JsonLines, TextLines

    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(JsonLines() if settings.log_format == "json" else TextLines())
    logging.basicConfig(level=settings.log_level.upper(), handlers=[handler], force=True)


@main.command()
@click.argument("names", nargs=-1, metavar="NAME…")
@click.option("--out", type=FOLDER, help="The certificate's folder, if not the data's own.")
@click.option("--new-authority", is_flag=True, help="Make a new authority, which each tablet must then trust anew.")
@json_option
def tls(names: tuple[str, ...], out: Path | None, new_authority: bool, as_json: bool) -> None:
    """Make a certificate for the names and addresses of this service, under an authority of the shop's own.

    Run again without names it renews the certificate for the same ones; a running service takes it by itself.

    Example: tracker tls shop-server 192.168.1.20
    """
    from tracker.work.authority import tls_folder
    from tracker.work.certificates import make_certificate

    folder = tls_folder(own_settings().data_dir)
    made = make_certificate(folder, names, now=datetime.now(UTC), out=out, new_authority=new_authority)
    put(asdict(made), "\n".join(_tls_sentences(made)), as_json=as_json)


def _tls_sentences(made: Any) -> list[str]:
    host = f"[{made.names[0]}]" if ":" in made.names[0] else made.names[0]
    authority = "A new authority was made" if made.authority_is_new else "The authority is the one of before"
    return [
        f"The certificate for {', '.join(made.names)} is made. It is good until {made.ends.date()}.",
        f"{authority}: {made.authority}. Its fingerprint (SHA-256), to compare on each tablet:",
        f"  {made.fingerprint}",
        "Now:",
        "  1. Serve with it. A service that has it already takes the renewed one by itself.",
        f'     tracker serve --host 0.0.0.0 --port 8443 --certificate "{made.certificate}" --key "{made.key}"',
        f"  2. On each tablet open https://{host}:8443/trust once and follow it; a tablet that trusts is done.",
        "  3. Before it ends, or each month by a timer, run `tracker tls` again.",
        "Keep the keys to yourself: who has the authority's can pretend to be this service.",
    ]


@main.command()
@click.option("--port", default=8000, show_default=True, type=click.IntRange(0, 65535), help="The port to listen on.")
@click.option("--once", is_flag=True, help="Run the main job from cut list to shipped load without a server, and stop.")
def demo(port: int, once: bool) -> None:
    """Show an invented shop with a day's work in it, in a new folder, or in TRACKER_DATA_DIR if that is empty.

    Example: tracker demo --once
    """
    from tracker.demo.day import run_day
    from tracker.demo.story import run_once

    folder = os.environ.get("TRACKER_DATA_DIR")
    if once:
        run_once(echo, folder)
    else:
        run_day(port, echo, folder)
