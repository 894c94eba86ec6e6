"""How people reach the page: its link, its QR code, the warning about a network, the browser it opens, HTTPS."""

import os
import re
import shutil
import ssl
import subprocess
import sys
import time
import urllib.request

import pytest
import segno
from hotfuel.cli import record
from hotfuel.errors import InputError
from hotfuel.live import invitation, serve

LINK = "http://192.0.2.7:8080/Xk3-abc_DEF0123456789"


@pytest.mark.parametrize(
    ("address", "token", "secure", "expected"),
    [
        ("127.0.0.1", "", False, "http://127.0.0.1:8080/"),
        ("::1", "", True, "https://[::1]:8080/"),
        ("192.0.2.7", "secret", False, "http://192.0.2.7:8080/secret"),
        ("pit.example", "secret", True, "https://pit.example:8080/secret"),
    ],
)
def test_a_browser_accepts_the_link(address, token, secure, expected):
    assert invitation.link(address, 8080, token, secure) == expected


def test_a_page_for_all_addresses_is_linked_by_an_address_that_others_can_reach():
    found = re.fullmatch(r"http://([^/]+):8080/secret", invitation.link("0.0.0.0", 8080, "secret", False)).group(1)
    assert found not in ("", "0.0.0.0", "::")


def test_the_qr_code_holds_the_link_and_has_the_quiet_zone_a_camera_needs():
    rows = invitation.code(LINK).rstrip("\n").split("\n")
    plain = [re.sub(r"\x1b\[[0-9;]*m", "", row) for row in rows]
    modules = []
    for row in plain:  # two modules per character, one above the other
        modules += [[letter in "\u2588\u2580" for letter in row], [letter in "\u2588\u2584" for letter in row]]
    side = len(segno.make(LINK, micro=False).matrix)
    light = modules[0][0]
    assert all(cell == light for row in modules[:4] for cell in row)  # ISO/IEC 18004 requires a quiet zone of four modules
    inner = [[cell != light for cell in row[4 : 4 + side]] for row in modules[4 : 4 + side]]
    assert inner == [[bool(cell) for cell in row] for row in segno.make(LINK, micro=False).matrix]


@pytest.fixture
def opened(monkeypatch):
    """Links opened in this computer's browser."""
    found = []
    monkeypatch.setattr(invitation.webbrowser, "open", found.append)
    return found


def printed(monkeypatch, screen, *arguments):
    for name in ("DISPLAY", "WAYLAND_DISPLAY"):
        monkeypatch.delenv(name, raising=False)
    if screen:
        monkeypatch.setenv("DISPLAY", ":0")
    lines = []
    invitation.invite(*arguments[:3], lines.append, *arguments[3:])
    return lines


def test_on_this_computer_the_link_is_printed_and_opened_where_there_is_a_screen(monkeypatch, opened):
    assert printed(monkeypatch, True, "http://127.0.0.1:8080/", "", False, True) == ["live page: http://127.0.0.1:8080/"]
    assert opened == ["http://127.0.0.1:8080/"]
    monkeypatch.setattr(invitation.sys, "platform", "linux")
    printed(monkeypatch, False, "http://127.0.0.1:8080/", "", False, True)
    printed(monkeypatch, True, "http://127.0.0.1:8080/", "", False, False)
    assert len(opened) == 1


def test_on_a_network_the_link_its_permissions_its_code_and_the_risk_of_plain_http_are_printed(monkeypatch, opened):
    lines = printed(monkeypatch, False, LINK, "Xk3", False, True)
    assert lines == [
        f"live page: {LINK}  (anyone with this link can watch, mark and end the recording)",
        invitation.code(LINK),
        invitation.PLAIN_RISK,
    ]
    assert "Over plain HTTP anyone on this network can read the page" in invitation.PLAIN_RISK
    assert "--certificate" in invitation.PLAIN_RISK
    assert invitation.PLAIN_RISK not in printed(monkeypatch, False, LINK.replace("http", "https"), "Xk3", True, True)


@pytest.fixture(scope="module")
def certificate(tmp_path_factory):
    """A self-signed (certificate, key) for 127.0.0.1."""
    program = shutil.which("openssl")
    if program is None:
        pytest.skip("no openssl here")
    folder = tmp_path_factory.mktemp("certificate")
    command = [
        program,
        "req",
        "-x509",
        "-newkey",
        "rsa:2048",
        "-nodes",
        "-days",
        "2",
        "-subj",
        "/CN=pit",
        "-addext",
        "subjectAltName=IP:127.0.0.1",
    ]
    subprocess.run([*command, "-out", folder / "pit.pem", "-keyout", folder / "pit.key"], check=True, capture_output=True)
    return folder / "pit.pem", folder / "pit.key"


def test_with_a_certificate_the_page_is_served_over_https_and_opened_in_the_browser(certificate, tmp_path):
    """The whole command that a recorder starts: `follow --page --browse`, and a browser that only records its arguments."""
    (tmp_path / "wire.log").write_bytes(b"")
    noted = tmp_path / "noted"
    browser = tmp_path / "browser"
    browser.write_text(f'#!/bin/sh\nprintf %s "$1" > "{noted}"\n')
    browser.chmod(0o755)
    command = [
        sys.executable,
        "-m",
        "hotfuel",
        "follow",
        str(tmp_path),
        "--page",
        "--browse",
        "--certificate",
        str(certificate[0]),
        "--key",
        str(certificate[1]),
    ]
    environment = {**os.environ, "PYTHONUNBUFFERED": "1", "DISPLAY": ":0", "BROWSER": f"{browser} %s"}
    process = subprocess.Popen(command, stderr=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env=environment)
    try:
        link = re.search(r"https://\S+", process.stderr.readline()).group()
        trusting = ssl.create_default_context(cafile=certificate[0])
        with urllib.request.urlopen(link, context=trusting, timeout=90) as answer:
            assert 'id="head-margin"' in answer.read().decode()
        end = time.monotonic() + 90
        while not (noted.exists() and noted.read_text()) and time.monotonic() < end:  # the browser is a separate process
            time.sleep(0.02)
        assert noted.read_text() == link
    finally:
        process.terminate()
        process.communicate(timeout=90)


@pytest.mark.parametrize("text", ["", "-----BEGIN CERTIFICATE-----\nAAAA\n-----END CERTIFICATE-----\n", None])
def test_an_unusable_certificate_is_a_sentence(tmp_path, text):
    (tmp_path / "wire.log").write_bytes(b"")
    if text is not None:
        (tmp_path / "pit.pem").write_text(text)
    with pytest.raises(InputError, match=r"pit\.pem cannot be used .*: give a PEM file"):
        serve.serve(tmp_path, certificate=tmp_path / "pit.pem")


def test_recording_with_a_page_opens_the_browser(monkeypatch, tmp_path):
    started = []
    monkeypatch.setattr(record.subprocess, "Popen", lambda command: started.append(command))
    record._Views(tmp_path, [["--page", "--browse", "--address", "127.0.0.1"]], "us")
    assert started[0][1:8] == ["-m", "hotfuel", "follow", str(tmp_path), "--page", "--browse", "--address"]
