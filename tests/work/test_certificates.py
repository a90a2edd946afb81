"""The shop's authority and the server's certificate, judged by OpenSSL's own commands."""

import shutil
import stat
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tests.conftest import missing_tool
from tracker.shop.errors import InvalidInputError
from tracker.work.authority import fingerprint, kept_authority
from tracker.work.certificates import Made, make_certificate

NOW = datetime.now(UTC)
NAMES = ("shop-server", "shop.lan", "192.168.1.20", "fd00::20")


def made(folder: Path, *names: str, now: datetime = NOW, out: Path | None = None, new_authority: bool = False) -> Made:
    return make_certificate(folder, names, now=now, out=out, new_authority=new_authority)


def openssl(*arguments: object) -> subprocess.CompletedProcess[str]:
    if shutil.which("openssl") is None:
        missing_tool("openssl")
    return subprocess.run(["openssl", *map(str, arguments)], capture_output=True, text=True, check=False)


def verify(found: Made, *more: object) -> subprocess.CompletedProcess[str]:
    strictly = ("-x509_strict", "-purpose", "sslserver")
    return openssl("verify", *strictly, "-CAfile", found.authority, *more, found.certificate)


@pytest.mark.parametrize("name", ["shop-server", "shop.lan"])
def test_openssl_accepts_the_certificate_for_each_of_its_names(tmp_path: Path, name: str) -> None:
    done = verify(made(tmp_path, *NAMES), "-verify_hostname", name)
    assert (done.returncode, "OK" in done.stdout) == (0, True), done.stderr


@pytest.mark.parametrize("names", [NAMES, ("192.168.1.20", "fd00::20"), ("203.0.113.7", "192.168.1.20", "fd00::20")])
def test_openssl_accepts_the_certificate_for_its_addresses_also_where_it_has_no_name(
    tmp_path: Path, names: tuple[str, ...]
) -> None:
    found = made(tmp_path, *names)
    for address in ("192.168.1.20", "fd00::20"):
        done = verify(found, "-verify_ip", address)
        assert done.returncode == 0, done.stderr


def test_openssl_refuses_it_for_another_name_and_after_its_end(tmp_path: Path) -> None:
    found = made(tmp_path, *NAMES)
    assert "hostname mismatch" in verify(found, "-verify_hostname", "office.lan").stderr
    assert "IP address mismatch" in verify(found, "-verify_ip", "192.168.1.21").stderr
    later = int((found.ends + timedelta(seconds=1)).timestamp())
    assert "expired" in verify(found, "-attime", later).stderr
    assert verify(found, "-attime", later - 60).returncode == 0


def test_the_authority_cannot_vouch_for_a_site_outside_even_with_its_key(tmp_path: Path) -> None:
    found = made(tmp_path, *NAMES)
    forged = tmp_path / "forged.crt"
    key, request, extension = tmp_path / "f.key", tmp_path / "f.csr", tmp_path / "f.cnf"
    extension.write_text("subjectAltName=DNS:bank.example\nauthorityKeyIdentifier=keyid\nsubjectKeyIdentifier=hash\n")
    curve = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes")
    assert openssl("req", *curve, "-keyout", key, "-out", request, "-subj", "/CN=a bank").returncode == 0
    signer = ("-CA", found.authority, "-CAkey", tmp_path / "authority.key", "-extfile", extension)
    assert openssl("x509", "-req", "-in", request, *signer, "-out", forged).returncode == 0
    done = openssl("verify", "-CAfile", found.authority, forged)
    assert "permitted subtree violation" in done.stderr


def test_it_is_good_for_at_most_397_days_and_only_its_owner_reads_the_keys(tmp_path: Path) -> None:
    found = made(tmp_path / "tls", *NAMES)
    told = openssl("x509", "-in", found.certificate, "-noout", "-startdate", "-enddate", "-dateopt", "iso_8601").stdout
    start, end = (datetime.fromisoformat(line.partition("=")[2]) for line in told.splitlines())
    assert timedelta(days=396) < end - start < timedelta(days=397)
    assert start < NOW - timedelta(minutes=59)
    if sys.platform != "win32":
        keys = [found.key, tmp_path / "tls" / "authority.key"]
        assert {stat.S_IMODE(path.stat().st_mode) for path in keys} == {0o600}
        assert stat.S_IMODE((tmp_path / "tls").stat().st_mode) == 0o700


