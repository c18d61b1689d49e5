"""Who is refused: other names, other sites, bodies without end, files that are none."""

import http.client
import io
import json
import re
import signal
import socket
import time
import zipfile

import pytest
from page.person import ended, started


def asked(served, method="GET", path="/", body=None, **headers):
    """Send one request with just these headers; return status and body."""
    line = http.client.HTTPConnection("127.0.0.1", served.port, timeout=30)
    line.request(
        method, path, body, {name.replace("_", "-"): value for name, value in headers.items()}
    )
    answer = line.getresponse()
    content = answer.read()
    line.close()
    return answer.status, content, answer


def test_the_page_itself_is_served(served):
    status, content, answer = asked(served)
    assert status == 200
    assert b"moulddesign" in content or b"pastries" in content
    assert "frame-ancestors 'none'" in answer.headers["content-security-policy"]


@pytest.mark.parametrize("host", ["example.org", "127.0.0.1", "localhost:1", "evil.localhost"])
def test_other_hosts_are_refused(served, host):
    # what stops DNS rebinding: https://datatracker.ietf.org/doc/html/rfc9110#section-7.2
    status, _, _ = asked(served, Host=host)
    assert status == 421


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "https://example.org"},
        {"Origin": "null"},
        {"Origin": "http://127.0.0.1:1"},
        {"Sec_Fetch_Site": "cross-site", "Sec_Fetch_Mode": "no-cors", "Sec_Fetch_Dest": "image"},
        {"Sec_Fetch_Site": "same-site", "Sec_Fetch_Mode": "cors", "Sec_Fetch_Dest": "empty"},
    ],
)
@pytest.mark.parametrize(
    ("method", "path"),
    [("GET", "/pattern/lantern"), ("POST", "/upload/artwork"), ("GET", "/_nicegui_ws/socket.io/")],
)
def test_other_sites_are_refused(served, method, path, headers):
    status, _, _ = asked(served, method, path, **headers)
    assert status == 403


def test_a_link_from_another_site_builds_nothing(served):
    headers = {"Sec_Fetch_Site": "cross-site", "Sec_Fetch_Mode": "navigate",
               "Sec_Fetch_Dest": "document"}  # fmt: skip
    status, content, _ = asked(served, path="/?design=abc", **headers)
    assert status == 403
    assert b"Another site has sent you here" in content


def test_a_websocket_from_another_site_is_refused(served):
    with socket.create_connection(("127.0.0.1", served.port), timeout=30) as line:
        line.sendall(
            b"GET /_nicegui_ws/socket.io/?EIO=4&transport=websocket HTTP/1.1\r\n"
            b"Host: 127.0.0.1:%d\r\nOrigin: https://example.org\r\nUpgrade: websocket\r\n"
            b"Connection: Upgrade\r\nSec-WebSocket-Version: 13\r\n"
            b"Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n" % served.port
        )
        assert line.recv(4096).split(b"\r\n")[0].split()[1] == b"403"


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/files/guess/design.toml", 404),
        ("/files/../../etc/passwd", 404),
        ("/pattern/..%2F..%2Fetc%2Fpasswd", 404),
        ("/pattern/own-0000000000000000.svg", 404),
    ],
)
def test_no_file_can_be_guessed(served, path, status):
    assert asked(served, path=path)[0] == status


@pytest.mark.parametrize(
    ("kind", "body", "says"),
    [
        ("artwork", b"GIF89a", b"must be a file of the kind svg, png or jpg"),
        ("artwork", b"", b"must be a file of the kind"),
        ("mesh", b"\x00" * 200, b"must be a file of the kind stl or 3mf"),
        ("design", b"a\x00b", b"must be a file of the kind toml"),
        ("design", b"#" * 1_000_001, b"must be smaller than 1 MB"),
        ("program", b"x", b"nothing of that kind"),
    ],
    ids=["gif", "empty", "zeros as mesh", "binary as text", "too large", "unknown kind"],
)
def test_uploads_that_are_none_are_told(served, kind, body, says):
    status, content, _ = asked(served, "POST", f"/upload/{kind}", body)
    assert status == 200
    assert says in content


