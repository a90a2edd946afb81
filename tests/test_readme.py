"""The README's tour works as it is written, typed into a shell from top to bottom."""

import re
import socket
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parent.parent


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def test_the_tour_of_ten_minutes_works_as_it_is_written(tmp_path: Path) -> None:
    text = (ROOT / "README.md").read_text()
    tour = text[text.index("## A tour of ten minutes") : text.index("## Every day")]
    blocks = re.findall(r"```sh\n(.*?)```", tour, re.DOTALL)
    assert len(blocks) == 7
    port = str(_free_port())
    script = "\n".join(["set -eu", *blocks, "tracker verify", "kill %1", "wait"])
    script = script.replace("$PWD/.venv/bin", str(Path(sys.executable).parent))
    script = script.replace("seed_data/", f"{ROOT}/seed_data/").replace("127.0.0.1:8000", f"127.0.0.1:{port}")
    ready = f"until curl -sf http://127.0.0.1:{port}/readyz; do sleep 0.1; done"
    script = script.replace("tracker serve &", f"tracker serve --port {port} &\n{ready}")
    done = subprocess.run(
        ["bash", "-c", script],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "made 139 parts of 10 cabinets in 8 boxes" in done.stdout
    assert "147 labels in labels.pdf" in done.stdout
    assert "10 sheets in sheets" in done.stdout
    assert "Job J-2: made" in done.stdout
    assert "+ DONE" in done.stdout
    assert re.search(r"\d+ boards \(no plan needs fewer than \d+\)", done.stdout)
    assert '"last_seen":{"at":' in done.stdout or '"station":"cut-1"' in done.stdout


def test_the_two_commands_do_all_the_set_up() -> None:
    text = (ROOT / "README.md").read_text()
    for line in re.findall(r"^python3 -m venv.*$", text, re.MULTILINE):
        assert re.search(r"pip install -q -r requirements(-dev)?\.lock", line)
    assert text.count("python3 -m venv .venv &&") == 2
