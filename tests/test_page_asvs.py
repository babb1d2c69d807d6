"""The page against OWASP's Application Security Verification Standard 5.0.0: a test for each requirement that applies.

All of level 1 that a local tool can meet, and what of level 2 is cheap to meet. The number in each test's name is the
requirement's; the words of the standard are not repeated here. Left out, with the reason:

- V6, V9, V10, V17 (passwords, self-contained tokens, OAuth, WebRTC): the page has none. V1.2.4, V1.3.1, V1.5.1
  (queries, rich text, XML): it has none. V2.3.1 (order of steps): marks may be made in any order.
- V3.3.1, V3.4.1, V12 (Secure cookies, HSTS, TLS): plain HTTP on the loopback address alone; nothing leaves the
  computer.
- V7.4.2, V8.2.2 (accounts, owners): one person, one folder, one run.
- V14.2.1: the token stands in the first address, since that is how perpend hands it to the browser; it is taken out of
  the address at once, no other address takes it, and neither referrer nor cache keeps it.
- V14.3.1: the browser keeps marks that the server has not yet acknowledged, on purpose: they must not be lost.
- V8.1.1, V15.1.1, V15.2.1 (documents): in DEVELOPERS.md.
"""

from __future__ import annotations

import ast
import io
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import anyio
import httpx
import pytest
from PIL import Image

from intake.page import guard
from intake.page.app import make_app
from intake.page.server import run

ROOT = Path(__file__).resolve().parent.parent
SCRIPTS = sorted((ROOT / "intake" / "page" / "static").glob("*.js"))
PRODUCT = [path for room in ("intake", "estimator", "vision") for path in sorted((ROOT / room).rglob("*.py"))]
TOKEN = "a-token-of-this-run"
HOME = "http://127.0.0.1:8123"
ODD_NAME = "a&size=x#%2e.jpg"
MARKUP = "</script><img src=x onerror=alert(1)>"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name in ("IMG_0001.jpg", ODD_NAME):
        Image.new("RGB", (640, 480), "grey").save(tmp_path / name, "JPEG")
    (tmp_path / "page.jpg").write_bytes(b"<html><script>alert(1)</script></html>")
    (tmp_path / "run.py").write_text("print('run')")
    (tmp_path / "page.html").write_text("<p>mine</p>")
    (tmp_path / ".git").mkdir()
    (tmp_path / ".git" / "config").write_text("[core]")
    (tmp_path / "survey.json").write_text('{"schema_version": 1, "walls": [{"id": "north"}]}', encoding="utf-8")
    return tmp_path


class Door:
    """Requests to one run of the page; by default as its own page sends them."""

    def __init__(self, folder: Path, token: str = TOKEN) -> None:
        self.app = make_app(folder, token)

    def ask(self, method: str, path: str, *, without: str = "", **said: Any) -> httpx.Response:
        headers = {"host": "127.0.0.1:8123", "origin": HOME, "cookie": f"perpend_8123={TOKEN}"} | said.pop(
            "headers", {}
        )
        headers = {name: value for name, value in headers.items() if name != without}

        async def send() -> httpx.Response:
            transport = httpx.ASGITransport(app=self.app, raise_app_exceptions=False)
            async with httpx.AsyncClient(transport=transport, base_url=HOME) as client:
                return await client.request(method, path, headers=headers, **said)

        return anyio.run(send)

    def edit(self, path: list[str], value: object, **said: Any) -> httpx.Response:
        return self.ask("POST", "/api/change", json={"edits": [{"path": path, "value": value}], "force": True}, **said)


@pytest.fixture
def door(folder: Path) -> Iterator[Door]:
    yield Door(folder)


ANSWERS = [
    ("GET", "/"), ("GET", "/static/main.js"), ("GET", "/static/page.css"), ("GET", "/static/icon.svg"),
    ("GET", "/api/state"), ("GET", "/api/photo?file=IMG_0001.jpg&size=thumb"),
    ("GET", "/api/photo?file=none&size=base"), ("GET", "/api/photo?file=page.jpg&size=base"),
    ("GET", "/nowhere"), ("GET", "/api/openapi.json"),
    ("POST", "/api/change"), ("POST", "/api/refine"), ("PUT", "/api/change"),
]  # fmt: skip