def zipped(files, method=zipfile.ZIP_DEFLATED):
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", method) as archive:
        for name, text in files:
            archive.writestr(name, text)
    return content.getvalue()


NAMED = b'[relief]\nlayers = [{ pattern = "artwork-a.svg" }]\n'
SETS = {
    "no zip": (b"PK\x03\x04" + b"\0" * 500, b"cannot be unpacked"),
    "no design": (zipped([("a.txt", b"x")]), b"holds no design.toml"),
    "a large design": (zipped([("design.toml", b"#" * 50_000_000)]), b"of more than 1 MB"),
    "a large drawing": (
        zipped([("design.toml", NAMED), ("artwork-a.svg", b"<svg/>" + b" " * 50_000_000)]),
        b"of more than 10 MB",
    ),
    "no drawing": (zipped([("design.toml", NAMED), ("artwork-a.svg", b"x")]), b"of the kind svg"),
    "very many files": (zipped((f"{n}", b"") for n in range(2000)), b"more than 1000 files"),
    "another way of packing": (
        zipped([("design.toml", b"")], zipfile.ZIP_LZMA), b"packed in an unusual way",
    ),
    "not text": (zipped([("design.toml", b"\xff\xff")]), b"not text in UTF-8"),
}  # fmt: skip


@pytest.mark.parametrize("case", SETS)
def test_sets_that_are_none_are_told(served, case):
    content, says = SETS[case]
    status, told, _ = asked(served, "POST", "/upload/set", content)
    assert status == 200
    assert says in told
    assert json.loads(told).keys() == {"error"}


def test_a_set_takes_nothing_but_what_its_design_names(served):
    drawing = b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1 1"><path d="M0 0"/></svg>'
    files = [
        ("set/design.toml", NAMED), ("../../artwork-a.svg", drawing), ("/etc/passwd", b"x" * 100),
    ]  # fmt: skip
    _, told, _ = asked(served, "POST", "/upload/set", zipped(files))
    names = json.loads(told)["names"]
    assert list(names) == ["artwork-a.svg"]
    assert re.fullmatch(r"own-[0-9a-f]{16}\.svg", names["artwork-a.svg"])


def test_a_body_without_a_length_is_bounded_too(served):
    def endless():
        for _ in range(200):
            yield b"#" * 100_000

    line = http.client.HTTPConnection("127.0.0.1", served.port, timeout=30)
    line.request("POST", "/upload/design", endless(), encode_chunked=True,
                 headers={"Transfer-Encoding": "chunked"})  # fmt: skip
    answer = line.getresponse()
    assert b"must be smaller than 1 MB" in answer.read()
    line.close()


@pytest.mark.parametrize(
    "head",
    [
        b"GET / HTTP/1.0\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: example.org\r\nHost: 127.0.0.1:%d\r\n\r\n",
        b"GET http://example.org/ HTTP/1.1\r\nHost: example.org\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: 127.0.0.1:%d.example.org\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: [::1]:%d\r\n\r\n",
    ],
    ids=["no host", "two hosts", "a whole address", "a longer name", "another address"],
)
def test_hosts_by_hand_are_refused(served, head):
    with socket.create_connection(("127.0.0.1", served.port), timeout=30) as line:
        line.sendall(head.replace(b"%d", str(served.port).encode()))
        assert line.recv(4096).split(b"\r\n")[0].split()[1] in {b"400", b"421"}


def test_a_body_too_large_is_refused_before_it_is_read(served):
    line = http.client.HTTPConnection("127.0.0.1", served.port, timeout=30)
    line.putrequest("POST", "/upload/mesh")
    line.putheader("Content-Length", str(10**12))
    line.endheaders()
    assert line.getresponse().status == 413
    line.close()