def test_the_fingerprint_is_the_one_that_openssl_says(tmp_path: Path) -> None:
    found = made(tmp_path / "tls", *NAMES)
    said = openssl("x509", "-in", found.authority, "-noout", "-fingerprint", "-sha256").stdout.strip().partition("=")[2]
    kept = kept_authority(tmp_path)
    assert kept is not None
    assert found.fingerprint == kept.fingerprint == said
    assert b"PRIVATE" not in kept.pem


def test_run_again_it_renews_for_the_same_names_under_the_same_authority(tmp_path: Path) -> None:
    first = made(tmp_path, *NAMES)
    before = first.certificate.read_bytes()
    later = NOW + timedelta(days=200)
    again = made(tmp_path, now=later)
    assert (again.names, again.fingerprint, again.authority_is_new) == (NAMES, first.fingerprint, False)
    assert again.ends > first.ends
    assert again.certificate.read_bytes() != before
    assert verify(again, "-attime", int(later.timestamp())).returncode == 0
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        *("authority.crt", "authority.key", "server.crt", "server.key")
    ]


def test_the_certificate_goes_where_it_is_wanted_and_the_authority_s_key_stays(tmp_path: Path) -> None:
    found = made(tmp_path / "tls", *NAMES, out=tmp_path / "elsewhere")
    assert sorted(path.name for path in (tmp_path / "elsewhere").iterdir()) == ["server.crt", "server.key"]
    assert verify(found).returncode == 0
    assert made(tmp_path / "tls", out=tmp_path / "elsewhere").names == NAMES


def test_a_private_address_is_added_without_a_new_authority_and_a_foreign_name_is_not(tmp_path: Path) -> None:
    first = made(tmp_path, "shop-server")
    assert made(tmp_path, "shop-server", "10.1.2.3", "bench.local").fingerprint == first.fingerprint
    before = first.certificate.read_bytes()
    with pytest.raises(InvalidInputError, match="new-authority") as refused:
        made(tmp_path, "shop-server", "office.example", "203.0.113.7")
    assert [fault.where["name"] for fault in refused.value.faults] == ["office.example", "203.0.113.7"]
    assert first.certificate.read_bytes() == before
    anew = made(tmp_path, "office.example", new_authority=True)
    assert anew.authority_is_new
    assert verify(anew, "-verify_hostname", "office.example").returncode == 0


@pytest.mark.parametrize(
    "name",
    [
        *("https://shop", "shop:8443", "", "-shop", "shop_server", "192.168.1.300", "*.shop.lan", "a b"),
        *("fe80::1%eth0", "é.lan", "a" * 64, "a." * 127 + "aa", "a..b"),
    ],
)
def test_what_is_no_name_and_no_address_is_refused_and_nothing_is_made(tmp_path: Path, name: str) -> None:
    with pytest.raises(InvalidInputError, match="without a port"):
        made(tmp_path / "tls", "shop-server", name)
    assert not (tmp_path / "tls").exists()


def test_without_names_and_without_a_certificate_the_names_are_asked_for(tmp_path: Path) -> None:
    with pytest.raises(InvalidInputError, match="names and addresses"):
        made(tmp_path)
    with pytest.raises(InvalidInputError, match="at most 100"):
        made(tmp_path, *(f"shop-{number}" for number in range(101)))


def test_an_authority_that_cannot_be_used_is_told_and_left_as_it_is(tmp_path: Path) -> None:
    found = made(tmp_path, "shop-server")
    with pytest.raises(InvalidInputError, match="ended on"):
        made(tmp_path, now=NOW + timedelta(days=3651))
    key = tmp_path / "authority.key"
    key.write_bytes(found.key.read_bytes())
    with pytest.raises(InvalidInputError, match="not that of its certificate"):
        made(tmp_path)
    key.unlink()
    with pytest.raises(InvalidInputError, match="cannot be read"):
        made(tmp_path)
    (tmp_path / "authority.crt").write_text("spoilt")
    with pytest.raises(InvalidInputError, match="cannot be read"):
        made(tmp_path)
    assert kept_authority(tmp_path.parent) is None
    with pytest.raises(ValueError, match="BEGIN CERTIFICATE"):
        fingerprint(b"spoilt")


def test_near_the_authority_s_end_the_certificate_ends_with_it(tmp_path: Path) -> None:
    made(tmp_path, "shop-server")
    later = NOW + timedelta(days=3640)
    assert made(tmp_path, now=later).ends <= later + timedelta(days=10)
