"""The page answers every request as its own description says, whatever is sent; nothing ends in a server error."""

from __future__ import annotations

from typing import Any

import pytest
import schemathesis
import schemathesis.checks
from hypothesis import HealthCheck, Phase, given, settings
from PIL import Image

from intake.page.app import make_app
from intake.page.description import description

TOKEN = "a-token-of-this-run"
HOME = "http://127.0.0.1:8123"
HEADERS = {"host": "127.0.0.1:8123", "origin": HOME, "cookie": f"perpend_8123={TOKEN}"}
STEADY = settings(
    max_examples=40, deadline=None, derandomize=True, phases=[Phase.explicit, Phase.generate],
    suppress_health_check=list(HealthCheck),
)  # fmt: skip


@pytest.fixture(scope="module")
def app(tmp_path_factory: pytest.TempPathFactory) -> Any:
    folder = tmp_path_factory.mktemp("described")
    Image.new("RGB", (1300, 900), "grey").save(folder / "IMG_0001.jpg")
    (folder / "survey.json").write_text('{"schema_version": 1, "walls": [{"id": "north"}]}', encoding="utf-8")
    return make_app(folder, TOKEN)


@pytest.fixture(scope="module")
def described(app: Any) -> Any:
    async def as_served(scope: dict[str, Any], receive: Any, send: Any) -> None:
        if scope["type"] == "http":  # no lifespan: the background work has its own tests
            await app({**scope, "server": ("127.0.0.1", 8123)}, receive, send)

    return schemathesis.openapi.from_asgi("/api/openapi.json", as_served, headers=HEADERS)


OPERATIONS = [(path, method) for path, item in description(8123)["paths"].items() for method in item]


@pytest.mark.parametrize("mode", ["positive", "negative"])
@pytest.mark.parametrize(("path", "method"), [pair for pair in OPERATIONS if pair[0] != "/api/news"])
def test_every_request_is_answered_as_described(described: Any, path: str, method: str, mode: str) -> None:
    operation = described[path][method.upper()]
    if mode == "negative" and not (operation.body or operation.query):
        return  # nothing can be sent wrongly
    requests = operation.as_strategy(generation_mode=schemathesis.GenerationMode(mode))
    # An edit of the right shape may still not make a survey: that is a described 422.
    excluded = [schemathesis.checks.CHECKS.get_one("positive_data_acceptance")] if operation.body else []

    @STEADY
    @given(case=requests)
    def answered(case: Any) -> None:
        left_out = "perpend_8123" not in (case.cookies or {})  # a negative case may be the missing cookie itself
        case.call_and_validate(headers=HEADERS | ({"cookie": ""} if left_out else {}), excluded_checks=excluded)

    answered()


def test_every_route_of_the_api_is_described_with_its_method(app: Any) -> None:
    served = {(r.path, m.lower()) for r in app.routes for m in r.methods if r.path.startswith("/api/") and m != "HEAD"}
    told = {(path, method) for path, item in description(8123)["paths"].items() for method in item}
    assert told == served
