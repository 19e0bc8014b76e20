"""The site's own certificates, checked by OpenSSL, and by Python's TLS as a client that knows nothing of us."""

import datetime as dt
import subprocess
from pathlib import Path

import pytest
from cryptography import x509

from monitor.certificates import CertificateError, check_pair, make, names_of
from monitor.cli.main import main
from tests.tools import need

NOW = dt.datetime.now(dt.UTC)
HOSTS = ["site-box", "site-box.local", "192.168.1.20", "fe80::1"]


def openssl(*arguments: str | Path) -> str:
    done = subprocess.run([need("openssl"), *map(str, arguments)], check=False, capture_output=True, text=True)
    return done.stdout + done.stderr


@pytest.mark.parametrize("host", ["-verify_hostname site-box.local", "-verify_ip 192.168.1.20", "-verify_ip fe80::1"])
def test_openssl_trusts_the_servers_certificate_for_its_names(host: str, tmp_path: Path) -> None:
    made = make(tmp_path, HOSTS, NOW)
    said = openssl(
        "verify", "-x509_strict", "-purpose", "sslserver", "-CAfile", made.authority, *host.split(), made.certificate
    )
    assert said.strip().endswith("OK")


def test_openssl_trusts_it_for_no_other_name_and_not_as_an_authority(tmp_path: Path) -> None:
    made = make(tmp_path, HOSTS, NOW)
    said = openssl("verify", "-CAfile", made.authority, "-verify_hostname", "other", made.certificate)
    assert "hostname mismatch" in said.lower()
    text = openssl("x509", "-in", made.certificate, "-noout", "-text")
    assert "CA:FALSE" in text
    assert "CA:TRUE, pathlen:0" in openssl("x509", "-in", made.authority, "-noout", "-text")


def test_keys_are_for_their_user_alone(tmp_path: Path) -> None:
    made = make(tmp_path, HOSTS, NOW)
    assert {path.name: path.stat().st_mode & 0o777 for path in tmp_path.iterdir()} == {
        "ca.crt": 0o644, "ca.key": 0o600, "server.crt": 0o644, "server.key": 0o600,
    }  # fmt: skip
    make(tmp_path, HOSTS, NOW, group=tmp_path.stat().st_gid)
    assert made.key.stat().st_mode & 0o777 == 0o640
    make(tmp_path, HOSTS, NOW)  # a renewal leaves the broker its key
    assert made.key.stat().st_mode & 0o777 == 0o640


def test_renewing_keeps_the_authority(tmp_path: Path) -> None:
    first = make(tmp_path, HOSTS, NOW)
    authority, server = first.authority.read_bytes(), first.certificate.read_bytes()
    second = make(tmp_path, ["other"], NOW + dt.timedelta(days=300))
    assert (first.authority_is_new, second.authority_is_new) == (True, False)
    assert second.authority.read_bytes() == authority
    assert second.certificate.read_bytes() != server
    assert names_of(second.certificate) == ["other"]


def test_servers_never_outlives_its_authority(tmp_path: Path) -> None:
    make(tmp_path, HOSTS, NOW)
    late = make(tmp_path, HOSTS, NOW + dt.timedelta(days=3600), days=397)
    authority = x509.load_pem_x509_certificate(late.authority.read_bytes())
    assert late.until == authority.not_valid_after_utc


@pytest.mark.parametrize("host", ["", "a b", "-a", "https://x", "x" * 64 + ".local", "*.local"])
def test_host_that_is_none_is_told(host: str, tmp_path: Path) -> None:
    with pytest.raises(CertificateError, match=r"is no host; give a name"):
        make(tmp_path / "new", [host], NOW)
    assert not (tmp_path / "new").exists()


def test_broken_authority_is_told_and_nothing_changed(tmp_path: Path) -> None:
    make(tmp_path, HOSTS, NOW)
    before = (tmp_path / "server.crt").read_bytes()
    key = (tmp_path / "ca.key").read_bytes()
    for name, content, word in (
        ("ca.key", b"nonsense", "no private key"),
        ("ca.crt", b"nonsense", "no certificate"),
        ("ca.key", (tmp_path / "server.key").read_bytes(), "is not the key of"),
    ):
        kept = (tmp_path / name).read_bytes()
        (tmp_path / name).write_bytes(content)
        with pytest.raises(CertificateError, match=word):
            make(tmp_path, HOSTS, NOW)
        (tmp_path / name).write_bytes(kept)
    (tmp_path / "ca.key").unlink()
    with pytest.raises(CertificateError, match=r"ca.key cannot be read"):
        make(tmp_path, HOSTS, NOW)
    (tmp_path / "ca.key").write_bytes(key)
    with pytest.raises(CertificateError, match=r"ended on"):
        make(tmp_path, HOSTS, NOW + dt.timedelta(days=4000))
    assert (tmp_path / "server.crt").read_bytes() == before


def test_pair_is_checked_before_anything_starts(tmp_path: Path) -> None:
    made = make(tmp_path, HOSTS, NOW, days=100)
    assert check_pair(made.certificate, made.key, NOW) == ""
    assert "ends in 10 days" in check_pair(made.certificate, made.key, NOW + dt.timedelta(days=89, hours=1))
    with pytest.raises(CertificateError, match=r"ended on"):
        check_pair(made.certificate, made.key, NOW + dt.timedelta(days=101))
    with pytest.raises(CertificateError, match=r"Is this clock right"):
        check_pair(made.certificate, made.key, NOW - dt.timedelta(days=30))
    with pytest.raises(CertificateError, match=r"is not the key of"):
        check_pair(made.certificate, tmp_path / "ca.key", NOW)
    with pytest.raises(CertificateError, match=r"cannot be read"):
        check_pair(tmp_path / "none", made.key, NOW)


def test_command_makes_and_renews(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["certificates", str(tmp_path / "tls"), "--host", "site-box.local", "--days", "90"]) == 0
    told = capsys.readouterr()
    assert told.out.split() == [str(tmp_path / "tls" / name) for name in ("ca.crt", "server.crt", "server.key")]
    assert "ca.key to nobody" in told.err
    assert main(["certificates", str(tmp_path / "tls")]) == 0
    assert "reload mosquitto" in capsys.readouterr().err
    assert "localhost" in names_of(tmp_path / "tls" / "server.crt")
    assert main(["certificates", str(tmp_path / "tls"), "--host", "a b"]) == 2
    assert "is no host" in capsys.readouterr().err
    assert main(["certificates", str(tmp_path / "tls"), "--group", "no-such-group"]) == 2
