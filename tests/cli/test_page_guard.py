"""The layers round the page, each alone: who is answered what."""

from __future__ import annotations

import logging
from http.cookies import SimpleCookie
from pathlib import Path

import pytest
from starlette.requests import Request
from starlette.responses import PlainTextResponse
from starlette.testclient import TestClient
from starlette.types import ASGIApp, Receive, Scope, Send

from pennyfall.cli.serve.guard import (
    ByAddress,
    InvitedOnly,
    OwnPagesOnly,
    Sealed,
    Tokens,
    coach_only,
    kept_tokens,
)

TOKENS = Tokens(coach="c" * 22, phone="p" * 22)


async def answer(scope: Scope, receive: Receive, send: Send) -> None:
    guest = scope.get("guest")
    await PlainTextResponse(f"{guest.coach} {guest.name}" if guest else "here")(scope, receive, send)


def asking(app: ASGIApp, host: str = "192.168.1.20:8723") -> TestClient:
    return TestClient(app, base_url=f"http://{host}", follow_redirects=False)


@pytest.mark.parametrize(
    "host", ["192.168.1.20:8723", "127.0.0.1:8723", "localhost:8723", "[::1]:8723", "10.0.0.7", "localhost"]
)
def test_a_page_asked_by_address_or_localhost_answers(host: str) -> None:
    assert asking(ByAddress(answer)).get("/", headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    "host",
    [
        "evil.example:8723",
        "192.168.1.20.evil.example",
        "localhost.evil.example",
        "evil.example@127.0.0.1",
        "127.0.0.1@evil.example",
        "127.0.0.1#evil.example",
        "127.0.0.1/evil.example",
        "0x7f.1",
        "127.1",
        "127.0.0.1:port",
        "127.0.0.1:8723, evil.example",
        "",
    ],
)
def test_a_foreign_look_alike_or_missing_host_gets_400(host: str) -> None:
    assert asking(ByAddress(answer)).get("/", headers={"host": host}).status_code == 400


def test_two_hosts_get_400() -> None:
    sent: list[dict[str, object]] = []

    async def send(message: dict[str, object]) -> None:
        sent.append(message)

    scope = {"type": "http", "method": "GET", "path": "/", "query_string": b""}
    for hosts in ([], [(b"host", b"127.0.0.1"), (b"host", b"evil.example")]):
        sent.clear()
        coroutine = ByAddress(answer)({**scope, "headers": hosts}, None, send)  # type: ignore[arg-type]
        with pytest.raises(StopIteration):
            coroutine.send(None)
        assert sent[0]["status"] == 400


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH"])
@pytest.mark.parametrize(
    ("origin", "status"),
    [
        ("http://192.168.1.20:8723", 200),
        (None, 403),
        ("null", 403),
        ("http://evil.example", 403),
        ("https://192.168.1.20:8723", 403),
        ("http://192.168.1.20", 403),
        ("http://192.168.1.20:8724", 403),
        ("http://192.168.1.20:8723.evil.example", 403),
        ("http://evil.example http://192.168.1.20:8723", 403),
    ],
)
def test_a_change_is_taken_only_from_the_pages_own_origin(
    method: str, origin: str | None, status: int
) -> None:
    headers = {"origin": origin} if origin is not None else {}
    assert asking(OwnPagesOnly(answer)).request(method, "/", headers=headers).status_code == status


def test_reading_needs_no_origin() -> None:
    assert asking(OwnPagesOnly(answer)).get("/").status_code == 200


@pytest.mark.parametrize(("token", "coach"), [(TOKENS.coach, True), (TOKENS.phone, False)])
def test_a_token_is_swapped_for_a_strict_cookie_and_a_clean_address(token: str, coach: bool) -> None:
    client = asking(InvitedOnly(answer, TOKENS))
    let_in = client.get(f"/in/{token}")
    assert let_in.status_code == 303
    assert let_in.headers["location"] == "/"
    assert let_in.headers["referrer-policy"] == "no-referrer"
    cookie = SimpleCookie(let_in.headers["set-cookie"])["pennyfall-8723"]
    assert cookie["httponly"]
    assert cookie["samesite"] == "strict"
    assert not cookie["domain"]
    assert client.get("/").text.split()[0] == str(coach)


