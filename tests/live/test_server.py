"""The server answers its own pages on this machine and nobody else, whatever is sent to it, and stays alive."""

from __future__ import annotations

import json
import os
import signal
import socket
import struct
import subprocess
import sys
import time
import zlib
from contextlib import suppress

import numpy as np
import pytest
from starlette.testclient import TestClient
from starlette.websockets import WebSocketDisconnect

from projector.live import guards
from projector.live.scenes import SceneList
from projector.live.server import STATIC, application
from projector.rendering.preview import preview

TOKEN, HOST = "only-this-page-knows", "127.0.0.1:8017"
ORIGIN = {"origin": f"http://{HOST}"}
# What a browser sends with a websocket; the test's own client would name another host.
OWN_PAGE = {"host": HOST, **ORIGIN}
F_NUMBER = "projector.window.lens.f_number"


@pytest.fixture
def client(tmp_path):
    with TestClient(application(SceneList(tmp_path), TOKEN, [HOST], 2), base_url=f"http://{HOST}") as client:
        yield client


class Page:
    """A page's end of the websocket."""

    def __init__(self, socket):
        self.socket, self.heard, self.pictures = socket, [], []

    def say(self, **message):
        self.socket.send_text(json.dumps(message))

    def hear(self, what, **told):
        """What is said until a message of a kind comes that says this."""
        while True:
            message = self.socket.receive()
            if message.get("bytes"):
                self.pictures.append(unpacked(message["bytes"]))
                continue
            if "text" not in message:
                raise WebSocketDisconnect(message.get("code", 1000))
            self.heard.append(json.loads(message["text"]))
            last = self.heard[-1]
            if last["say"] == what and all(last.get(key) == value for key, value in told.items()):
                return last

    def open(self, scene="01-square-wall", size=(64, 48), **others):
        self.say(do="size", width=size[0], height=size[1])
        self.say(do="open", scene=scene, serial=1, **others)
        return self.hear("values", serial=1)


def unpacked(data):
    (length,) = struct.unpack(">I", data[:4])
    about = json.loads(data[4 : 4 + length])
    pixels = np.frombuffer(data[4 + length :], np.uint8).reshape(about["height"], about["width"], 4)
    return about, pixels


@pytest.fixture
def page(client):
    with client.websocket_connect(f"/{TOKEN}/desk", headers=OWN_PAGE) as socket:
        yield Page(socket)


def is_alive(client) -> bool:
    return client.get(f"/{TOKEN}/scenes").status_code == 200


@pytest.mark.parametrize(
    "path", ["/", "/wrong/", "/wrong/scenes", "/wrong/static/index.html", f"/{TOKEN}x/scenes", "//"]
)
def test_nothing_is_said_without_the_token(client, path):
    assert client.get(path).status_code == 404 and is_alive(client)


@pytest.mark.parametrize("host", ["evil.example", "evil.example:8017", "127.0.0.1:9999", "127.0.0.1", ""])
def test_a_name_that_was_pointed_at_this_machine_is_refused(client, host):
    assert client.get(f"/{TOKEN}/scenes", headers={"host": host}).status_code == 403


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", f"https://{HOST}", "http://127.0.0.1:9999", f"{HOST}"]
)
def test_another_page_is_refused(client, origin):
    assert client.get(f"/{TOKEN}/scenes", headers={"origin": origin}).status_code == 403
    assert client.post(f"/{TOKEN}/stencil?name=a.png", headers={"origin": origin}).status_code == 403
    with (
        pytest.raises(WebSocketDisconnect),
        client.websocket_connect(f"/{TOKEN}/desk", headers={"host": HOST, "origin": origin}),
    ):
        pass


def test_a_websocket_or_an_upload_without_an_origin_is_refused(client):
    assert client.post(f"/{TOKEN}/stencil?name=a.png").status_code == 403
    with pytest.raises(WebSocketDisconnect), client.websocket_connect(f"/{TOKEN}/desk", headers={"host": HOST}):
        pass


@pytest.mark.parametrize(
    "path",
    ["static/../server.py", "static/%2e%2e/server.py", "static/..%2fserver.py", "static/%2e%2e%2f%2e%2e%2f__init__.py",
     "static//etc/passwd", "static/..\\server.py", "../../etc/passwd", "static/%00"],
)  # fmt: skip
def test_no_path_leads_out_of_the_pages_own_files(client, path):
    found = client.get(f"/{TOKEN}/{path}")
    assert found.status_code in (404, 405) and "import" not in found.text and "root:" not in found.text


