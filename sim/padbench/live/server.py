"""The server of the page: loopback only, and only for who has the token of this run.

    with LiveServer(bench, port=0) as server:
        print(server.address)
        server.serve_forever()

Every call carries the whole state of its tab. The page names no file and sends no code: a dial is
one of `padbench.live.dials`, and the name under which something is kept is a plain name.
"""

import json
import secrets
from collections.abc import Callable, Mapping
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from pydantic import ValidationError

from padbench.jobs.loading import Refusal
from padbench.live.bench import Bench
from padbench.live.keep import keep
from padbench.live.page import findings_told, page_html, read_told, volts_told
from padbench.live.state import State
from padbench.live.verdict import Verdicts
from padbench.routines.routine import RoutineError
from padbench.scenarios import ROUTINE_SCENARIOS
from padbench.sheet import SheetError

MOST_BYTES = 16_384
"""Of the body of a call."""
_PATIENCE = 20.0
"""Seconds that a call may take to arrive."""

HOST = "127.0.0.1"


class LiveServer(ThreadingHTTPServer):
    """One bench as a server; ``OSError`` if the port cannot be had (0: any that is free)."""

    daemon_threads = True

    def __init__(self, bench: Bench, port: int = 0) -> None:
        self.verdicts = Verdicts()  # first, since a port that cannot be had closes all again
        try:
            super().__init__((HOST, port), _Handler)
            self.bench = bench
            self.token = secrets.token_urlsafe(24)
            self.verdicts.warm(bench.pad(State()))
            self.page = page_html(bench, self.token).encode()
        except BaseException:
            self.verdicts.close()
            raise
        self.hosts = {f"{name}:{self.server_port}" for name in (HOST, "localhost")}

    @property
    def address(self) -> str:
        """Where the page is, with the token."""
        return f"http://{HOST}:{self.server_port}/?token={self.token}"

    def server_close(self) -> None:
        """End the workers as well."""
        super().server_close()
        self.verdicts.close()

    def handle_error(self, request: Any, client_address: Any) -> None:
        """Nothing: a tab that is closed in the midst of a call is no fault."""

    # --- the calls ----------------------------------------------------------------------------

    def read(self, state: State, asked: Mapping[str, Any]) -> dict[str, Any]:
        """The read, its wave, and its voltages where the page has a place for them."""
        pad = self.bench.pad(state)
        # They are known by a sweep, for which no other tab should wait.
        if state.event in ROUTINE_SCENARIOS and pad.poll is not None:
            self.verdicts.sweep("", 0, pad)
        with self.bench.lock:
            shown = self.bench.read(state)
            told = read_told(shown)
            if asked.get("volts") and shown.run.reads:
                told["volts"] = volts_told(shown, *self.bench.volts(shown))
        return told

    def judge(self, state: State, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Electrical findings with their bars."""
        self.verdicts.newest(*_turn(asked))
        told = findings_told(self.bench.judged(state), self.bench.judged(State()))
        return told | {"routine": self.bench.pad(state).poll is not None}

    def verdict(self, state: State, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Every scenario; ``stale`` if the same tab has asked for something newer."""
        pad, judged = self.bench.pad(state), self.bench.judged(state)
        found = self.verdicts.of(*_turn(asked), pad, judged)
        if found is None:
            return {"stale": True}
        if own := found.pop("routine"):
            same = own if self.bench.pad(State()).poll is pad.poll else ()
            before = [*self.bench.judged(State()), *same]
            found["judged"] = findings_told([*judged, *own], before)
        return found

    def keep(self, state: State, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Files with what the page shows, under a new name."""
        with self.bench.lock:
            return keep(self.bench, state, asked.get("name"))


def _turn(asked: Mapping[str, Any]) -> tuple[str, int]:
    """Which tab asks, and how often it has turned a dial."""
    turn = asked.get("turn")
    return str(asked.get("tab"))[:40], turn if isinstance(turn, int) else 0


class _Handler(BaseHTTPRequestHandler):
    server: LiveServer
    timeout = _PATIENCE
    protocol_version = "HTTP/1.1"
    server_version, sys_version = "padbench", ""

    def log_message(self, format: str, *args: Any) -> None:
        """Nothing: a terminal is no place for every flip of a switch."""

    def do_GET(self) -> None:
        path, _, query = self.path.partition("?")
        if not self._from_here():
            return
        if path != "/":
            self._refuse(HTTPStatus.NOT_FOUND, "there is nothing here; open the address as printed")
        elif not self._same(query.removeprefix("token=")):
            self._refuse(HTTPStatus.FORBIDDEN, "the token is wrong; open the address as printed")
        else:
            self._send(HTTPStatus.OK, "text/html; charset=utf-8", self.server.page)

    def do_POST(self) -> None:
        calls: dict[str, Callable[[State, Mapping[str, Any]], dict[str, Any]]] = {
            f"/{name}": getattr(self.server, name) for name in ("read", "judge", "verdict", "keep")
        }
        if not self._from_here():
            return
        origin = self.headers.get("Origin", "")
        call = calls.get(self.path)
        length = self.headers.get("Content-Length", "")
        if origin not in {f"http://{host}" for host in self.server.hosts}:
            self._refuse(HTTPStatus.FORBIDDEN, "the call comes from another page")
        elif not self._same(self.headers.get("X-Token", "")):
            self._refuse(HTTPStatus.FORBIDDEN, "the token is wrong; open the page anew")
        elif call is None:
            self._refuse(HTTPStatus.NOT_FOUND, "there is no such call")
        elif not (length.isascii() and length.isdigit()):
            self._refuse(HTTPStatus.LENGTH_REQUIRED, "the call does not say how long it is")
        elif int(length) > MOST_BYTES:
            self._refuse(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, "the call is too long")
        else:
            self._answer(call, self.rfile.read(int(length)))

    def _answer(
        self, call: Callable[[State, Mapping[str, Any]], dict[str, Any]], body: bytes
    ) -> None:
        try:
            asked = json.loads(body)
            if not isinstance(asked, dict):
                raise ValueError("it is no object")
            state = State.model_validate(asked.get("state"))
        except (ValueError, RecursionError) as error:
            said = str(error).split("\n", 1)[0][:200]
            if isinstance(error, ValidationError):
                first = error.errors(include_url=False)[0]
                said = ".".join(map(str, ("state", *first["loc"])))[:200] + f": {first['msg']}"
            self._refuse(HTTPStatus.BAD_REQUEST, f"the call is not as the page makes it: {said}")
            return
        try:
            told = call(state, asked)
        except SheetError as error:
            problems = [": ".join(filter(None, (p.key, f"{p.found} {p.wrong}".strip())))
                        + (f"; {p.instead}" if p.instead else "")
                        for p in error.problems]  # fmt: skip
            self._tell(HTTPStatus.UNPROCESSABLE_ENTITY, {"problems": problems})
        except Refusal as error:
            said = f"{error.option}: {error.says}"
            self._tell(HTTPStatus.UNPROCESSABLE_ENTITY, {"problems": [said]})
        except (RoutineError, OSError) as error:
            self._tell(HTTPStatus.UNPROCESSABLE_ENTITY, {"problems": [str(error)[:300]]})
        except Exception as error:
            # As on the command line: a fault of ours must not look like one of the design.
            said = f"a fault in padbench itself: {type(error).__name__}: {str(error)[:200]}"
            self._tell(HTTPStatus.INTERNAL_SERVER_ERROR, {"problems": [said]})
        else:
            self._tell(HTTPStatus.OK, told)

    def _from_here(self) -> bool:
        """Whether the browser was sent to this machine by that name, and to no other."""
        named = self.headers.get_all("Host", [])
        if len(named) == 1 and named[0] in self.server.hosts:
            return True
        self._refuse(HTTPStatus.FORBIDDEN, "this server answers only by its own address")
        return False

    def _same(self, token: str) -> bool:
        return secrets.compare_digest(token.encode(), self.server.token.encode())

    def _refuse(self, status: HTTPStatus, says: str) -> None:
        self.close_connection = True  # what it still sends is not read
        self._tell(status, {"problems": [says]})

    def _tell(self, status: HTTPStatus, told: Mapping[str, Any]) -> None:
        body = json.dumps(told, separators=(",", ":")).encode()
        self._send(status, "application/json", body)

    def _send(self, status: HTTPStatus, kind: str, body: bytes) -> None:
        self.send_response(status)
        for name, value in (
            ("Content-Type", kind),
            ("Content-Length", str(len(body))),
            ("Cache-Control", "no-store"),
            ("Referrer-Policy", "no-referrer"),
            ("X-Content-Type-Options", "nosniff"),
            ("X-Frame-Options", "DENY"),
            ("Cross-Origin-Resource-Policy", "same-origin"),
        ):
            self.send_header(name, value)
        if self.close_connection:
            self.send_header("Connection", "close")
        self.end_headers()
        self.wfile.write(body)
