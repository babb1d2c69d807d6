"""The page's server answers only the page that it opened itself, and says why it refuses the rest."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from PIL import Image

from intake.page.app import make_app
from intake.page.guard import MAX_BODY_BYTES
from vision.findings import PerpendError

TOKEN = "a-token-of-this-run"
HOME = "http://127.0.0.1:8123"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("survey")
    Image.new("RGB", (640, 480), "grey").save(place / "IMG_0001.jpg")
    (place / "secret.txt").write_text("not a photo")
    return place


class Browser:
    """A loopback client with the cookie of the page, or without."""

    def __init__(self, folder: Path, *, cookie: bool = True) -> None:
        self.transport = httpx.ASGITransport(app=make_app(folder, TOKEN))
        self.cookie = cookie

    def ask(self, method: str, path: str, **changes: object) -> httpx.Response:
        import anyio

        headers = {"host": "127.0.0.1:8123", "origin": HOME} | dict(changes.pop("headers", {}))  # type: ignore[call-overload]
        headers = {k: v for k, v in headers.items() if v is not None}
        if self.cookie:
            headers.setdefault("cookie", f"perpend_8123={TOKEN}")

        async def run() -> httpx.Response:
            async with httpx.AsyncClient(transport=self.transport, base_url=HOME) as client:
                return await client.request(method, path, headers=headers, **changes)  # type: ignore[arg-type]

        return anyio.run(run)


@pytest.fixture
def browser(folder: Path) -> Iterator[Browser]:
    yield Browser(folder)


def test_the_address_printed_lets_a_browser_in_once_and_hides_the_token(folder: Path) -> None:
    answer = Browser(folder, cookie=False).ask("GET", f"/?token={TOKEN}", headers={"origin": None})
    assert answer.status_code == 303
    assert answer.headers["location"] == "/"
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie


def test_the_page_is_served_with_a_policy_that_shuts_everything_else_out(browser: Browser) -> None:
    answer = browser.ask("GET", "/")
    assert answer.status_code == 200
    assert "perpend" in answer.text
    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "http:" not in policy
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["cross-origin-resource-policy"] == "same-origin"


@pytest.mark.parametrize("path", ["/", "/api/state", "/static/main.js", "/api/photo?file=IMG_0001.jpg&size=thumb"])
@pytest.mark.parametrize("cookie", ["", "perpend_8123=wrong-token-entirely", "perpend_9000=" + TOKEN])
def test_without_this_runs_token_nothing_is_served(folder: Path, path: str, cookie: str) -> None:
    answer = Browser(folder).ask("GET", path, headers={"cookie": cookie})
    assert answer.status_code == 403
    assert "each start has a new one" in answer.text


def test_a_wrong_token_in_the_address_is_refused(folder: Path) -> None:
    assert Browser(folder, cookie=False).ask("GET", "/?token=guess").status_code == 403


@pytest.mark.parametrize(
    "host", ["example.org", "example.org:8123", "127.0.0.1", "127.0.0.1:9", "127.0.0.1.nip.io:8123"]
)
def test_a_foreign_host_is_refused_even_with_the_token(browser: Browser, host: str) -> None:
    assert browser.ask("GET", "/api/state", headers={"host": host, "origin": None}).status_code == 421


@pytest.mark.parametrize("origin", ["http://example.org", "http://127.0.0.1:9", "https://127.0.0.1:8123", "null"])
def test_a_foreign_origin_is_refused_even_with_the_token(browser: Browser, origin: str) -> None:
    assert browser.ask("GET", "/api/state", headers={"origin": origin}).status_code == 403
    assert browser.ask("POST", "/api/change", headers={"origin": origin}, json={}).status_code == 403


def test_a_change_must_name_its_origin(browser: Browser) -> None:
    assert browser.ask("POST", "/api/change", headers={"origin": None}, json={}).status_code == 403


def test_a_request_made_by_another_site_is_refused(browser: Browser) -> None:
    for site in ("cross-site", "same-site"):
        assert browser.ask("GET", "/api/state", headers={"sec-fetch-site": site}).status_code == 403


@pytest.mark.parametrize(
    "path",
    [
        "/api/photo?file=../secret.txt&size=base",
        "/api/photo?file=secret.txt&size=base",
        "/api/photo?file=/etc/passwd&size=thumb",
        "/api/photo?file=..%2F..%2Fetc%2Fpasswd&size=tile&x=0&y=0",
        "/api/photo?file=IMG_0001.jpg&size=../../x",
        "/api/photo?file=IMG_0001.jpg&size=tile&x=-1&y=0",
        "/api/photo?file=IMG_0001.jpg&size=tile&x=99&y=0",
        "/api/photo?file=IMG_0001.jpg&size=tile&x=one&y=0",
        "/static/../app.py",
        "/static/..%2Fapp.py",
        "/static/%2e%2e%2fapp.py",
        "/static/page.html",
        "/static/none.js",
        "/secret.txt",
    ],
)
def test_only_the_surveys_photos_and_the_pages_own_files_are_served(browser: Browser, path: str) -> None:
    answer = browser.ask("GET", path)
    assert answer.status_code == 404
    assert "not a photo" not in answer.text


def test_a_photo_of_the_survey_is_served_as_a_jpeg(browser: Browser) -> None:
    for query in ("size=thumb", "size=base", "size=tile&x=1&y=0"):
        answer = browser.ask("GET", f"/api/photo?file=IMG_0001.jpg&{query}")
        assert (answer.status_code, answer.headers["content-type"]) == (200, "image/jpeg")
        assert answer.content[:3] == b"\xff\xd8\xff"


def test_a_post_that_declares_100_mb_is_refused_before_it_is_read(browser: Browser) -> None:
    read = 0

    async def body() -> object:
        nonlocal read
        for _ in range(100):
            read += 1
            yield b"x" * 1_000_000

    answer = browser.ask("POST", "/api/change", content=body(), headers={"content-length": "100000000"})
    assert answer.status_code == 413
    assert read <= 1


def test_a_post_that_streams_100_mb_undeclared_is_cut_off(browser: Browser) -> None:
    read = 0

    async def body() -> object:
        nonlocal read
        for _ in range(1000):
            read += 1
            yield b"x" * 100_000

    answer = browser.ask("POST", "/api/change", content=body(), headers={"transfer-encoding": "chunked"})
    assert answer.status_code == 413
    assert read * 100_000 <= MAX_BODY_BYTES + 200_000


def test_a_length_that_is_no_number_is_refused(browser: Browser) -> None:
    assert browser.ask("POST", "/api/change", content=b"{}", headers={"content-length": "-5"}).status_code == 413


@pytest.mark.parametrize("content", [b"", b"[]", b"{", b'{"edits": 3}', b'{"edits": []}', b"\xff\xfe"])
def test_a_post_that_is_no_change_is_refused_in_words(browser: Browser, content: bytes) -> None:
    answer = browser.ask("POST", "/api/change", content=content)
    assert answer.status_code == 422
    assert answer.json()["problem"]


@pytest.mark.parametrize("address", ["/api/change", "/api/preview"])
@pytest.mark.parametrize(
    ("edits", "words"),
    [
        ([{"path": ["walls"], "value": 3}, {"path": ["walls", "n"], "value": {"id": "n"}}], "walls is not a list"),
        ([{"path": ["walls"], "value": "abc"}, {"path": ["walls", "n", "id"], "value": "n"}], "walls is not a list"),
        ([{"path": ["title"], "value": json.loads("[" * 400 + "]" * 400)}], "nested too deeply"),
        ([{"path": ["site"] * 20_000, "value": 1}], "nested too deeply"),
    ],
    ids=["number for a list", "text for a list", "deep value", "deep path"],
)
def test_edits_that_would_break_the_survey_are_refused_in_words(
    browser: Browser, address: str, edits: list[object], words: str
) -> None:
    answer = browser.ask("POST", address, json={"edits": edits})
    assert answer.status_code == 422
    assert words in answer.json()["problem"]


@pytest.mark.parametrize("address", ["/api/change", "/api/preview", "/api/refine"])
def test_a_post_nested_deeper_than_any_survey_is_refused_in_words(browser: Browser, address: str) -> None:
    answer = browser.ask("POST", address, content=b"[" * 100_000)
    assert (answer.status_code, answer.json()["problem"]) == (422, "the post is not JSON")


def test_a_point_beyond_all_numbers_is_refused_in_words(browser: Browser) -> None:
    posted = b'{"file": "IMG_0001.jpg", "points": [{"px": [1%s, 3], "reach_px": 10}]}' % (b"0" * 400)
    assert browser.ask("POST", "/api/refine", content=posted).status_code == 400


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH"])
def test_other_methods_change_nothing(browser: Browser, method: str) -> None:
    assert browser.ask(method, "/api/change").status_code == 405


def test_a_change_that_would_not_be_a_survey_is_refused_and_nothing_is_written(browser: Browser, folder: Path) -> None:
    posted = {"edits": [{"path": ["walls", "north"], "value": {"id": "north", "heigth": 3}, "was": None}]}
    answer = browser.ask("POST", "/api/change", json=posted)
    assert answer.status_code == 422
    assert 'unknown key "heigth"' in answer.json()["problem"]
    assert not (folder / "survey.json").exists()


def test_a_short_token_or_a_missing_folder_is_refused(folder: Path) -> None:
    with pytest.raises(PerpendError, match="16 characters"):
        make_app(folder, "short")
    with pytest.raises(PerpendError, match="no such folder"):
        make_app(folder / "none", TOKEN)
