"""The calls of the page, without the page: what they answer, and to whom they answer nothing."""

import random
import socket
import threading

import pytest

import padbench as pb
from padbench.circuit.electric import judge_electric
from padbench.jobs.loading import Refusal
from padbench.live.state import State
from padbench.live.verdict import Verdicts
from padbench.scenarios.expect import expected_bits
from padbench.trials.trial import try_sheet


def byte_of_bits(bits) -> int:
    return sum(128 >> place for place, bit in enumerate(bits[:8]) if bit)


def test_two_hundred_flips_read_what_is_held_or_what_a_stop_makes_of_it(ask):
    """Against the serial order by itself: `expected_bits` knows no simulation."""
    rng = random.Random(19)
    held = 0
    for _ in range(200):
        held ^= 128 >> rng.randrange(8)
        bit, extra = rng.randint(1, 8), rng.randint(1, 3)
        event = rng.choice(["read", "read", "read", "fetch"])
        state = {"held": held, "event": event, "bit": bit, "extra": extra}
        status, told = ask("read", state)
        stop = {"stopped_bit": bit, "extra_clocks": extra} if event == "fetch" else {}
        assert status == 200
        assert told["byte"] == byte_of_bits(expected_bits(held, **stop)), state
        assert told["held"] == told["wants"] == held
        assert told["undecided"] == 0


def test_tabs_do_not_disturb_each_other(ask):
    said = {}

    def tab(number: int) -> None:
        dials = {"register.serial-input": "supply"} if number % 2 else {}
        state = {"held": number, "dials": dials, "event": "past"}
        said[number] = [ask("read", state)[1] for _ in range(3)]

    threads = [threading.Thread(target=tab, args=(number,)) for number in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    for number, tellings in said.items():
        assert [told["byte"] for told in tellings] == [number] * 3
        assert {told["past"] for told in tellings} == {"0" * 8 if number % 2 else "1" * 8}


@pytest.mark.parametrize(
    ("key", "words", "changed"),
    [
        ("cable.length", "50 m", {"data.later-bits"}),
        ("pull-up.value", "1k ± 5 %", {"levels.pressed"}),
        ("pad.supply", "12 V ± 5 %", {"data.over-voltage"}),
        ("register.serial-input", "open", {"wiring.serial-input"}),
        ("works-with.ports", "3v3-adapter", {"levels.pressed"}),
        ("contacts.stuck", "A, Up", {"wiring.stuck-contact"}),
    ],
)
def test_a_dial_changes_the_findings_that_it_changes_in_the_sheet(ask, folder, key, words, changed):
    _, told = ask("judge", {"dials": {key: words}})
    data = dict(pb.load_sheet(folder / "harbour-b.toml").document.data)
    table, name = key.split(".")
    lists = ("works-with.ports", "contacts.stuck")
    value = words.split(", ") if key in lists else words
    sheet = pb.load_sheet({**data, table: {**data[table], name: value}})
    own = {f.id: f.verdict for f in judge_electric(sheet, remedies=False).findings}
    for found in told["changed"]:
        if found["id"] in own:
            assert own[found["id"]] == found["verdict"]
    failing = {found["id"] for found in told["changed"] if found["verdict"] == "fail"}
    assert failing == failing | {one for one in own if one in failing}
    assert failing or key == "works-with.ports"
    assert changed & {found["id"] for found in told["changed"]} or key == "works-with.ports"


def test_the_verdict_is_that_of_the_whole_bench(ask, server):
    port = {"works-with.ports": "pull-down-only"}
    for turn, dials in enumerate((port, port | {"resistors.latch-to-supply": "absent"}), 1):
        status, told = ask("verdict", {"dials": dials}, turn=turn)
        trial = try_sheet(server.bench.pad(State(dials=dials)).sheet, remedies=False)
        assert (status, told["verdict"]) == (200, trial.verdict)
        assert told["verdict"] == ("fail" if dials != port else "pass")
        wrong = {one["name"]: one["wrong"] is not None for one in told["scenarios"]}
        assert wrong == {run.name: run.verdict == "fail" for run in trial.runs}


def test_a_newer_question_of_a_tab_ends_the_older_one(server):
    bench, state = server.bench, State(dials={"works-with.ports": "push-pull"})
    verdicts = server.verdicts
    said = {}

    def wait(turn: int) -> None:
        said[turn] = verdicts.of("one", turn, bench.pad(state), bench.judged(state))

    older = threading.Thread(target=wait, args=(1,))
    older.start()
    verdicts.of("another", 9, bench.pad(State(dials={"works-with.ports": "3v3-adapter"})), [])
    wait(2)
    older.join()
    assert said[2]["verdict"] == "pass"
    wait(1)
    assert said[1] is None


def test_what_cannot_be_is_one_line_that_says_what_would_do(ask):
    for dials, says in (
        ({"cable.length": "2 V"}, "cable.length"),
        ({"cable.length": '1 m"\n[parts]\nfile = "x'}, "cable.length"),
        ({"register.part": "../../x"}, "register.part"),
        ({"parts.file": "x.toml"}, "dial"),
        ({"poll.use": "routine /etc/passwd"}, "poll.use"),
        ({"hdl.sources": "x"}, "dial"),
    ):
        status, told = ask("read", {"dials": dials})
        assert status == 422
        assert len(told["problems"]) == 1
        assert told["problems"][0].startswith(says)
        assert "\n" not in told["problems"][0]
    assert ask("read", {"event": "no such"})[0] == 422


@pytest.mark.parametrize("call", ["read", "judge", "verdict", "keep"])
@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"X-Token": "wrong"}, 403),
        ({"X-Token": None}, 403),
        ({"Host": "example.org"}, 403),
        ({"Host": "example.org:80", "Origin": "http://example.org:80"}, 403),
        ({"Origin": "http://example.org"}, 403),
        ({"Origin": "null"}, 403),
        ({"Origin": None}, 403),
    ],
)
def test_who_is_not_the_page_is_told_nothing(ask, folder, call, headers, status):
    before = sorted(folder.iterdir())
    got, told = ask(call, {"held": 1}, headers=headers, name="stolen")
    assert got == status
    assert set(told) == {"problems"}
    assert sorted(folder.iterdir()) == before


