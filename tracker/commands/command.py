"""What every command stands on: the group, the shop's database, answers as sentences or JSON, files written whole.

What goes wrong becomes a sentence here alone (``Answering``), and results go out by one function (``write_out``).
"""

import os
import sys
from errno import EPIPE
from pathlib import Path
from tempfile import TemporaryFile
from typing import Any

import click
from click import echo

from tracker.files import put_file
from tracker.settings import Settings, read_settings, with_files
from tracker.shop.errors import IncompleteError, InvalidInputError, ShopError, TooLargeError

WHO = "command line"
_AS_JSON = "tracker.as_json"


class _Out(click.Path):
    """Where a result goes. It is looked at before the work, which may take long or change the shop."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        out: Any = super().convert(value, param, ctx)
        try:
            if str(out) != "-" and (not out.exists() or out.is_file()):  # a device is written through
                TemporaryFile(dir=out.resolve().parent).close()  # a file is written beside its place first
        except OSError as error:
            self.fail(not_written(out, error), param, ctx)
        return out


def not_written(out: Path, error: OSError) -> str:
    if not out.parent.exists():
        return f"{out} cannot be written: there is no folder {out.parent}. Make it, or name another."
    return f"{out} cannot be written: {error.strerror or error}."


class _Folder(click.Path):
    """A folder where a command writes several files; it is made where there is none."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        out: Any = super().convert(value, param, ctx)
        if str(out) == "-" or (out.exists() and not out.is_dir()):
            self.fail(f"{out} is no folder. Several files are written: name a folder for them.", param, ctx)
        return out


OUT = _Out(path_type=Path, dir_okay=False, allow_dash=True)
FOLDER = _Folder(path_type=Path)


class Answered(click.ClickException):
    """A refusal of the shop, as the command line says it."""

    exit_code = 1

    def __init__(self, error: ShopError) -> None:
        lines = [error.detail]
        if isinstance(error, InvalidInputError):
            told = [fault for fault in error.faults if not error.detail.endswith(fault.what)]
            lines += [f"  {_place(fault.where)}: {fault.what}" for fault in told]
        if isinstance(error, IncompleteError):
            lines += [f"  {dict(entry)}" for entry in error.missing]
        super().__init__("\n".join(lines))


def _place(where: Any) -> str:
    return ", ".join(f"{name} {value}" for name, value in where.items())


class Answering(click.Group):
    """Commands that say what went wrong in a sentence, with exit status 1, rather than fall over."""

    def invoke(self, ctx: click.Context) -> Any:
        from sqlalchemy.exc import DBAPIError

        try:
            return super().invoke(ctx)
        except ShopError as error:
            if not ctx.meta.get(_AS_JSON):
                raise Answered(error) from error
            from tracker.api.problems import told_of_refusal

            put(told_of_refusal(error), "", as_json=True)
            raise click.exceptions.Exit(Answered.exit_code) from error
        except DBAPIError as error:
            raise click.ClickException(_told_of(error)) from error
        except OSError as error:
            if error.errno == EPIPE:  # whoever read along has gone: click knows what to do
                raise
            told = "" if error.filename is None else f"{error.filename}: "
            raise click.ClickException(f"{told}{error.strerror or error}. Nothing more was done.") from error


def _told_of(error: Any) -> str:
    from tracker.records.failures import failure_of
    from tracker.shop.failures import RESTORE_A_BACKUP, Failure

    why = str(error.orig).strip().splitlines()[0].rstrip(".")
    match failure_of(error):
        case Failure.DISK_FULL:
            return "The disk is full: make room on it, then give the command again."
        case Failure.DAMAGED:
            return f"The database is damaged ({why}). {RESTORE_A_BACKUP}"
        case _:
            hint = "Was `tracker init` run, and is TRACKER_DATABASE_URL right?"
            return f"The database did not answer as it should: {why}. {hint}"


def own_settings() -> Settings:
    """The settings of the environment, and below it those of a file .env in the folder where the command is given."""
    from dotenv import dotenv_values

    try:
        lines = dotenv_values(".env", interpolate=False)  # a password may hold "${"
    except UnicodeDecodeError:
        raise InvalidInputError("The file .env is not a text in UTF-8.") from None
    kept = {name: value for name, value in lines.items() if name.startswith("TRACKER_") and value}
    return read_settings({**with_files(kept), **with_files(os.environ)})


def shop_database(*, held: bool = True) -> Any:
    """The database until the command ends; ``held``, so that nobody restores another under it meanwhile.

    A restore that was killed is finished first: a command asks for its settings, and the key in them, after this.
    """
    from tracker.records.database import Database
    from tracker.records.holding import hold
    from tracker.records.restoring import finish_restore

    settings = own_settings()
    database = Database(settings.database_url)
    context = click.get_current_context()
    context.call_on_close(database.close)
    if held:
        context.with_resource(hold(database))
        finish_restore(database, settings)
    return database


def put(result: dict[str, Any], sentence: str, *, as_json: bool, err: bool = False) -> None:
    from json import dumps

    echo(dumps(result, default=str) if as_json else sentence, err=err)


dpi_option = click.option(
    "--dpi", default="203", show_default=True, type=click.Choice(["203", "300", "600"]), help="Of the printer."
)


def _noted(ctx: click.Context, _option: click.Parameter, as_json: bool) -> bool:
    ctx.meta[_AS_JSON] = as_json  # a refusal is JSON, too
    return as_json


json_option = click.option("--json", "as_json", is_flag=True, callback=_noted, help="Print JSON for programs.")


@click.group(cls=Answering)
@click.version_option(package_name="flatpack-tracker")
def main() -> None:
    """Keeps flat-pack cabinets whole: is everything that this box needs in this box, and if not, where is it?"""


def written_to(out: Path, *, is_stdout: bool) -> str:
    """Say where a result is."""
    return "on standard output" if is_stdout else f"in {out}"


def write_out(out: Path, document: bytes) -> bool:
    """Write a document where it is wished, whole or not at all; return whether that is standard output.

    What is there and no regular file (a device, a pipe) is written through, and a link is followed.
    """
    try:
        if str(out) == "-" or _is_stdout(out):
            sys.stdout.buffer.write(document)
            sys.stdout.buffer.flush()
            return True
        if out.exists() and not out.is_file():
            with out.open("wb") as through:
                through.write(document)
        else:
            target = out.resolve()
            put_file(target, document, mode=target.stat().st_mode & 0o777 if target.exists() else 0o666)
    except OSError as error:
        raise click.ClickException(not_written(out, error)) from error
    return False


def _is_stdout(out: Path) -> bool:
    try:
        return os.path.samestat(out.stat(), os.fstat(sys.stdout.fileno()))
    except (OSError, ValueError):  # nothing is there yet, or standard output is no file
        return False


def text_of(file: Path) -> str:
    """The text of a file that is given. Raises InvalidInputError when it is not UTF-8, TooLargeError, and OSError."""
    from tracker.shop.toml_text import LONGEST_TEXT

    try:
        with file.open(encoding="utf-8") as given:
            text = given.read(LONGEST_TEXT + 1)  # a device may have no end
    except UnicodeDecodeError as error:
        raise InvalidInputError(f"{file} is not a text in UTF-8.") from error
    if len(text) > LONGEST_TEXT:
        raise TooLargeError(f"{file} has more than {LONGEST_TEXT:,} characters. Nothing was stored.")
    return text