def test_several_phones_come_in_by_one_code_and_are_told_apart() -> None:
    one, two = (asking(InvitedOnly(answer, TOKENS)) for _ in range(2))
    for each in (one, two):
        each.get(f"/in/{TOKENS.phone}")
    assert one.get("/").text != two.get("/").text


def test_a_phone_that_scans_again_stays_the_same() -> None:
    phone = asking(InvitedOnly(answer, TOKENS))
    phone.get(f"/in/{TOKENS.phone}")
    before = phone.get("/").text
    phone.get(f"/in/{TOKENS.phone}")
    assert phone.get("/").text == before


@pytest.mark.parametrize(
    "cookie",
    [
        "",
        "pennyfall-8723=",
        f"pennyfall-8724={TOKENS.phone}.ab",
        f"pennyfall-8723={TOKENS.phone}",
        f"pennyfall-8723={TOKENS.phone[:-1]}.ab",
        f"pennyfall-8723={TOKENS.phone}x.ab",
        f"pennyfall-8723={TOKENS.phone}.a/b",
        "pennyfall-8723=\xff\xfe",
    ],
)
def test_without_a_true_cookie_nothing_is_answered(cookie: str) -> None:
    client = asking(InvitedOnly(answer, TOKENS))
    refused = client.get("/", headers={b"cookie": cookie.encode("latin-1")})
    assert refused.status_code == 401
    assert "open the page" in refused.text, (
        "a browser that held its new cookie back shows it at the next click"
    )


@pytest.mark.parametrize("token", ["", "wrong", "é", TOKENS.phone[:-1], TOKENS.phone.upper()])
def test_a_wrong_token_opens_nothing(token: str) -> None:
    refused = asking(InvitedOnly(answer, TOKENS)).get(f"/in/{token}")
    assert refused.status_code == 401
    assert "set-cookie" not in refused.headers


def test_both_tokens_are_compared_in_constant_time(monkeypatch: pytest.MonkeyPatch) -> None:
    compared: list[bytes] = []

    def compare(shown: bytes, true: bytes) -> bool:
        compared.append(true)
        return shown == true

    monkeypatch.setattr("pennyfall.cli.serve.guard.compare_digest", compare)
    asking(InvitedOnly(answer, TOKENS)).get(f"/in/{TOKENS.coach}")
    assert {TOKENS.coach.encode(), TOKENS.phone.encode()} == set(compared)


def test_an_answer_is_sealed_and_may_seal_itself_tighter() -> None:
    headers = asking(Sealed(answer)).get("/").headers
    assert headers["content-security-policy"].startswith("default-src 'none'; script-src 'self'")
    assert "frame-ancestors 'none'" in headers["content-security-policy"]
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["cache-control"] == "no-store"
    assert headers["referrer-policy"] == "same-origin"
    door = asking(Sealed(InvitedOnly(answer, TOKENS))).get(f"/in/{TOKENS.phone}")
    assert door.headers["referrer-policy"] == "no-referrer"


def test_the_coachs_routes_are_closed_to_phones() -> None:
    @coach_only
    async def change(_request: Request) -> PlainTextResponse:
        return PlainTextResponse("done")

    async def app(scope: Scope, receive: Receive, send: Send) -> None:
        await (await change(Request(scope)))(scope, receive, send)

    for token, status in ((TOKENS.phone, 403), (TOKENS.coach, 200)):
        client = asking(InvitedOnly(app, TOKENS))
        client.get(f"/in/{token}")
        assert client.get("/").status_code == status


def test_tokens_have_128_bits_are_kept_over_a_restart_and_seen_by_their_owner_alone(tmp_path: Path) -> None:
    tokens = kept_tokens(tmp_path)
    assert len(tokens.coach) == len(tokens.phone) == 22
    assert tokens.coach != tokens.phone
    assert kept_tokens(tmp_path) == tokens
    assert (tmp_path / ".page-keys").stat().st_mode & 0o077 == 0
    (tmp_path / ".page-keys").write_text("{}")
    assert kept_tokens(tmp_path) != tokens, "a spoilt file gives new ones"


def test_a_token_is_in_no_log(caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.DEBUG):
        asking(InvitedOnly(answer, TOKENS)).get(f"/in/{TOKENS.phone}")
    assert not [
        each for each in caplog.records if TOKENS.phone in each.getMessage() and "httpx" not in each.name
    ]
