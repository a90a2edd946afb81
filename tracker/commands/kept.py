"""Commands for what is kept: verify, backup, restore."""

from dataclasses import asdict
from pathlib import Path

import click
from click import echo

from tracker.commands.command import json_option, main, not_written, own_settings, put, shop_database
from tracker.shop.saying import say_many


@main.command()
@json_option
def verify(as_json: bool) -> None:
    """Check the database's file, work every state out anew from the log and compare; exit 1 if anything is wrong.

    With --json each finding is a line, and the last line says how many there are and whether all was looked at: in a
    damaged file the log is not compared.

    Rows of the log whose times cannot be are named, too; they are no difference.

    Example: tracker verify
    """
    from tracker.shop.failures import RESTORE_A_BACKUP
    from tracker.work.verify import Damage, impossible_rows
    from tracker.work.verify import verify as findings

    found, whole, damaged = 0, False, False
    try:
        database = shop_database()
        for finding in findings(database):
            found += 1
            damaged = isinstance(finding, Damage)
            put(asdict(finding), finding.sentence, as_json=as_json)
        for row in [] if damaged else impossible_rows(database):
            kept = {"what": f"row {row.seq} of the log", "at": row.at, "received_at": row.received_at}
            told = (
                f"Row {row.seq} of the log, from {row.who}: its time cannot be. It was received at {row.received_at}."
            )
            put(kept if row.said_at is None else {**kept, "said_at": row.said_at}, told, as_json=as_json)
        whole = not damaged
    finally:
        if as_json:
            put({"findings": found, "whole": whole}, "", as_json=True)
    if damaged:
        raise click.ClickException(f"The database is damaged; the log was not compared. {RESTORE_A_BACKUP}")
    if found:
        count = say_many("%(num)d finding", "%(num)d findings", found)
        raise click.ClickException(f"{count}: the database is not as it should be.")
    echo("The database is whole, and the kept state is what the log says.", err=True)


@main.command()
@click.argument("file", type=click.Path(path_type=Path))
@json_option
def backup(file: Path, as_json: bool) -> None:
    """Write a consistent, checked copy of the database to a new file while the service runs.

    The key that signs sessions and the links on sheets is in it: keep it as a secret.

    Example: tracker backup shop-2027-03-05.db
    """
    from tracker.records.copies import copy_to

    if str(file) == "-":
        raise click.UsageError("Name a file: a copy is checked after it is written, and is a secret.")
    database = shop_database()
    try:
        copy_to(database, file, secret_key=own_settings().secret_key)
    except OSError as error:
        raise click.ClickException(not_written(file, error)) from error
    put({"file": str(file)}, f"Copied to {file} and checked. The shop's key is in it: keep it secret.", as_json=as_json)


@main.command()
@click.argument("file", type=click.Path(path_type=Path))
@json_option
def restore(file: Path, as_json: bool) -> None:
    """Put a copy, and the key in it, in the place of the database, after checking it. Stop the service first.

    Example: tracker restore shop-2027-03-05.db
    """
    from tracker.records.copies import restore_from
    from tracker.work.box_numbers import numbering

    database = shop_database(held=False)
    done = restore_from(database, file, own_settings())
    sentence = "Restored." if done.kept is None else f"Restored. What was there before is kept as {done.kept}."
    boxes = numbering(database)
    if boxes is not None:
        sentence += f" {boxes.sentence}"
    if done.secret_key not in (None, own_settings().secret_key):
        sentence += (
            " TRACKER_SECRET_KEY is another key than the copy's: without it, links on printed sheets work again."
        )
    put({"restored": str(file), "kept": None if done.kept is None else str(done.kept)}, sentence, as_json=as_json)
