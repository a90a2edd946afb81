"""Many random lives of a station, see ``lives``.

    python -m tests.scanner_client.soak 200 --from 1

makes so many runs, and stops at the first that fails: the same number makes the same plan again.
"""

import argparse
import tempfile
from pathlib import Path

from tests.scanner_client.lives import run, template


def main() -> None:
    """Make the runs that are asked for, and print what each came to."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("count", type=int)
    parser.add_argument("--from", dest="first", type=int, default=1)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="soak-") as name:
        made = template(Path(name))
        for seed in range(asked.first, asked.first + asked.count):
            print(run(seed, made), flush=True)  # noqa: T201 - a command's answer


if __name__ == "__main__":
    main()
