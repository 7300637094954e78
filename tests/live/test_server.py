"""The workbench lets in its own page only, and does what the page asks."""

import asyncio
import signal
import socket
import subprocess
import sys
import time

import pytest
from starlette.testclient import TestClient

from riskcalc.errors import InputError
from riskcalc.live.desk import Desk
from riskcalc.live.server import Bench, serve, workbench

TOKEN, PORT = "a-token", 8765
HERE = f"http://127.0.0.1:{PORT}"
OURS = {"X-Riskcalc-Token": TOKEN, "Host": f"127.0.0.1:{PORT}"}


@pytest.fixture
def client(small_file):
    application = workbench(
        Desk(small_file), report=lambda _found, command: f"<p>{command}</p>", host="127.0.0.1", port=PORT, token=TOKEN
    )
    with TestClient(application, base_url=HERE, raise_server_exceptions=True) as opened:
        yield opened


@pytest.fixture
def small_file(small_file):
    """The small scenario with so few futures that its answer is there at once."""
    text = small_file.read_text(encoding="utf-8").replace("draws = 16", "draws = 64")
    small_file.write_text(text, encoding="utf-8")
    return small_file


def settled(client):
    for _ in range(600):
        answer = client.get("/state", headers=OURS).json()["answer"]
        if answer.get("last"):
            return answer
        time.sleep(0.1)
    raise AssertionError("the answer never settled")


def test_an_answer_that_comes_after_the_end_is_dropped(small_file):
    """The thread that computes may end after the server: it says nothing then, not even a fault."""
    bench = Bench(Desk(small_file), report=lambda _found, _command: "")
    bench.loop = asyncio.new_event_loop()
    bench.loop.close()
    bench._told({"question": 1})
    assert bench.latest == {}


@pytest.mark.parametrize("path", ["/", "/state", "/report", "/command", "/stream"])
def test_nothing_is_told_without_the_token(client, path):
    for headers in ({}, {"X-Riskcalc-Token": "another"}):
        assert client.get(path, headers=headers | {"Host": OURS["Host"]}).status_code == 403


def test_another_name_for_this_machine_is_refused(client):
    """A page elsewhere that points its own name at this machine (rebinding) does not get an answer."""
    assert client.get("/state", headers=OURS | {"Host": "evil.example"}).status_code == 421
    assert client.get("/state", headers=OURS | {"Host": f"evil.example:{PORT}"}).status_code == 421


def test_calls_from_another_site_are_refused(client):
    foreign = {"Origin": "https://evil.example"}
    assert client.post("/turn/reset", headers=OURS | foreign, json={}).status_code == 403
    assert client.post("/turn/reset", headers=OURS | {"Sec-Fetch-Site": "cross-site"}, json={}).status_code == 403
    assert client.post("/turn/reset", headers=OURS | {"Origin": HERE}, json={}).status_code == 200


def test_too_much_at_once_is_refused(client):
    assert client.post("/turn/change", headers=OURS, content=b"x" * 70_000).status_code == 413


@pytest.mark.parametrize("body", [b"", b"[]", b"{", b'{"key": 5}', b'{"key": "no.such", "value": "1"}', b"[" * 5000])
def test_nonsense_is_answered_in_words(client, body):
    answer = client.post("/turn/change", headers=OURS, content=body)
    assert answer.status_code == 200
    assert answer.json()["problems"]


def test_the_page_carries_its_policy(client):
    policy = client.get("/", headers=OURS).headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "connect-src 'self'" in policy
    assert "unsafe" not in policy


def test_a_change_is_answered_and_a_wrong_one_keeps_the_last_answer(client):
    before = settled(client)
    turned = client.post("/turn/change", headers=OURS, json={"key": "purchase.price", "value": "10"}).json()
    assert turned["problems"] == []
    after = settled(client)
    while after["question"] != turned["question"]:
        after = settled(client)
    assert after["odds"]["value"] > before["odds"]["value"]
    wrong = client.post("/turn/change", headers=OURS, json={"key": "purchase.price", "value": "cheap"}).json()
    assert wrong["form"] is None
    assert wrong["problems"][0]["key"] == "purchase.price"
    assert settled(client)["question"] == after["question"]


def test_pins_are_kept_up_to_four(client):
    settled(client)
    for index in range(5):
        answer = client.post("/pin", headers=OURS, json={"name": f"pin {index}"}).json()
        assert bool(answer["problems"]) is (index == 4)
    assert len(client.post("/unpin", headers=OURS, json={"index": 0}).json()["problems"]) == 0


def test_saving_stays_in_the_folder_of_the_scenario(client, small_file):
    settled(client)
    assert client.post("/save", headers=OURS, json={"name": "../out.toml"}).json()["problems"]
    assert client.post("/save", headers=OURS, json={"name": "kept.toml"}).json()["problems"] == []
    assert client.post("/save-report", headers=OURS, json={}).json()["problems"] == []
    written = {
        path.relative_to(small_file.parent).as_posix() for path in small_file.parent.rglob("*") if path.is_file()
    }
    assert written == {"small.toml", "kept.toml", "reports/small/report.html"}


def test_a_taken_port_is_told_in_words(small_file):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        with pytest.raises(InputError, match="free port"):
            serve(small_file, host="127.0.0.1", port=port, report=lambda *_: "", say=lambda _: None)


@pytest.mark.slow
def test_ctrl_c_ends_it_and_frees_the_port(small_file):
    command = [sys.executable, "-m", "riskcalc", "live", str(small_file), "--no-open"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as running:
        address = running.stdout.readline().strip()
        port = int(address.split(":")[2].split("/")[0])
        time.sleep(1.0)
        running.send_signal(signal.SIGINT)
        assert running.wait(20) in (0, -signal.SIGINT)
        assert "Traceback" not in running.stderr.read()
    socket.create_server(("127.0.0.1", port)).close()