def test_the_page_itself_wants_the_token(ask, server):
    assert ask(f"?token={server.token}", method="GET")[0] == 200
    for path in ("", "?token=", "?token=wrong", f"x?token={server.token}"):
        assert ask(path, method="GET")[0] in (403, 404)
    assert ask(f"?token={server.token}", method="GET", headers={"Host": "example.org"})[0] == 403


def test_it_listens_on_the_loopback_interface_only(server):
    assert server.server_address[0] == "127.0.0.1"


@pytest.mark.parametrize(
    ("body", "status"),
    [
        (b"{" * 20_000, 413),
        (b"[" * 9_000, 400),
        (b"no json", 400),
        (b"[]", 400),
        (b'{"state": {"held": 256}}', 400),
        (b'{"state": {"held": "1"}}', 400),
        (b'{"state": {"bit": 9}}', 400),
        (b'{"state": {"code": "x"}}', 400),
        (b'{"state": {"dials": {"a": 1}}}', 400),
        (b"\xff\xfe", 400),
    ],
)
def test_a_body_that_the_page_never_sends_is_refused(ask, body, status):
    assert ask("read", body=body)[0] == status
    assert ask("read", {"held": 3})[1]["byte"] == 3


def test_a_bad_state_names_its_place(ask):
    told = ask("read", {"held": 256})[1]
    assert "state.held: " in told["problems"][0]
    told = ask("read", {"dials": {"cable.length": 1}})[1]
    assert "state.dials.cable.length: " in told["problems"][0]


def test_a_verdict_that_is_open_when_the_server_ends_is_no_fault(server):
    """Workers that have not even begun are ended at once."""
    verdicts, pad = Verdicts(), server.bench.pad(State())
    ending = threading.Timer(0.1, verdicts.close)
    ending.start()
    for _ in range(2):  # the open one, and one that comes too late
        with pytest.raises(Refusal, match="ended"):
            verdicts.of("one", 1, pad, [])
    ending.join()
    assert not any(worker.process.is_alive() for worker in verdicts._workers)


def test_a_worker_that_is_killed_takes_no_verdict_along(server):
    """One while it begins, then both while they play: others do what they had."""
    pad, said = server.bench.pad(State()), []
    verdicts = Verdicts()
    verdicts._workers[0].process.kill()
    asking = threading.Thread(target=lambda: said.append(verdicts.of("one", 1, pad, [])))
    asking.start()
    while verdicts._workers[1].told is not None or verdicts._workers[1].task is None:
        asking.join(0.02)
    for worker in [*verdicts._workers]:
        worker.process.kill()
    asking.join(60)
    verdicts.close()
    assert [one["verdict"] for one in said] == ["pass"]