def test_the_page_takes_nothing_from_outside_and_may_not_be_framed(client):
    found = client.get(f"/{TOKEN}/")
    assert found.status_code == 200 and "default-src 'none'" in found.headers["content-security-policy"]
    assert "frame-ancestors 'none'" in found.headers["content-security-policy"]
    assert found.headers["referrer-policy"] == "no-referrer"
    files = [path for path in STATIC.rglob("*") if path.is_file()]
    assert files
    for path in files:
        text = path.read_text()
        assert "//cdn" not in text and "https://" not in text.replace("https://www.w3.org", ""), path.name


def test_a_change_comes_back_as_the_picture_of_a_fresh_render_to_the_byte(page):
    page.open()
    page.say(do="change", changes={F_NUMBER: 5.6}, serial=2)
    page.hear("done", serial=2)
    quality = {}
    for about, pixels in page.pictures:
        if about["serial"] == 2:
            quality[about["quality"]] = pixels
    for name in ("quick", "fine"):
        fresh = preview("01-square-wall", {F_NUMBER: 5.6}, width=64, height=48, quality=name).pixels
        assert np.array_equal(quality[name][..., :3], fresh) and (quality[name][..., 3] == 255).all()


def test_a_fault_is_said_with_its_field_and_no_picture_is_made(page):
    page.open()
    page.say(do="change", changes={F_NUMBER: 0.1}, serial=2)
    told = page.hear("values", serial=2)
    assert not told["is_drawn"] and told["faults"][0]["key"] == F_NUMBER
    page.say(do="undo", serial=3)
    assert page.hear("values", serial=3)["is_drawn"]


def test_a_reload_finds_its_desk_with_its_way_back_and_another_server_its_state(client, page, tmp_path):
    page.open()
    desk = page.heard[0]["desk"]
    page.say(do="change", changes={F_NUMBER: 5.6}, serial=2)
    state = page.hear("values", serial=2)["state"]
    with client.websocket_connect(f"/{TOKEN}/desk", headers=OWN_PAGE) as socket:
        told = Page(socket).open(desk=desk)
        assert told["at"] == 1 and told["values"][F_NUMBER] == 5.6
    with (
        TestClient(application(SceneList(tmp_path), TOKEN, [HOST]), base_url=f"http://{HOST}") as other,
        other.websocket_connect(f"/{TOKEN}/desk", headers=OWN_PAGE) as socket,
    ):
        assert Page(socket).open(desk=desk, state=state)["values"][F_NUMBER] == 5.6


def test_two_pages_have_two_scenes(client, page):
    page.open()
    with client.websocket_connect(f"/{TOKEN}/desk", headers=OWN_PAGE) as socket:
        other = Page(socket)
        other.open("03-cabin-window")
        other.say(do="change", changes={F_NUMBER: 11}, serial=2)
        assert other.hear("values", serial=2)["file"] == "03-cabin-window.toml"
    page.say(do="render", serial=3)
    told = page.hear("values", serial=3)
    assert told["file"] == "01-square-wall.toml" and told["values"][F_NUMBER] != 11


@pytest.mark.parametrize(
    "text",
    ["", "{", "null", "[]", '"x"', "{}", '{"do":"rm"}', '{"do":"change"}', '{"do":"change","changes":{}}',
     '{"do":"change","changes":{"a":{"b":1}}}', '{"do":"size","width":1e9,"height":2}', '{"do":"open","scene":""}',
     '{"do":"open","scene":"../../etc/passwd"}', '{"do":"power","light":"window","to":NaN}', "[" * 5000,
     '{"do":"change","changes":{"camera.iso":1},"more":1}', '{"do":"go","at":-1}', '{"do":"save","name":"../x"}'],
)  # fmt: skip
def test_what_is_no_message_is_refused_and_the_next_one_is_done(page, text):
    page.socket.send_text(text)
    assert page.hear("refused")["faults"][0]["found"]
    assert page.open()["file"] == "01-square-wall.toml"


def test_a_flood_of_messages_is_cut_off_and_others_are_served(client):
    with client.websocket_connect(f"/{TOKEN}/desk", headers=OWN_PAGE) as socket:
        flood = Page(socket)
        with suppress(RuntimeError):  # cut off while it was still sending
            for _ in range(5000):
                flood.say(do="none")
        with pytest.raises((WebSocketDisconnect, RuntimeError)):
            flood.hear("nothing")
    assert is_alive(client)


