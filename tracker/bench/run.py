"""The project's own benchmarks. A figure of speed stands beside a floor that is measured in the same run."""

import csv
import http.client
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

from tracker.bench import client, labels, office, scanning, screens
from tracker.bench.figure import Figure
from tracker.bench.history import PARTS_A_JOB, grow
from tracker.shop.boxing.planner import plan_boxes
from tracker.shop.boxing.values import Carton, Panel
from tracker.shop.cutlist import PART_COLUMNS
from tracker.shop.measures import board_mass_kg

CLIENTS = 16
Say = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Sizes:
    """How much is measured."""

    scans: int
    parts: int
    open_jobs: int
    imported: int


FULL = Sizes(scans=6_000, parts=1_000_000, open_jobs=200, imported=100_000)
QUICK = Sizes(scans=1_500, parts=20_000, open_jobs=10, imported=10_000)


def run_benchmarks(*, quick: bool, say: Say) -> Iterator[Figure]:
    """Measure everything, in a folder that is thrown away, and give the figures one by one."""
    sizes = QUICK if quick else FULL
    with tempfile.TemporaryDirectory(prefix="tracker-bench-", dir=Path.cwd()) as name:
        folder = Path(name)
        say(f"one scan a request, {CLIENTS} clients")
        yield from _single(folder, sizes)
        say("batches of 100")
        yield _batches(folder, sizes)
        say(f"a database of {sizes.parts:,} parts and {5 * sizes.parts:,} scans is made first")
        yield from _large(folder, sizes)
        say("planning boxes")
        yield _boxes()
        yield from office.figures()
        say("the station program")
        yield from client.figures()
        say("drawing labels")
        yield from labels.figures()
        say(f"importing {sizes.imported:,} parts")
        yield from _import(folder, sizes)


def _single(folder: Path, sizes: Sizes) -> Iterator[Figure]:
    measured = range(301, 301 + sizes.scans)
    with scanning.serving(scanning.floor_app(folder)) as address:
        scanning.single_scans(address, range(1, 301), CLIENTS)
        floor = sizes.scans / scanning.single_scans(address, measured, CLIENTS).seconds
    database = scanning.shop(folder, "single.db")
    scanning.take_parts(database, sizes.scans + 300, "J-1")
    with scanning.serving(scanning.served_shop(folder, database)) as address:
        scanning.single_scans(address, range(1, 301), CLIENTS)
        timing = scanning.single_scans(address, measured, CLIENTS)
    database.close()
    rate = sizes.scans / timing.seconds
    yield Figure(
        what="one scan a request", value=rate, unit="scans a second", floor=floor,
        wanted="0.6 of a bare view with the sqlite3 module", met=rate >= 0.6 * floor,
    )  # fmt: skip
    worst = timing.p99 * 1000
    yield Figure(what=f"p99 at {CLIENTS} clients", value=worst, unit="ms", wanted="under 60 ms", met=worst < 60)


def _batches(folder: Path, sizes: Sizes) -> Figure:
    count = sizes.scans * 3 // 100 * 100
    database = scanning.shop(folder, "batches.db")
    scanning.take_parts(database, count, "J-1")
    with scanning.serving(scanning.served_shop(folder, database)) as address:
        timing = scanning.batches(address, range(1, count + 1), 100)
    database.close()
    rate = count / timing.seconds
    return Figure(what="batches of 100", value=rate, unit="scans a second", wanted="5,000 a second", met=rate >= 5_000)


def _large(folder: Path, sizes: Sizes) -> Iterator[Figure]:
    small, _ = _rate_in(folder, "small.db", parts=10_000, open_jobs=10, sizes=sizes)
    rate, figures = _rate_in(folder, "large.db", parts=sizes.parts, open_jobs=sizes.open_jobs, sizes=sizes)
    yield Figure(
        what=f"one scan a request with {sizes.parts:,} parts", value=rate, unit="scans a second", floor=small,
        wanted="0.8 of that with 10,000 parts", met=rate >= 0.8 * small,
    )  # fmt: skip
    yield from figures