def calls(path: Path) -> set[str]:
    """Return the names of what a module calls, dotted."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return {ast.unparse(node.func) for node in ast.walk(tree) if isinstance(node, ast.Call)}


def imports(path: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module.split(".")[0])
    return found


def test_v1_2_1_and_1_2_3_a_name_with_markup_reaches_the_browser_as_json_text_only(door: Door) -> None:
    assert door.edit(["title"], MARKUP).status_code == 200
    state = door.ask("GET", "/api/state")
    assert state.json()["survey"]["title"] == MARKUP
    assert state.headers["content-type"] == "application/json"
    assert "onerror" not in door.ask("GET", "/").text


def test_v1_2_2_names_of_photos_are_encoded_in_addresses_and_decoded_once(door: Door) -> None:
    answer = door.ask("GET", "/api/photo", params={"file": ODD_NAME, "size": "thumb"})
    assert (answer.status_code, answer.headers["content-type"]) == (200, "image/jpeg")
    for script in SCRIPTS:
        for value in re.findall(r"[?&](?:file|wall|photo)=\$\{([^}]*)\}", script.read_text(encoding="utf-8")):
            assert value.startswith("encodeURIComponent("), f"{script.name}: {value}"


def test_v1_2_5_the_product_starts_no_other_program() -> None:
    for path in PRODUCT:
        assert not imports(path) & {"subprocess", "pty", "commands"}, path
        assert not calls(path) & {"os.system", "os.popen", "os.execv", "os.spawnv"}, path


def test_v1_3_2_nothing_is_evaluated(door: Door) -> None:
    for path in PRODUCT:
        assert not calls(path) & {"eval", "exec", "compile", "pickle.loads", "pickle.load"}, path
        assert not imports(path) & {"pickle", "marshal", "shelve", "xml", "lxml"}, path  # V1.5.1, V1.5.2 as well
    for script in SCRIPTS:
        assert not re.search(r"\beval\(|new Function|setTimeout\([\"'`]", script.read_text(encoding="utf-8")), script
    assert "unsafe-eval" not in door.ask("GET", "/").headers["content-security-policy"]


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (["walls", "north", "taped"], {"width_mm": -3}),
        (["walls", "north", "built"], "yesterday"),
        (["schema_version"], 99),
        (["photos", "../../etc/passwd"], {"file": "../../etc/passwd"}),
    ],
)
def test_v2_2_1_and_2_2_2_the_server_checks_each_value_whatever_the_browser_did(
    door: Door, folder: Path, path: list[str], value: object
) -> None:
    before = (folder / "survey.json").read_bytes()
    answer = door.edit(path, value)
    assert answer.status_code == 422
    assert "survey.json" in answer.json()["problem"]
    assert (folder / "survey.json").read_bytes() == before


def test_v3_2_1_and_5_2_2_a_page_that_calls_itself_a_photo_is_never_shown_as_one(door: Door) -> None:
    answer = door.ask("GET", "/api/photo?file=page.jpg&size=base")
    assert answer.status_code == 422
    assert answer.headers["content-type"].startswith("text/plain")
    assert "page.jpg: cannot be read" in answer.text
    assert door.ask("GET", "/api/state", headers={"sec-fetch-site": "cross-site"}).status_code == 403


def test_v3_2_2_the_scripts_set_text_and_never_markup() -> None:
    for script in SCRIPTS:
        text = script.read_text(encoding="utf-8")
        assert not re.search(r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|srcdoc", text), script


def test_v3_3_2_and_3_3_4_the_cookie_is_strict_out_of_scripts_reach_and_its_value_is_sent_no_other_way(
    door: Door,
) -> None:
    answer = door.ask("GET", f"/?token={TOKEN}", without="cookie", headers={"origin": HOME})
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert "path=/" in cookie
    assert "domain" not in cookie
    for method, path in ANSWERS:
        assert TOKEN not in door.ask(method, path).text


def test_v3_4_2_no_other_origin_is_let_in_by_a_header(door: Door) -> None:
    for method, path in ANSWERS:
        for origin in (HOME, "http://example.org", "null"):
            told = door.ask(method, path, headers={"origin": origin}).headers
            assert not [name for name in told if name.startswith("access-control-")]
    assert door.ask("OPTIONS", "/api/change", headers={"access-control-request-method": "POST"}).status_code == 405


@pytest.mark.parametrize(("method", "path"), ANSWERS)
def test_v3_4_3_to_3_4_6_every_answer_carries_the_policy_and_forbids_sniffing_referrers_and_frames(
    door: Door, method: str, path: str
) -> None:
    for answer in (door.ask(method, path), door.ask(method, path, without="cookie")):
        policy = dict(part.strip().split(" ", 1) for part in answer.headers["content-security-policy"].split(";"))
        assert (
            policy["default-src"] == policy["object-src"] == policy["base-uri"] == policy["frame-ancestors"] == "'none'"
        )
        assert policy["script-src"] == "'self'"
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["referrer-policy"] == "no-referrer"


@pytest.mark.parametrize("kind", ["application/json", "text/plain", "application/x-www-form-urlencoded", ""])
@pytest.mark.parametrize("origin", ["http://example.org", "null", "http://127.0.0.1:9", None])
def test_v3_5_1_and_3_5_2_no_post_of_another_page_changes_anything(
    door: Door, folder: Path, kind: str, origin: str | None
) -> None:
    before = (folder / "survey.json").read_bytes()
    said = {"content-type": kind} | ({"origin": origin} if origin else {})
    posted = b'{"edits": [{"path": ["title"], "value": "theirs"}], "force": true}'
    answer = door.ask("POST", "/api/change", content=posted, headers=said, without="" if origin else "origin")
    assert answer.status_code == 403
    assert (folder / "survey.json").read_bytes() == before


def test_v3_5_3_what_changes_things_cannot_be_had_by_a_get(door: Door, folder: Path) -> None:
    for path in ("/api/change", "/api/preview", "/api/refine", "/api/restore"):
        assert door.ask("GET", path).status_code == 405
        assert door.ask("HEAD", path).status_code == 405
    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    for method, path in ANSWERS:
        if method == "GET":
            door.ask(method, path)
    assert {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()} == before


@pytest.mark.parametrize(("method", "path"), ANSWERS)
def test_v4_1_1_every_answer_names_its_kind_and_its_letters(door: Door, method: str, path: str) -> None:
    answer = door.ask(method, path)
    kind = answer.headers["content-type"]
    if kind.startswith("text/") or "xml" in kind:
        assert kind.endswith("; charset=utf-8")
        answer.content.decode("utf-8")
    elif kind == "application/json":
        answer.json()
    else:
        assert kind == "image/jpeg"
        Image.open(io.BytesIO(answer.content)).verify()


def test_v4_4_1_there_is_no_socket_to_speak_to(door: Door) -> None:
    told: list[Any] = []

    async def knock() -> None:
        async def receive() -> dict[str, str]:
            return {"type": "websocket.connect"}

        async def send(message: Any) -> None:
            told.append(message)

        scope = {
            "type": "websocket",
            "path": "/api/news",
            "headers": [],
            "query_string": b"",
            "server": ("127.0.0.1", 8123),
        }
        await door.app(scope, receive, send)

    anyio.run(knock)
    assert not any(message["type"] == "websocket.accept" for message in told)


def test_v5_2_1_a_post_may_not_be_larger_than_any_change(door: Door) -> None:
    assert door.ask("POST", "/api/change", content=b"x" * (guard.MAX_BODY_BYTES + 1)).status_code == 413


@pytest.mark.parametrize("path", ["/run.py", "/page.html", "/static/run.py", "/static/page.html", "/survey.json"])
def test_v5_3_1_and_13_4_7_what_lies_in_the_folder_is_neither_run_nor_served(door: Door, path: str) -> None:
    assert door.ask("GET", path).status_code == 404


@pytest.mark.parametrize(
    "name",
    ["../survey.json", "..%2fsurvey.json", "/etc/passwd", "....//survey.json", "IMG_0001.jpg/../survey.json",
     "survey.json", "IMG_0001.jpg%00.png", "file:///etc/passwd", "..\\survey.json", "run.py"],
)  # fmt: skip
def test_v5_3_2_only_names_that_the_folder_lists_as_photos_are_opened(door: Door, name: str) -> None:
    for size in ("thumb", "base", "tile&x=0&y=0"):
        assert door.ask("GET", f"/api/photo?file={name}&size={size}").status_code == 404
    posted = {"file": name, "points": [{"px": [1, 1], "reach_px": 5}]}
    assert door.ask("POST", "/api/refine", json=posted).status_code == 404


def test_v7_2_1_and_8_2_1_and_8_3_1_each_request_is_checked_by_the_server(door: Door) -> None:
    for route in door.app.routes:
        path = getattr(route, "path", "").replace("{name}", "main.js")
        for method in getattr(route, "methods", set()):
            for cookie in (
                "",
                "perpend_8123=",
                f"perpend_8123={TOKEN[:-1]}",
                f"perpend_8123={TOKEN}x",
                f"token={TOKEN}",
            ):
                assert door.ask(method, path, headers={"cookie": cookie}).status_code == 403, (method, path, cookie)


def started(folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> str:
    """Start and stop a run of the page; return its token."""
    from intake.page import server

    monkeypatch.setattr(server._Server, "run", lambda self, sockets: None)
    run(folder, port=0, open_browser=False)
    found = re.search(r"http://127\.0\.0\.1:\d+/\?token=(\S+)", capsys.readouterr().err)
    assert found is not None
    return found[1]


def test_v7_2_2_and_7_2_3_each_start_draws_a_token_of_at_least_128_bits(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    tokens = {started(folder, monkeypatch, capsys) for _ in range(8)}
    assert len(tokens) == 8
    assert all(re.fullmatch(r"[A-Za-z0-9_-]+", token) and len(token) * 6 >= 128 for token in tokens)
    text = (ROOT / "intake" / "page" / "server.py").read_text(encoding="utf-8")
    assert "secrets.token_urlsafe" in text
    assert "import random" not in text


def test_v7_2_4_and_7_4_1_a_cookie_of_an_earlier_run_opens_nothing(folder: Path) -> None:
    assert Door(folder, "a-token-of-another-run").ask("GET", "/api/state").status_code == 403


def test_v13_4_1_and_13_4_3_no_history_and_no_listing_is_served(door: Door) -> None:
    for path in ("/.git/config", "/.git/", "/static/", "/static", "/api/", "/results/", "/.survey.lock"):
        assert door.ask("GET", path).status_code == 404


def test_v13_4_4_trace_is_not_answered(door: Door) -> None:
    assert door.ask("TRACE", "/").status_code == 405


def test_v13_4_6_no_answer_tells_what_serves_it(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from intake.page import server

    kept: list[Any] = []
    monkeypatch.setattr(server._Server, "__init__", lambda self, config, end: kept.append(config))
    started(folder, monkeypatch, capsys)
    assert kept[0].server_header is False
    for method, path in ANSWERS:
        told = Door(folder).ask(method, path)
        assert "server" not in told.headers
        assert not re.search(r"uvicorn|starlette|python", told.text.lower()) or path == "/api/openapi.json"


def test_v14_2_1_the_token_is_taken_out_of_the_address_at_once_and_opens_no_other(door: Door) -> None:
    answer = door.ask("GET", f"/?token={TOKEN}", without="cookie")
    assert (answer.status_code, answer.headers["location"]) == (303, "/")
    assert answer.headers["cache-control"] == "no-store"
    assert answer.headers["referrer-policy"] == "no-referrer"
    for path in ("/api/state", "/api/photo", "/static/main.js"):
        assert door.ask("GET", f"{path}?token={TOKEN}&file=IMG_0001.jpg&size=base", without="cookie").status_code == 403


def test_v14_3_2_nothing_said_of_the_home_is_kept_in_a_cache_and_pictures_only_in_the_persons_own(door: Door) -> None:
    for method, path in ANSWERS:
        answer = door.ask(method, path)
        if answer.headers["content-type"] == "image/jpeg":
            assert "private" in answer.headers["cache-control"]
        else:
            assert answer.headers["cache-control"] == "no-store"


def test_v15_3_1_the_page_is_told_the_folders_name_and_not_its_place(door: Door, folder: Path) -> None:
    for method, path in ANSWERS:
        assert str(folder.parent) not in door.ask(method, path).text


def test_v16_5_1_an_error_of_the_server_itself_tells_nothing_of_its_inside(
    door: Door, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken() -> None:
        raise RuntimeError("secret of /home/someone")

    monkeypatch.setattr(door.app.state.bench, "state", broken)
    answer = door.ask("GET", "/api/state")
    assert answer.status_code == 500
    assert answer.json()["problem"].startswith("The page's server failed on this; nothing was changed.")
    assert "secret" not in answer.text
    assert "Traceback" not in answer.text
    assert answer.headers["content-security-policy"] == guard.HEADERS["content-security-policy"]
