"""Commands that measure: bench and readrates."""

from datetime import UTC, datetime
from pathlib import Path

import click
from click import echo

from tracker.commands.command import OUT, json_option, main, put, write_out


@main.command()
@click.option("--quick", is_flag=True, help="Smaller sizes: a look, not a measurement.")
@json_option
def bench(quick: bool, as_json: bool) -> None:
    """Measure this machine's speed, each figure beside a floor in the same run, as ratios.

    Example: tracker bench --quick
    """
    from tracker.bench.run import run_benchmarks

    for figure in run_benchmarks(quick=quick, say=lambda line: echo(line, err=True)):
        put(figure.as_dict(), figure.sentence(), as_json=as_json)


@main.command()
@click.option("--out", type=OUT, help="The Markdown file to write.")
@click.option("--each", default=100, show_default=True, type=click.IntRange(1, 100_000), help="Tries a square.")
@click.option("--tries", default=100_000, show_default=True, type=click.IntRange(1, 10_000_000), help="Near the limit.")
@click.option("--seed", default=1, show_default=True, type=int, help="The same seed gives the same table.")
def readrates(out: Path | None, each: int, tries: int, seed: int) -> None:
    """Draw, spoil and read labels, and tell how often each layout reads and how often a reading is wrong.

    It takes a quarter of an hour on two cores.

    Example: tracker readrates --out READRATES.md
    """
    from tracker.bench.readrates import cells, document, misreadings, read_rates

    def say(line: str) -> None:
        echo(line, err=True)

    rates = read_rates(cells(), tries=each, seed=seed, say=say)
    limit = misreadings(tries=tries, seed=seed, say=say)
    command = f"tracker readrates --each {each} --tries {tries} --seed {seed}"
    text = document(rates, limit, seed=seed, command=command, today=datetime.now(UTC).date())
    if out is None:
        echo(text.rstrip())
    else:
        write_out(out, text.encode())
        echo(f"The table is in {out}.", err=True)