def _rate_in(folder: Path, name: str, *, parts: int, open_jobs: int, sizes: Sizes) -> tuple[float, list[Figure]]:
    """Return the rate of scans in a shop of that many parts, and what it takes to look at it."""
    database = scanning.shop(folder, name)
    grow(database, parts=parts, open_jobs=open_jobs)
    first = parts - open_jobs * PARTS_A_JOB + 1
    count = min(sizes.scans, open_jobs * PARTS_A_JOB) - 300
    with scanning.serving(scanning.served_shop(folder, database)) as address:
        scanning.single_scans(address, range(first, first + 300), CLIENTS)
        timing = scanning.single_scans(address, range(first + 300, first + 300 + count), CLIENTS)
        figures = []
        for path in ("/missing", "/jobs?status=open&limit=200"):
            took = _median_ms(address, f"/api/v1{path}")
            what = f"{path.partition('?')[0]} with {open_jobs} open jobs"
            figures.append(Figure(what=what, value=took, unit="ms", wanted="under 100 ms", met=took < 100))
        figures += screens.page_figures(address, parts)
    database.close()
    return count / timing.seconds, figures


def _median_ms(address: str, path: str) -> float:
    place = urlsplit(address)
    connection = http.client.HTTPConnection(place.hostname or "", place.port)
    took = []
    for _try in range(9):
        started = time.perf_counter()
        connection.request("GET", path, headers={"Authorization": f"Bearer {scanning.TOKEN}"})
        response = connection.getresponse()
        response.read()
        took.append(time.perf_counter() - started)
        if response.status != 200:
            raise RuntimeError(f"{path} answered {response.status}")
    connection.close()
    return statistics.median(took) * 1000


def _boxes() -> Figure:
    kinds = ((720, 560, 18), (564, 540, 18), (564, 95, 18), (700, 576, 6), (597, 715, 18))
    panels = [
        Panel(
            id=str(number), length_mm=length, width_mm=width, thickness_mm=thickness,
            mass_kg=board_mass_kg(length, width, thickness), cabinet=str(number // 10),
        )
        for number in range(120)
        for length, width, thickness in [kinds[number % len(kinds)]]
    ]  # fmt: skip
    cartons = [
        Carton(id="flat", length_mm=800, width_mm=620, height_mm=140, max_mass_kg=30, tare_kg=1),
        Carton(id="deep", length_mm=800, width_mm=620, height_mm=220, max_mass_kg=40, tare_kg=1.4),
    ]
    started = time.perf_counter()
    plan_boxes(panels, cartons)
    seconds = time.perf_counter() - started
    return Figure(what="120 panels into boxes", value=seconds, unit="s", wanted="under 1 s", met=seconds < 1)


def _import(folder: Path, sizes: Sizes) -> Iterator[Figure]:
    table = folder / "list.csv"
    with table.open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(PART_COLUMNS[:9])
        for number in range(sizes.imported):
            row = [number // 10, f"Part {number % 10}", 1, 700 + number % 50, 560.5, 18, "White", "L1 W1", "M-1"]
            writer.writerow(row)
    program = (
        "import sys; from tracker.cli import main; from tracker.bench.figure import peak_kilobytes\n"
        "try: main(sys.argv[1:])\n"
        "finally: print(peak_kilobytes(), file=sys.stderr)"
    )
    arguments = ["import", str(table), "--job", "J-1", "--customer", "Bench", "--due", "2027-03-05"]
    scanning.shop(folder, "tracker.db").close()
    started = time.perf_counter()
    done = subprocess.run(  # noqa: S603 - this program itself
        [sys.executable, "-c", program, *arguments],
        env={"TRACKER_DATA_DIR": str(folder), "PATH": ""},
        capture_output=True,
        text=True,
        check=True,
    )
    seconds = time.perf_counter() - started
    megabytes = int(done.stderr.split()[-1]) / 1024
    yield Figure(
        what=f"importing {sizes.imported:,} parts", value=seconds, unit="s", wanted="under 30 s", met=seconds < 30
    )
    yield Figure(what="peak memory of that", value=megabytes, unit="MB", wanted="under 400 MB", met=megabytes < 400)