def test_the_findings_of_a_dial_do_not_wait_for_the_sweep_of_a_routine(ask, server):
    """They come without those of the routine, which the verdict brings."""
    dials = {"poll.use": "routine read-once", "cable.length": "9 m"}
    vars(server.bench.pad(State(dials=dials)).poll).pop("sweeps", None)  # of an earlier test
    status, told = ask("judge", {"dials": dials}, turn=50)
    assert (status, told["routine"]) == (200, True)
    assert "routine.fetch" not in told["html"]
    poll = server.bench.pad(State(dials=dials)).poll
    assert not poll.swept
    status, found = ask("verdict", {"dials": dials}, turn=50)
    assert status == 200
    assert "routine.fetch" in found["judged"]["html"]
    assert {one["id"] for one in found["judged"]["changed"]} >= {"routine.fetch", "routine.result"}
    assert poll.swept
    assert [one.period for one in poll.sweeps] == [*poll.console.timing.fetch_periods]
    whole = try_sheet(server.bench.pad(State(dials=dials)).sheet, [], remedies=False)
    assert {f.id for f in whole.findings} >= {"routine.fetch"}
    assert found["judged"]["failing"] == [f.id for f in whole.findings if f.verdict == "fail"]


def test_a_stop_of_a_routine_is_read_without_its_sweep(ask, server):
    """Which takes seconds; only the cases of a sweep wait for one, and no other tab with them."""
    dials = {"poll.use": "routine read-once"}
    poll = server.bench.pad(State(dials=dials)).poll
    vars(poll).pop("sweeps", None)
    status, told = ask("read", {"held": 2, "event": "fetch", "bit": 3, "dials": dials})
    assert (status, poll.swept) == (200, False)
    assert told["byte"] != 2
    with server.bench.lock:  # as another tab's read has it
        words, said = ("read", {"event": "fetch-cases", "dials": dials}), []
        asking = threading.Thread(target=lambda: said.append(ask(*words)))
        asking.start()
        while asking.is_alive() and not poll.swept:
            asking.join(0.05)
    asking.join(30)
    assert poll.swept
    assert [(status, told["scenario"]) for status, told in said] == [(200, "fetch-cases")]
    assert said[0][1]["reads"] > 1


def test_the_cases_of_a_sweep_need_a_routine(ask):
    status, told = ask("read", {"event": "fetch-cases"})
    assert status == 422
    assert told["problems"] == ["event: fetch-cases needs a read routine as the poll"]


def test_a_call_with_two_hosts_is_refused(server):
    with socket.create_connection(("127.0.0.1", server.server_port), 5) as raw:
        hosts = f"Host: 127.0.0.1:{server.server_port}\r\nHost: elsewhere.example\r\n"
        raw.sendall(f"GET /?token={server.token} HTTP/1.1\r\n{hosts}\r\n".encode())
        assert b" 403 " in raw.recv(200)


@pytest.mark.parametrize(
    ("policy", "byte"), [("newer", 4), ("older", 8), ("neither", 0), ("both", 12)]
)
def test_opposite_directions_go_by_the_order_in_which_they_closed(ask, policy, byte):
    dials = {"policy.opposite-directions": policy}
    for event in ("read", "past"):
        told = ask("read", {"held": 12, "newer": 4, "event": event, "dials": dials})[1]
        assert told["byte"] == told["wants"] == byte
    stopped = {"held": 12, "newer": 4, "event": "fetch", "bit": 3, "extra": 1, "dials": dials}
    bits = expected_bits(byte, stopped_bit=3, extra_clocks=1)
    assert ask("read", stopped)[1]["byte"] == byte_of_bits(bits)


def test_single_reads_in_place_of_a_routine_are_said(ask):
    dials = {"poll.use": "routine read-twice"}
    for more, bare in (
        ({"event": "fetch", "extra": 1}, False),
        ({"event": "fetch", "extra": 2}, True),
        ({"event": "past"}, True),
        ({"event": "read"}, False),
    ):
        assert ("single reads" in ask("read", {"dials": dials, **more})[1]["says"]) == bare
    assert "single reads" not in ask("read", {"event": "past"})[1]["says"]


def test_a_call_without_a_length_or_an_unknown_one_is_refused(ask, server):
    assert ask("read", headers={"Content-Length": "-1"}, body=b"{}")[0] == 411
    assert ask("write")[0] == 404
    with socket.create_connection(("127.0.0.1", server.server_port), 5) as raw:
        raw.sendall(b"GET / HTTP/1.1\r\n\r\n")
        assert b" 403 " in raw.recv(200)


@pytest.mark.parametrize(("console", "lines", "sync"), [("60hz", 262, 245), ("50hz", 312, 266)])
def test_the_frame_has_the_read_beside_vertical_sync(ask, console, lines, sync):
    """Lines of a field and where sync begins: SMPTE 170M, ITU-R BT.1700 (from memory)."""
    strip = ask("read", {"dials": {"poll.console": console}})[1]["frame"]
    assert f'class="sync" x="{round(1000 * sync / lines, 1)}"' in strip
    assert f'class="poll" x="{round(1000 * 241 / lines, 1)}"' in strip