@pytest.mark.slow
def test_headers_without_end_are_cut(served):
    # RFC 9110, 15.5.9: a server may close what is not complete within the time that it waits.
    head = b"GET / HTTP/1.1\r\nHost: 127.0.0.1:%d\r\n" % served.port
    whole = http.client.HTTPConnection("127.0.0.1", served.port, timeout=30)
    whole.request("GET", "/")
    whole.getresponse().read()  # a whole request, after which slowness counts anew
    second = whole.sock
    with second, socket.create_connection(("127.0.0.1", served.port), timeout=30) as first:
        start = time.perf_counter()
        for line in (first, second):
            line.sendall(head)
            line.settimeout(0.1)
        open_ = {first, second}
        while open_ and time.perf_counter() < start + 20.0:
            for line in tuple(open_):
                try:
                    line.sendall(b"x")
                    if not line.recv(100):
                        open_.discard(line)
                except TimeoutError:
                    continue
                except OSError:
                    open_.discard(line)
        assert not open_
        assert time.perf_counter() - start > 5.0


def test_a_drawing_that_cannot_be_drawn_has_no_picture_and_is_no_error(served):
    drawing = b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1 1"/>'
    _, told, _ = asked(served, "POST", "/upload/artwork", drawing)
    assert asked(served, "GET", f"/choice/{json.loads(told)['name']}")[:2] == (204, b"")
    assert asked(served, "GET", "/choice/own-0123456789abcdef.svg")[0] == 404


def test_an_upload_is_named_by_its_content_alone(served):
    drawing = b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1 1"/>'
    _, content, _ = asked(
        served, "POST", "/upload/artwork", drawing,
        Content_Disposition='attachment; filename="../../evil.svg"',
    )  # fmt: skip
    assert b"evil" not in content
    assert content.startswith(b'{"name":"own-')


def test_it_listens_on_this_machine_alone(served):
    # /proc/net/tcp: addresses as the kernel sees them; 0100007F is 127.0.0.1 (proc_net_tcp(5))
    with open("/proc/net/tcp", encoding="ascii") as table:  # noqa: PTH123 (a kernel's table)
        ears = [line.split()[1] for line in table if line.split()[3] == "0A"]
    assert f"0100007F:{served.port:04X}" in ears
    assert f"00000000:{served.port:04X}" not in ears


@pytest.mark.slow
@pytest.mark.parametrize(
    "how", [pytest.param(signal.SIGINT, id="Ctrl-C"), pytest.param(signal.SIGTERM, id="kill")]
)
def test_beside_another_page_it_tells_its_place_and_leaves_no_upload_behind(served, tmp_path, how):
    (tmp_path / "kept").mkdir()
    shop = tmp_path / "kept" / "workshop.toml"
    shop.write_text('printer = "small-bed"')
    more = {"TMPDIR": str(tmp_path), "MOULDDESIGN_WORKSHOP": str(shop)}
    page = started("--port", str(served.port), "--json", "--no-workshop", **more)
    told = json.loads(page.process.stdout.readline())
    assert told == {
        "address": f"http://127.0.0.1:{page.port}/", "port": page.port, "pid": page.process.pid,
    }  # fmt: skip
    assert page.port > served.port
    status, content, _ = asked(page)
    assert status == 200
    assert b"Workshop: common-220" in content
    # One that breaks off is not spoken of.
    head = b"POST /upload/mesh HTTP/1.1\r\nHost: 127.0.0.1:%d\r\nContent-Length: 999\r\n\r\nsolid"
    with socket.create_connection(("127.0.0.1", page.port), timeout=30) as line:
        line.sendall(head % page.port)
    assert asked(page, "POST", "/upload/design", b"name = 'x'")[0] == 200
    assert len(list(tmp_path.glob("moulddesign-page-*/uploads/own-*.toml"))) == 1
    page.process.send_signal(how)
    assert (page.process.stdout.read(), page.process.stderr.read()) == ("", "")
    # 128 + SIGINT, as a shell says it and every verb of the command line
    assert ended(page, how) == 130
    assert list(tmp_path.iterdir()) == [tmp_path / "kept"]
