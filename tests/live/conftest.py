"""A bench, its server in a thread, and the browser of the tests of pages."""

import json
import shutil
import threading
from collections.abc import Callable, Iterator
from http.client import HTTPConnection
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path
from typing import Any

import pytest

from padbench.live.bench import Bench
from padbench.live.server import LiveServer

ROOT = Path(__file__).parents[2]


def _of_pages() -> Any:
    spec = spec_from_file_location("browser_of_pages", ROOT / "tests" / "results" / "conftest.py")
    assert spec is not None
    assert spec.loader is not None
    module = module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


browser = _of_pages().browser


@pytest.fixture(scope="session")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the example sheets, in which things can be kept."""
    folder = tmp_path_factory.mktemp("live") / "sheets"
    folder.mkdir()
    for name in ("harbour-a", "harbour-b"):
        shutil.copy(ROOT / "sim" / "sheets" / f"{name}.toml", folder)
    return folder


@pytest.fixture(scope="session")
def server(folder: Path) -> Iterator[LiveServer]:
    with LiveServer(Bench(folder / "harbour-b.toml")) as made:
        thread = threading.Thread(target=made.serve_forever, kwargs={"poll_interval": 0.02})
        thread.start()
        yield made
        made.shutdown()
        thread.join()


@pytest.fixture(scope="session")
def ask(server: LiveServer) -> Callable[..., tuple[int, dict[str, Any]]]:
    """``ask("read", {"held": 1})`` as the page asks, or with other headers, or another body."""

    def asked(
        call: str,
        state: dict[str, Any] | None = None,
        *,
        headers: dict[str, str | None] | None = None,
        body: bytes | None = None,
        method: str = "POST",
        **more: Any,
    ) -> tuple[int, dict[str, Any]]:
        host = f"127.0.0.1:{server.server_port}"
        sent: dict[str, str | None] = {
            "Host": host, "Origin": f"http://{host}", "X-Token": server.token,
        }  # fmt: skip
        sent |= headers or {}
        connection = HTTPConnection("127.0.0.1", server.server_port, timeout=60)
        content = json.dumps({"state": state or {}, "tab": "t", **more}).encode()
        try:
            connection.request(
                method,
                f"/{call}",
                body=content if body is None else body,
                headers={name: value for name, value in sent.items() if value is not None},
            )
            reply = connection.getresponse()
            text = reply.read()
            kind = reply.getheader("Content-Type", "")
            return reply.status, json.loads(text) if kind == "application/json" else {}
        finally:
            connection.close()

    return asked