def test_a_pace_that_a_hand_can_keep_is_no_flood():
    now = [0.0]
    pace = guards.Pace(a_second=200.0, seconds=3.0, clock=lambda: now[0])
    for _ in range(2000):
        now[0] += 1.0 / 120.0
        assert not pace.is_flood()
    assert any(pace.is_flood() for _ in range(700))


def png(width, height):
    """A PNG that says a size, and is a few bytes long whatever it says."""

    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    body = zlib.compress(b"\0" * min(height * (width + 1), 10_000))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", body) + chunk(b"IEND", b"")


def dropped(client, name, data):
    return client.post(f"/{TOKEN}/stencil", params={"name": name}, content=data, headers=ORIGIN)


def test_a_dropped_stencil_lies_beside_the_scene_and_replaces_nothing(client, page, tmp_path):
    (tmp_path / "mine.png").write_bytes(b"as it was")
    found = dropped(client, "mine.png", png(64, 64))
    assert found.json() == {"file": "mine-2.png"} and (tmp_path / "mine.png").read_bytes() == b"as it was"
    page.open()
    page.say(do="change", changes={"projector.window.stencil.file": "mine-2.png"}, serial=2)
    assert not page.hear("values", serial=2)["faults"]


@pytest.mark.parametrize("name", ["../../up.png", "..\\up.png", "/tmp/up.png", "a\0/up.png", ".png"])
def test_a_dropped_name_leads_nowhere(client, tmp_path, name):
    found = dropped(client, name, png(64, 64))
    assert found.status_code == 200 and [path.name for path in tmp_path.iterdir()] == [found.json()["file"]]


def pieces(total, told=None):
    for _ in range(total // 1_000_000):
        yield b"\0" * 1_000_000


def test_a_gigabyte_a_bomb_and_another_kind_are_refused_and_leave_nothing(client, tmp_path):
    told_large = client.post(
        f"/{TOKEN}/stencil", params={"name": "a.png"}, content=b"", headers={**ORIGIN, "content-length": str(10**9)}
    )
    large = client.post(f"/{TOKEN}/stencil", params={"name": "a.png"}, content=pieces(10**9), headers=ORIGIN)
    bomb, script = dropped(client, "a.png", png(200_000, 200_000)), dropped(client, "a.svg", b"<svg/>")
    text = dropped(client, "a.png", b"no picture")
    for refused in (told_large, large, bomb, script, text):
        assert refused.status_code == 422 and refused.json()["faults"][0]["found"]
    assert list(tmp_path.iterdir()) == [] and is_alive(client)


def test_only_scenes_of_the_folder_and_shipped_ones_are_listed(tmp_path):
    (tmp_path / "mine.toml").write_text("format = 1\n[camera]\n")
    (tmp_path / "pyproject.toml").write_text("[project]\n")
    names = [item["name"] for item in SceneList(tmp_path).listed()]
    assert "mine.toml" in names and "pyproject.toml" not in names and "01-square-wall" in names


@pytest.mark.skipif(os.name != "posix", reason="Ctrl-C is another thing there")
def test_ctrl_c_ends_it_cleanly_with_a_page_open(tmp_path):
    command = "import sys; from projector.cli import main; main()"
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        port = found.getsockname()[1]
    arguments = ["live", "01-square-wall", "--no-open", "--port", str(port)]
    with subprocess.Popen(
        [sys.executable, "-u", "-c", command, *arguments],
        cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    ) as process:  # fmt: skip
        try:
            address = process.stdout.readline().split()[-1]
            assert address.startswith(f"http://127.0.0.1:{port}/")
            from websockets.sync.client import connect

            with connect(address.replace("http", "ws") + "desk", origin=f"http://127.0.0.1:{port}") as page:
                page.send(json.dumps({"do": "open", "scene": "01-square-wall", "serial": 1}))
                assert json.loads(page.recv(timeout=60))["say"] == "open"
                began = time.monotonic()
                process.send_signal(signal.SIGINT)
                out, err = process.communicate(timeout=60)
        finally:
            process.kill()
    assert process.returncode == 0, err
    assert "Traceback" not in err and "closed" in out
    assert time.monotonic() - began < 30.0
