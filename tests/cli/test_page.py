"""The page asked by a test client: what phones send, what they see, what the coach changes."""

from __future__ import annotations

import asyncio
import json
import re
import shutil
from collections.abc import AsyncIterator, Iterator
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest
from starlette.routing import Route
from starlette.testclient import TestClient

from pennyfall.cli.files.lesson_file import Lesson, lesson_text, read_lesson
from pennyfall.cli.files.measured_files import MeasuredWith
from pennyfall.cli.lesson.run import with_club_in
from pennyfall.cli.lesson.side_by_side import MeasureClip
from pennyfall.cli.serve import page as page_module
from pennyfall.cli.serve.arrival import CannotTake, sweep_parts, take_in
from pennyfall.cli.serve.bench import Bench
from pennyfall.cli.serve.desk import Desk, Sent, clip_id
from pennyfall.cli.serve.events import MOST_KEPT, EventLog
from pennyfall.kinematics.errors import CannotMeasure
from tests.cli.lesson_strokes import lesson_folder, measure_quickly, write_clip
from tests.cli.odd_work import die, greet, hang, stumble
from tests.cli.quick_lesson import quick_run
from tests.cli.quick_page import HOST, TOKENS, clip_number, guest, made_clip, open_page, wait_for

FACTS = {"student": "S-01", "hand": "right", "green_speed": "10", "units": "ft", "tag_height": ""}


