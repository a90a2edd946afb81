"""Commands for who and what may sign in: people and tokens."""

import secrets
import sys
from datetime import UTC, datetime
from pathlib import Path

import click

from tracker.commands.command import json_option, main, put, shop_database, text_of
from tracker.shop.roles import Role


@main.command()
@click.argument("name")
@click.option("--role", required=True, type=click.Choice([role.value for role in Role]), help="What it may do.")
@click.option("--station", help="The station that the token is made for.")
@json_option
def token(name: str, role: str, station: str | None, as_json: bool) -> None:
    """Print a new bearer token, once; only its hash is kept.

    Example: tracker token "saw tablet" --role station --station SAW-1
    """
    from tracker.work.access import make_token

    plain = make_token(
        shop_database(), name, Role(role), station, secret=lambda: secrets.token_urlsafe(32), now=datetime.now(UTC)
    )
    try:
        put({"token": plain, "name": name, "role": role, "station": station}, plain, as_json=as_json)
        sys.stdout.flush()
    except OSError as error:
        told = f"The token was made but could not be shown: {error.strerror}."
        raise click.ClickException(f"{told} Withdraw it (tracker withdraw) and make another.") from error


@main.command()
@click.argument("name")
@json_option
def withdraw(name: str, as_json: bool) -> None:
    """Withdraw all tokens of this name: they open nothing any more.

    Example: tracker withdraw "saw tablet"
    """
    from tracker.work.access import withdraw_token

    count = withdraw_token(shop_database(), name, now=datetime.now(UTC))
    put({"name": name, "withdrawn": count}, f"{count} withdrawn.", as_json=as_json)


@main.command()
@click.argument("name")
@click.option("--role", required=True, type=click.Choice([role.value for role in Role]), help="What they may do.")
@click.option(
    "--password-file",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    help="Take the password from the first line of this file rather than ask for it.",
)
@click.option("--badge-only", is_flag=True, help="Give no password: they work by badge alone.")
@json_option
def person(name: str, role: str, password_file: Path | None, badge_only: bool, as_json: bool) -> None:
    """Add a person who signs in by name and password. The password is asked for, twice.

    Example: tracker person "Ida Holm" --role foreman
    """
    from tracker.work.people import add_person

    if badge_only and password_file is not None:
        raise click.UsageError("Give --password-file or --badge-only, not both.")
    password = None if badge_only else _password(password_file)
    number = add_person(shop_database(), name, Role(role), password=password, now=datetime.now(UTC))
    sentence = f"{name} was added as {role}." + ("" if badge_only else " They sign in by this name and password.")
    put({"number": number, "name": name, "role": role}, sentence, as_json=as_json)


def _password(file: Path | None) -> str:
    if file is None:
        given: str = click.prompt("Password", hide_input=True, confirmation_prompt=True, err=True)
        return given
    return (text_of(file).splitlines() or [""])[0]