@pytest.fixture(scope="module")
def base(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("page")


@pytest.fixture(scope="module")
def coach(base: Path) -> Iterator[TestClient]:
    with open_page(base / "lesson", own_processes=True, database=base / "history.sqlite") as client:
        yield client


@pytest.fixture(scope="module")
def lesson_page(base: Path) -> Iterator[TestClient]:
    """Return the coach of a page that several tests change, each with versions of its own."""
    with open_page(base / "changed") as client:
        client.post("/lesson", data=FACTS)
        yield client


@pytest.fixture
def phone(coach: TestClient) -> TestClient:
    return guest(coach, TOKENS.phone)


@pytest.fixture
def folder(base: Path) -> Path:
    return base / "lesson"


_numbers = iter(range(1, 1000))


def sent(client: TestClient, base: Path, shape: str = "let go", name: str = "IMG_0001.MOV") -> str:
    """Send a clip and wait until it is measured."""
    number = next(_numbers)
    wanted = clip_number(number)
    answer = client.put(
        f"/clips/{wanted}", content=made_clip(base, shape, seed=number), headers={"x-clip-name": name}
    )
    assert answer.status_code == 202
    wait_for(lambda: 'data-step="measured" data-film' in client.get(f"/clips/{wanted}").text)
    return wanted


def left_half_sent(folder: Path) -> list[Path]:
    return [each for each in folder.iterdir() if each.name.endswith(".part")]


# --- sending


def test_a_clip_that_is_sent_is_measured_and_shown_to_who_sent_it_and_to_the_coach(
    coach: TestClient, phone: TestClient, base: Path
) -> None:
    wanted = sent(phone, base)
    for client in (phone, coach):
        assert "Still pushes a little into the ball" in client.get("/").text
        stroke = client.get(f"/strokes/{wanted}/1").json()
        assert stroke["events"]["impact"] > stroke["events"]["top"]
        assert "±" in stroke["html"]
        assert client.get(stroke["film"]["src"]).content.startswith(b"film of ")


def test_a_film_is_given_in_the_ranges_a_player_asks_for(phone: TestClient, base: Path) -> None:
    answer = phone.get(f"/films/{sent(phone, base)}/1", headers={"range": "bytes=0-3"})
    assert (answer.status_code, answer.content) == (206, b"film")


def test_sending_the_same_again_changes_nothing(phone: TestClient, base: Path, folder: Path) -> None:
    wanted = sent(phone, base)
    before = sorted(folder.iterdir())
    assert phone.put(f"/clips/{wanted}", content=b"something else").status_code == 200
    assert sorted(folder.iterdir()) == before


def test_the_same_film_under_two_ids_counts_once(phone: TestClient, base: Path) -> None:
    content = made_clip(base, seed=777)
    for number in (900, 901):
        assert phone.put(f"/clips/{clip_number(number)}", content=content).status_code == 202
    wait_for(lambda: "counts once" in phone.get(f"/clips/{clip_number(901)}").text)


@pytest.mark.parametrize(
    "name",
    [
        "../../x.mov",
        "..%2F..%2Fx.mov",
        "%2Fetc%2Fpasswd.mp4",
        "%00.mov",
        "x" * 5000 + ".mov",
        "%3Cimg%20src%3Dx%20onerror%3Dalert(1)%3E.mov",
        "C%3A%5Cclip.mov",
        "con.mov",
        "%F0%9F%8F%8C.exe",
    ],
)
def test_a_clips_name_is_text_and_never_a_place(
    phone: TestClient, base: Path, folder: Path, name: str
) -> None:
    wanted = sent(phone, base, name=name)
    (made,) = [each for each in folder.iterdir() if wanted in each.name]
    assert re.fullmatch(r"\d{8}-\d{9}-[0-9a-f]{16}\.(mov|mp4)", made.name)
    assert not [each for each in base.iterdir() if each.name.startswith("x")]
    assert "<img" not in phone.get(f"/clips/{wanted}").text


@pytest.mark.parametrize("wanted", ["x", "0" * 15, "0" * 17, "G" * 16, "..%2F..%2Fetc", "%00"])
def test_an_id_that_is_none_is_refused(phone: TestClient, folder: Path, wanted: str) -> None:
    before = sorted(folder.iterdir())
    assert phone.put(f"/clips/{wanted}", content=b"x").status_code in (400, 404)
    assert sorted(folder.iterdir()) == before


def test_what_is_no_film_is_refused_in_words_and_the_page_goes_on(phone: TestClient, base: Path) -> None:
    wanted = clip_number(910)
    assert phone.put(f"/clips/{wanted}", content=b"no film at all").status_code == 202
    wait_for(lambda: 'data-step="refused"' in phone.get(f"/clips/{wanted}").text)
    assert "Film the putter head from the side." in phone.get(f"/clips/{wanted}").text
    sent(phone, base)


def test_an_empty_clip_is_refused_and_nothing_is_left(phone: TestClient, folder: Path) -> None:
    answer = phone.put(f"/clips/{clip_number(911)}", content=b"")
    assert (answer.status_code, answer.text) == (400, "The clip is empty. Pick it again.")
    assert not [each for each in folder.iterdir() if clip_number(911) in each.name]


@pytest.mark.parametrize("stated", [True, False])
def test_a_clip_that_is_too_large_is_refused_and_nothing_is_left(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, stated: bool
) -> None:
    monkeypatch.setattr(page_module, "LARGEST_CLIP", 3_000_000)
    with open_page(tmp_path / "lesson") as coach:
        content = b"x" * 4_000_000 if stated else (b"x" * 1_000_000 for _ in range(4))
        answer = coach.put(f"/clips/{clip_number(1)}", content=content)
        assert answer.status_code == 413
        assert not [each for each in (tmp_path / "lesson").iterdir() if clip_number(1) in each.name]


def test_a_form_that_is_too_large_is_refused(coach: TestClient) -> None:
    assert coach.post("/lesson", data={"student": "S" * 20_000}).status_code == 413


def test_a_full_disk_is_told_before_it_is_full_and_nothing_is_left(
    phone: TestClient, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(shutil, "disk_usage", lambda _: SimpleNamespace(free=100_000_000))
    answer = phone.put(f"/clips/{clip_number(912)}", content=b"x" * 2_000_000)
    assert answer.status_code == 507
    assert "disk is full" in answer.text
    assert not [each for each in folder.iterdir() if clip_number(912) in each.name]


def test_a_write_that_fails_is_told_and_nothing_is_left(tmp_path: Path) -> None:
    async def body() -> AsyncIterator[bytes]:
        yield b"x"

    with pytest.raises(CannotTake) as refused:
        asyncio.run(take_in(body(), tmp_path / "gone" / "clip.mov"))
    assert refused.value.status == 507


def test_a_phone_that_stops_sending_is_let_go_and_nothing_is_left(tmp_path: Path) -> None:
    async def body() -> AsyncIterator[bytes]:
        yield b"half of it"
        await asyncio.sleep(60)

    with pytest.raises(CannotTake) as refused:
        asyncio.run(take_in(body(), tmp_path / "clip.mov", idle_s=0.05))
    assert refused.value.status == 408
    assert not list(tmp_path.iterdir())


def test_what_an_ended_page_left_half_sent_is_swept_at_the_next_start(tmp_path: Path) -> None:
    (tmp_path / ".20260101-000000000-0000000000000001.mov.part").write_bytes(b"half")
    (tmp_path / ".page.json.0123abcd").write_text("{")
    for name in (".lesson.lock", "page.json"):
        (tmp_path / name).touch()
    sweep_parts(tmp_path, "page.json")
    assert sorted(each.name for each in tmp_path.iterdir()) == [".lesson.lock", "page.json"]


def test_a_phone_sends_one_clip_at_a_time_and_may_begin_the_same_anew(tmp_path: Path) -> None:
    from pennyfall.cli.serve.guard import Guest
    from tests.cli.quick_page import quick_app

    app = quick_app(tmp_path / "lesson")

    async def ask(wanted: str, chunks: asyncio.Queue[bytes]) -> int:
        sent: list[dict[str, object]] = []

        async def receive() -> dict[str, object]:
            chunk = await chunks.get()
            return {"type": "http.request", "body": chunk, "more_body": chunk != b""}

        async def send(message: dict[str, object]) -> None:
            sent.append(message)

        token = f"pennyfall-8723={TOKENS.phone}.ab".encode()
        headers = [(b"host", HOST.encode()), (b"origin", f"http://{HOST}".encode()), (b"cookie", token)]
        path = f"/clips/{wanted}"
        scope = {
            "type": "http",
            "method": "PUT",
            "path": path,
            "raw_path": path.encode(),
            "query_string": b"",
        }
        scope |= {"headers": headers, "server": ("127.0.0.1", 8723), "scheme": "http", "root_path": ""}
        await app(scope, receive, send)  # type: ignore[arg-type]
        return int(str(sent[0]["status"]))

    async def run() -> list[int]:
        async with app.router.lifespan_context(app):
            first: asyncio.Queue[bytes] = asyncio.Queue()
            first.put_nowait(b"half")
            sending = asyncio.create_task(ask(clip_number(1), first))
            await asyncio.sleep(0.1)
            other: asyncio.Queue[bytes] = asyncio.Queue()
            other.put_nowait(b"")
            refused = await ask(clip_number(2), other)
            anew: asyncio.Queue[bytes] = asyncio.Queue()
            anew.put_nowait(b"whole")
            anew.put_nowait(b"")
            taken = await ask(clip_number(1), anew)
            return [refused, taken, await sending]

    assert Guest(coach=False, name="ab").may_see("ab")
    assert asyncio.run(run()) == [429, 202, 409]
    (clip,) = [each for each in (tmp_path / "lesson").iterdir() if each.suffix == ".mp4"]
    assert clip.read_bytes() == b"whole"
    assert not left_half_sent(tmp_path / "lesson")


# --- who may what

PHONES = {
    ("GET", "/"),
    ("GET", "/style.css"),
    ("GET", "/script.js"),
    ("GET", "/events"),
    ("GET", "/clips"),
    ("GET", "/alone"),
    ("PUT", "/clips/{id:str}"),
    ("GET", "/clips/{id:str}"),
    ("GET", "/clips/{id:str}/head"),
    ("POST", "/clips/{id:str}/head"),
    ("GET", "/clips/{id:str}/first.jpg"),
    ("GET", "/strokes/{id:str}/{number:int}"),
    ("GET", "/films/{id:str}/{number:int}"),
}
"""What a phone may ask; everything else is the coach's."""


def every_route(client: TestClient) -> Iterator[tuple[str, str]]:
    for route in client.app.routes:  # type: ignore[attr-defined]
        assert isinstance(route, Route)
        for method in sorted((route.methods or set()) - {"HEAD"}):
            yield method, route.path


def address(path: str, wanted: str) -> str:
    return path.replace("{id:str}", wanted).replace("{number:int}", "1").replace("{change:str}", "sort")


def test_no_route_answers_without_a_cookie(coach: TestClient, phone: TestClient, base: Path) -> None:
    wanted = sent(phone, base)
    stranger = guest(coach)
    for method, path in every_route(coach):
        answer = stranger.request(method, address(path, wanted))
        assert (path, answer.status_code) == (path, 401)


def test_a_phones_cookie_opens_none_of_the_coachs_routes(
    coach: TestClient, phone: TestClient, base: Path
) -> None:
    wanted = sent(phone, base)
    routes = set(every_route(coach))
    assert routes > PHONES
    for method, path in routes - PHONES:
        answer = phone.request(method, address(path, wanted))
        assert (path, answer.status_code) == (path, 403)


def test_a_phone_sees_nothing_of_what_another_sent(coach: TestClient, phone: TestClient, base: Path) -> None:
    wanted = sent(phone, base, name="mine.mov")
    other = guest(coach, TOKENS.phone)
    for method, path in PHONES:
        if "{id:str}" in path and method != "PUT":
            assert other.request(method, address(path, wanted)).status_code == 404, path
    for path in ("/", "/clips", "/alone"):
        assert wanted not in other.get(path).text
        assert "mine.mov" not in other.get(path).text
    assert wanted in phone.get("/").text


def test_every_route_refuses_a_foreign_host_and_a_change_from_elsewhere(coach: TestClient) -> None:
    for method, path in every_route(coach):
        there = address(path, clip_number(1))
        assert coach.request(method, there, headers={"host": "evil.example"}).status_code == 400
        if method != "GET":
            assert coach.request(method, there, headers={"origin": "http://evil.example"}).status_code == 403


def test_the_code_for_phones_is_shown_to_the_coach_alone(tmp_path: Path) -> None:
    with open_page(tmp_path / "lesson", codes=(("192.168.1.20", "<svg id='code'></svg>"),)) as coach:
        assert "id='code'" in coach.get("/").text
        assert "id='code'" not in guest(coach, TOKENS.phone).get("/").text


def test_no_page_holds_a_token_or_asks_for_anything_from_elsewhere(coach: TestClient) -> None:
    for path in ("/", "/alone", "/script.js", "/style.css"):
        text = coach.get(path).text
        assert TOKENS.coach not in text
        assert TOKENS.phone not in text
        assert set(re.findall(r"https?://[^\s\"'<>)]+", text)) <= {"http://www.w3.org/2000/svg"}


# --- the coach


def placed(folder: Path, *names: str) -> dict[tuple[str, float], list[str]]:
    """Return the ids of the clips in each of these versions at each length."""
    lesson = read_lesson(folder)
    return {
        (each.name, each.putt_ft): [clip_id(clip) for clip in each.clips]
        for each in lesson.conditions
        if each.name in names
    }


def test_what_is_filmed_now_is_inherited_by_the_next_clips_until_the_coach_says_otherwise(
    lesson_page: TestClient, base: Path
) -> None:
    coach, folder = lesson_page, base / "changed"
    coach.post("/now", data={"name": "one hand", "length": "6"})
    first, second = sent(coach, base), sent(coach, base)
    coach.post(f"/clips/{second}/sort", data={"name": "two hands", "length": "3 m"})
    third = sent(coach, base)
    names = ("one hand", "two hands")
    assert placed(folder, *names) == {("one hand", 6.0): [first], ("two hands", 9.8425): [second, third]}
    coach.post(f"/clips/{third}/sort", data={"where": "6|one hand"})
    assert placed(folder, *names) == {("one hand", 6.0): [first, third], ("two hands", 9.8425): [second]}
    assert Desk(folder).notes.now == ("one hand", 6.0)


def test_a_clip_is_left_out_with_a_reason_and_taken_in_again(lesson_page: TestClient, base: Path) -> None:
    coach, folder = lesson_page, base / "changed"
    coach.post("/now", data={"name": "left arm", "length": "6"})
    wanted = sent(coach, base)
    assert coach.post(f"/clips/{wanted}/leave-out", data={"reason": " "}).status_code == 400
    coach.post(f"/clips/{wanted}/leave-out", data={"reason": "practice swing"})
    assert "Left out: practice swing" in coach.get(f"/clips/{wanted}").text
    assert wanted not in {clip_id(clip) for clip in Desk(folder).lesson.clips}
    coach.post(f"/clips/{wanted}/sort", data={"where": "6|left arm"})
    assert "Left out" not in coach.get(f"/clips/{wanted}").text
    assert placed(folder, "left arm") == {("left arm", 6.0): [wanted]}


def test_a_clip_belongs_to_what_was_filmed_when_it_came_whatever_is_filmed_when_its_turn_comes(
    tmp_path: Path,
) -> None:
    desk = Desk(tmp_path)
    desk.film_now("coin let go", "6")
    place = desk.place_for(clip_number(1), "a.mov")
    desk.note(clip_number(1), Sent(name="a.mov", meant=desk.notes.now))
    write_clip(place, "let go", 6.0, 1)
    write_clip(tmp_path / "IMG_2.mov", "let go", 6.0, 2)
    desk.film_now("coin kept on", "6")
    desk.settle(place.name)
    desk.settle("IMG_2.mov")
    assert placed(tmp_path, "coin let go") == {("coin let go", 6.0): [clip_number(1)]}
    assert placed(tmp_path, "coin kept on") == {("coin kept on", 6.0): [clip_id("IMG_2.mov")]}


def test_a_clip_that_came_while_nothing_was_filmed_waits_for_the_coach_over_a_restart(tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    write_clip(tmp_path / "IMG_1.mov", "let go", 6.0, 1)
    desk.settle("IMG_1.mov")
    desk.film_now("coin let go", "6")
    Desk(tmp_path).settle("IMG_1.mov")
    assert desk.lesson.clips == ()


def test_a_lesson_without_a_sorted_clip_is_a_draft(tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    desk.tell(student="s-01", hand="left", green_speed="9,5", tag_height="28", units="m")
    assert not (tmp_path / "lesson.toml").exists()
    write_clip(tmp_path / "IMG_1.mov", "let go", 6.0, 1)
    desk.settle("IMG_1.mov")
    assert desk.lesson.conditions == (), "nothing says what it shows"
    desk.sort("IMG_1.mov", "coin let go", "2")
    lesson = read_lesson(tmp_path)
    assert (lesson.student, lesson.hand, lesson.green_speed_ft) == ("S-01", "left", 9.5)
    assert lesson.conditions[0].putt_ft == 6.5617
    desk.leave_out("IMG_1.mov", "blurred")
    assert not (tmp_path / "lesson.toml").exists()
    assert Desk(tmp_path).lesson.student == "S-01"


def measured_as_stated(_folder: Path, lesson: Lesson) -> tuple[MeasureClip, MeasuredWith]:
    return measure_quickly, MeasuredWith(options={"ruler_mm": lesson.ruler_mm}, version="1")


def test_what_the_coach_writes_into_the_lesson_file_by_hand_is_measured_by(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("pennyfall.cli.serve.line.FILES_REST_S", 0.2)
    folder = tmp_path / "lesson"
    with open_page(folder, measure=measured_as_stated) as coach:
        coach.post("/now", data={"name": "coin let go", "length": "6"})
        sent(coach, tmp_path)
        (kept,) = (folder / "measured").glob("*.json")
        before = json.loads(kept.read_text())["fingerprint"]
        asyncio.run(asyncio.sleep(0.5))
        lesson = replace(read_lesson(folder), ruler_mm=98.0)
        (folder / "lesson.toml").write_text(lesson_text(lesson))
        wait_for(lambda: json.loads(kept.read_text())["fingerprint"] != before)


def test_the_coach_ends_the_page_by_a_button(tmp_path: Path) -> None:
    ended: list[bool] = []
    with open_page(tmp_path / "lesson", end=lambda: ended.append(True)) as coach:
        assert "start the page again" in coach.post("/end").text.lower()
    assert ended == [True]


def test_a_club_file_in_the_folder_is_used_as_a_run_of_the_lesson_uses_it(tmp_path: Path) -> None:
    lesson = lesson_folder(tmp_path, strokes=1)
    assert Desk(tmp_path).lesson.club is None
    (tmp_path / "club.toml").write_text("tag_height_mm = 30\n")
    assert Desk(tmp_path).lesson == with_club_in(tmp_path, lesson)[0]
    (tmp_path / "lesson.toml").unlink()
    assert Desk(tmp_path).lesson.club == "club.toml"


def test_a_deleted_clip_leaves_nothing(lesson_page: TestClient, base: Path) -> None:
    coach, folder = lesson_page, base / "changed"
    wanted = sent(coach, base)
    coach.post(f"/clips/{wanted}/delete")
    assert coach.get(f"/clips/{wanted}").status_code == 404
    assert not [each for each in folder.rglob("*") if wanted in each.name]
    assert wanted not in (folder / "page.json").read_text()


@pytest.mark.parametrize(
    ("spoilt", "words"),
    [
        ({"student": ""}, "student"),
        ({"hand": "both"}, "right"),
        ({"green_speed": "fast"}, "fast"),
        ({"green_speed": "99"}, "99"),
        ({"tag_height": "high"}, "high"),
    ],
)
def test_facts_that_cannot_be_are_refused_in_words_and_change_nothing(
    coach: TestClient, folder: Path, spoilt: dict[str, str], words: str
) -> None:
    before = Desk(folder).lesson
    answer = coach.post("/lesson", data={**FACTS, **spoilt})
    assert answer.status_code == 400
    assert words in answer.text
    assert Desk(folder).lesson == before


def test_what_cannot_be_done_is_told_as_a_page_with_a_way_back_and_to_a_script_as_a_line(
    coach: TestClient,
) -> None:
    page = coach.get("/history", headers={"accept": "text/html"})
    assert page.status_code == 400
    assert "There is no history database" in page.text
    assert '<a href="/">Back</a>' in page.text
    line = coach.get("/history")
    assert line.headers["content-type"].startswith("text/plain")
    assert "There is no history database" in line.text


def test_words_of_the_coach_are_text_wherever_they_are_shown(lesson_page: TestClient, base: Path) -> None:
    coach, wicked = lesson_page, "<script>alert(1)</script>"
    coach.post("/lesson", data={**FACTS, "student": wicked})
    coach.post("/now", data={"name": wicked, "length": "6"})
    wanted = sent(coach, base)
    wait_for(lambda: "&lt;script" in coach.get("/so-far").text)
    for path in ("/", "/now", "/so-far", "/alone", f"/clips/{wanted}", f"/clips/{wanted}/head"):
        assert "<script>alert" not in coach.get(path).text, path
    coach.post(f"/clips/{wanted}/leave-out", data={"reason": wicked})
    assert "Left out: &lt;script" in coach.get(f"/clips/{wanted}").text
    assert "<script>alert" not in coach.get(f"/strokes/{wanted}/1").json()["html"]


def test_putt_lengths_are_shown_in_the_units_the_coach_chose(lesson_page: TestClient) -> None:
    coach = lesson_page
    coach.post("/lesson", data={**FACTS, "units": "m"})
    coach.post("/now", data={"name": "far", "length": "3"})
    assert "Now filming: far, 3 m" in coach.get("/now").text
    coach.post("/lesson", data={**FACTS, "units": "ft"})
    assert "Now filming: far, 9.84 ft" in coach.get("/now").text


def test_a_tap_on_the_head_is_kept_in_the_lesson_file(lesson_page: TestClient, base: Path) -> None:
    coach = lesson_page
    coach.post("/now", data={"name": "tapped", "length": "6"})
    wanted = sent(coach, base)
    assert coach.post(f"/clips/{wanted}/head", data={"at.x": "left"}).status_code == 400
    coach.post(f"/clips/{wanted}/head", data={"at.x": "600", "at.y": "3", "width": "1280"})
    (box,) = [box for clip, box in read_lesson(base / "changed").boxes.items() if clip_id(clip) == wanted]
    assert box == "584,0,32,32"


def test_the_lesson_grows_says_what_is_missing_and_reports_as_a_run_of_it_does(tmp_path: Path) -> None:
    folder, database = tmp_path / "lesson", tmp_path / "history.sqlite"
    with open_page(folder, database=database) as coach:
        assert coach.post("/report").status_code == 400, "nobody's lesson"
        coach.post("/lesson", data=FACTS)
        coach.post("/now", data={"name": "coin let go", "length": "6"})
        sent(coach, tmp_path)
        wait_for(lambda: "Still to film" in coach.get("/so-far").text)
        coach.post("/now", data={"name": "coin kept on", "length": "6"})
        for _ in range(5):
            sent(coach, tmp_path, "kept on")
        coach.post("/now", data={"where": "6|coin let go"})
        for _ in range(4):
            sent(coach, tmp_path)
        wait_for(lambda: "Prescribe coin let go" in coach.get("/so-far").text)
        refused = clip_number(950)
        coach.put(f"/clips/{refused}", content=b"no film")
        wait_for(lambda: 'data-step="refused"' in coach.get(f"/clips/{refused}").text)
        assert coach.post("/report").status_code == 200
        report = coach.get("/report")
        assert "unsafe-inline" in report.headers["content-security-policy"]
        assert "History of S-01" in coach.get("/history").text
        assert "5 strokes" in coach.get("/history").text
    measured = {each.name: each.stat().st_mtime_ns for each in (folder / "measured").glob("*.json")}
    quick_run(folder, database=None)
    assert (folder / "report.html").read_text() == report.text
    assert measured == {each.name: each.stat().st_mtime_ns for each in (folder / "measured").glob("*.json")}


def test_a_page_started_again_shows_what_it_showed_and_measures_nothing_twice(tmp_path: Path) -> None:
    folder = tmp_path / "lesson"
    with open_page(folder) as coach:
        coach.post("/lesson", data=FACTS)
        coach.post("/now", data={"name": "coin let go", "length": "6"})
        phone = guest(coach, TOKENS.phone)
        wanted = sent(phone, tmp_path)
        cookies, row = phone.cookies, phone.get(f"/clips/{wanted}").text
    measured = {each: each.stat().st_mtime_ns for each in (folder / "measured").iterdir()}
    with open_page(folder) as coach:
        phone = guest(coach)
        phone.cookies = cookies
        wait_for(lambda: "data-film" in phone.get(f"/clips/{wanted}").text)
        assert phone.get(f"/clips/{wanted}").text == row
        assert "Lesson of S-01" in coach.get("/").text
    assert {each: each.stat().st_mtime_ns for each in (folder / "measured").iterdir()} == measured


def test_a_folder_measured_by_a_run_of_the_lesson_is_shown_as_it_is(tmp_path: Path) -> None:
    lesson_folder(tmp_path / "lesson", strokes=1)
    quick_run(tmp_path / "lesson", database=None)
    measured = {each: each.stat().st_mtime_ns for each in (tmp_path / "lesson" / "measured").iterdir()}
    with open_page(tmp_path / "lesson") as coach:
        wait_for(lambda: coach.get("/clips").text.count("data-film") == 4)
        wait_for(lambda: "Mean of 2 strokes" in coach.get("/so-far").text)
    assert {
        each: each.stat().st_mtime_ns for each in (tmp_path / "lesson" / "measured").iterdir()
    } == measured


def test_a_copy_of_a_sorted_clip_stays_the_copy_over_a_restart(tmp_path: Path) -> None:
    folder = tmp_path / "lesson"
    desk = Desk(folder)
    folder.mkdir()
    for name in ("IMG_1.mov", f"20260101-000000000-{clip_number(1)}.mov"):
        write_clip(folder / name, "let go", 6.0, 1)
    desk.sort("IMG_1.mov", "coin let go", "6")
    with open_page(folder) as coach:
        wait_for(lambda: "data-film" in coach.get("/clips").text)
        wait_for(lambda: "counts once" in coach.get("/clips").text)
        assert "data-film" in coach.get(f"/clips/{clip_id('IMG_1.mov')}").text
    assert desk.lesson.clips == ("IMG_1.mov",)


def test_a_file_that_comes_by_cable_is_taken_once_it_rests_and_sorted_by_its_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("pennyfall.cli.serve.line.FILES_REST_S", 0.2)
    monkeypatch.setattr("pennyfall.cli.serve.line.MOST_WAITED", 1)  # no made-up clip opens as a film
    folder = tmp_path / "lesson"
    with open_page(folder) as coach:
        write_clip(tmp_path / "whole.mov", "let go", 12.0, 3)
        content = (tmp_path / "whole.mov").read_bytes()
        slow = folder / "coin-let-go-12ft-1.mov"
        for upto in range(5, len(content), 5):
            slow.write_bytes(content[:upto])
            assert '<li class="clip' not in coach.get("/clips").text, "a file that grows is not taken"
            if upto > 60:
                break
            asyncio.run(asyncio.sleep(0.05))
        slow.write_bytes(content)
        wait_for(lambda: "data-film" in coach.get("/clips").text)
        assert [each.title for each in read_lesson(folder).conditions] == ["coin let go, 12 ft"]
        slow.unlink()
        wait_for(lambda: '<li class="clip' not in coach.get("/clips").text)


def test_a_player_alone_sees_stroke_after_stroke_with_earlier_days_beside_it(tmp_path: Path) -> None:
    folder = tmp_path / "lesson"
    folder.mkdir()
    (folder / f"20250101-120000000-{clip_number(1)}.mov").write_bytes(made_clip(tmp_path, seed=5))
    with open_page(folder) as coach:
        sent(coach, tmp_path)
        text = coach.get("/alone").text
        assert "Tempo ratio" in text
        assert "Pull in the last 20 ms" in text
        assert text.count("<circle") == 4
        assert text.count('earlier"') == 4, "two dots of the earlier day, each with its interval"
        assert text.count(' last"') == 2
        assert "1 stroke of earlier days" in text


# --- events and places


def test_a_page_that_lost_its_line_hears_what_it_missed_in_order_and_nothing_twice() -> None:
    async def run() -> list[str]:
        log = EventLog()
        before = log.now
        for number in range(3):
            log.tell("clip", str(number))
        heard = []
        async for _, event in log.since(before):
            heard.append(event.of)
            if len(heard) == 2:
                log.tell("clip", "3")
            if len(heard) == 4:
                break
        return heard

    assert asyncio.run(run()) == ["0", "1", "2", "3"]


@pytest.mark.parametrize("name", ["", "other-3", "nonsense", "{run}-99", "{run}--1", "{run}-x"])
def test_a_page_of_an_earlier_run_is_told_to_ask_for_all(name: str) -> None:
    async def run() -> str:
        log = EventLog()
        log.tell("clip", "1")
        async for _, event in log.since(name.replace("{run}", log.now.partition("-")[0])):
            return event.kind
        return ""

    assert asyncio.run(run()) == "all"


def test_the_log_keeps_a_bounded_number_and_says_so() -> None:
    async def run() -> str:
        log = EventLog()
        before = log.now
        for number in range(MOST_KEPT + 5):
            log.tell("clip", str(number))
        async for _, event in log.since(before):
            return event.kind
        return ""

    assert asyncio.run(run()) == "all"


def test_work_that_hangs_dies_or_stumbles_is_answered_in_words_and_the_place_goes_on() -> None:
    async def run() -> list[str]:
        bench, said = Bench(1, time_limit_s=1.0), []
        try:
            await bench.run(greet, "to warm it")
            for work in (die, stumble, hang):
                with pytest.raises(CannotMeasure) as refused:
                    await bench.run(work)
                said.append(refused.value.message)
            heard: list[object] = []
            said.append(await bench.run(greet, "again", tell=heard.append))
            await asyncio.sleep(0)
            assert heard == ["at work"]
        finally:
            bench.close()
        return said

    died, stumbled, hung, again = asyncio.run(run())
    assert "ended" in died
    assert "defect" in stumbled
    assert "1 s" in hung
    assert again == "hello again"
