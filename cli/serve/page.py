"""The page's addresses: what a phone may do, and what only the coach."""

from __future__ import annotations

import asyncio
import math
import re
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from urllib.parse import unquote

from sse_starlette import EventSourceResponse, ServerSentEvent
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import ClientDisconnect, Request
from starlette.responses import FileResponse, JSONResponse, PlainTextResponse, Response
from starlette.routing import Route

from pennyfall.cli.files.lesson_file import LESSON_FILE
from pennyfall.cli.files.measured_files import annotated_path
from pennyfall.cli.lesson.clips import annotate_clip
from pennyfall.cli.lesson.new import DRAFT_FILE
from pennyfall.cli.lesson.run import Measuring
from pennyfall.cli.lesson.side_by_side import FinishClip
from pennyfall.cli.report.page.lesson import page_style, page_text
from pennyfall.cli.serve import coach
from pennyfall.cli.serve.arrival import LARGEST_CLIP, CannotTake, sweep_parts, take_in
from pennyfall.cli.serve.asking import Page, clip_of, done, form_of, guest_of, page_of
from pennyfall.cli.serve.desk import PAGE_FILE, Desk, Sent
from pennyfall.cli.serve.events import EventLog
from pennyfall.cli.serve.guard import (
    KEYS_FILE,
    ByAddress,
    InvitedOnly,
    OwnPagesOnly,
    Sealed,
    Tokens,
)
from pennyfall.cli.serve.line import Line
from pennyfall.cli.serve.look import first_picture
from pennyfall.cli.serve.views import Views
from pennyfall.kinematics.errors import CannotMeasure

LARGEST_FORM = 16_000
"""Bytes; a form here holds a few words."""
HEAD_SHARE = 1 / 40
"""Chosen by us: side of the patch round a tap over the picture's width; a head is some times as wide."""


def page_app(
    folder: Path,
    measure: Measuring,
    tokens: Tokens,
    *,
    finish: FinishClip = annotate_clip,
    processes: int | None = None,
    database: Path | None = None,
    codes: tuple[tuple[str, str], ...] = (),
    end: Callable[[], None] = lambda: None,
) -> Starlette:
    """Return the page of a lesson's folder as an ASGI application.

    Parameters
    ----------
    folder : Path
        The lesson's folder; everything that is kept lies in it.
    measure : callable
        How clips are measured, as for a run of the lesson.
    tokens : Tokens
        What opens the page, for the coach and for phones.
    finish : callable
        What else is made of each measured clip.
    processes : int, optional
        Clips measured at once; default: one a core.
    database : Path or None
        The history; None keeps none.
    codes : tuple of (str, str)
        Addresses a phone may scan, each with its code as an SVG text.
    end : callable
        Ends the server.

    """
    desk = Desk(folder)

    @asynccontextmanager
    async def standing(app: Starlette) -> AsyncIterator[None]:
        sweep_parts(folder, PAGE_FILE, KEYS_FILE, LESSON_FILE, DRAFT_FILE)
        log = EventLog()
        line = Line(desk, log, measure, finish, processes)
        line.start()
        views = Views(desk, line)
        app.state.page = page = Page(
            desk=desk, line=line, log=log, views=views, database=database, codes=codes, end=end
        )
        closing = asyncio.create_task(log.close_at(page.ending))
        try:
            yield
        finally:
            closing.cancel()
            line.stop()

    return Starlette(
        routes=_routes(),
        lifespan=standing,
        max_body_size=LARGEST_FORM,
        middleware=[
            Middleware(Sealed),
            Middleware(ByAddress),
            Middleware(InvitedOnly, tokens=tokens),
            Middleware(OwnPagesOnly),
        ],
        exception_handlers={CannotMeasure: _in_words},
    )


async def _in_words(request: Request, error: Exception) -> Response:
    """Say what is wrong: to a script as a line, to whoever looks as a page with a way back."""
    assert isinstance(error, CannotMeasure)
    if "text/html" not in request.headers.get("accept", ""):
        return PlainTextResponse(f"{error.message} {error.fix}", 400)
    return page_of(request).show("refused.html.j2", status=400, message=error.message, fix=error.fix)


async def start(request: Request) -> Response:
    """Show the page: the coach's, or a phone's."""
    page, guest = page_of(request), guest_of(request)
    seen = page.log.now  # before anything is read: what happens meanwhile is told afterwards
    return page.show(
        "page.html.j2",
        guest=guest,
        seen=seen,
        rows=page.views.rows(guest),
        codes=page.codes if guest.coach else (),
        **page.views.now(),
        **{key: value for key, value in page.views.facts().items() if key != "units"},
        **page.views.so_far(),
    )


async def events(request: Request) -> Response:
    """Tell a page what is new, from where it was."""
    page, guest = page_of(request), guest_of(request)
    after = request.headers.get("last-event-id") or request.query_params.get("after", "")

    async def told() -> AsyncIterator[ServerSentEvent]:
        async for name, event in page.log.since(after):
            mine = (
                guest.coach or event.kind == "all" or (event.kind == "clip" and guest.may_see(event.sender))
            )
            if mine:
                yield ServerSentEvent(event.of or "-", event=event.kind, id=name)

    return EventSourceResponse(told(), shutdown_event=page.ending, shutdown_grace_period=1)


async def put_clip(request: Request) -> Response:
    """Take a clip in; under an id that is there already nothing is done."""
    page, guest, wanted = page_of(request), guest_of(request), request.path_params["id"]
    if not re.fullmatch("[0-9a-f]{16}", wanted):
        return Response("No clip is called so.", 400)
    name = unquote(request.headers.get("x-clip-name", ""))
    name = "".join(each for each in name if each.isprintable())[-80:]
    at_work, task = page.arriving.get(guest.name, ("", None))
    if at_work == wanted and task is not None:
        task.cancel()  # a phone that sends the same again has given up what it sent before
    elif task is not None:
        return Response("One at a time: this phone is sending a clip already.", 429)
    if page.desk.clip_of(wanted) is not None:
        async for _ in request.stream():
            pass
        return Response("It is here already.", 200)
    sender = "" if guest.coach else guest.name
    mine = (wanted, asyncio.current_task())
    page.arriving[guest.name] = mine
    try:
        place = page.desk.place_for(wanted, name)
        page.desk.note(wanted, Sent(name=name, sender=sender, meant=page.desk.notes.now))
        await take_in(request.stream(), place)
    except CannotTake as error:
        return Response(error.words, error.status)
    except ClientDisconnect:
        return Response("Gone.", 400)
    except asyncio.CancelledError:
        if page.arriving.get(guest.name) is mine:  # the server ends
            raise
        return Response("Sent anew.", 409)
    finally:
        if page.arriving.get(guest.name) is mine:
            del page.arriving[guest.name]
    page.line.take(place.name)
    return Response("It is here.", 202)


async def clip_row(request: Request) -> Response:
    """Show one clip anew."""
    page = page_of(request)
    row = page.views.row(request.path_params["id"], guest_of(request))
    return Response(status_code=404) if row is None else page.show("clip_alone.html.j2", row=row)


async def rows(request: Request) -> Response:
    """Show all clips anew."""
    page = page_of(request)
    return page.show("clips.html.j2", rows=page.views.rows(guest_of(request)))


async def stroke(request: Request) -> Response:
    """Give a stroke: curve, where its film is, and its figures as they are shown."""
    page, clip = page_of(request), clip_of(request)
    found = await asyncio.to_thread(page.views.stroke, clip, request.path_params["number"], guest_of(request))
    if found is None:
        return Response(status_code=404)
    html = page.templates.get_template("stroke.html.j2").render(**found.pop("figures"))
    return JSONResponse({**found, "html": html})


async def film(request: Request) -> Response:
    """Give a stroke's film, whole or in the ranges that a phone's player asks for."""
    path = annotated_path(page_of(request).desk.folder, clip_of(request), request.path_params["number"])
    if not path.is_file():
        return Response(status_code=404)
    return FileResponse(path, media_type="video/mp4", headers={"cache-control": "private, max-age=3600"})


async def first(request: Request) -> Response:
    """Give a clip's first picture."""
    page, clip = page_of(request), clip_of(request)
    picture = await page.line.ask_clerk(first_picture, page.desk.folder / clip)
    return Response(picture, media_type="image/jpeg")


async def head(request: Request) -> Response:
    """Ask where the head is, and take the answer: a tap on the first picture."""
    page, clip = page_of(request), clip_of(request)
    if request.method == "GET":
        return page.show("head.html.j2", row=page.views.row(request.path_params["id"], guest_of(request)))
    form = await form_of(request)
    try:
        x, y, width = (float(form.get(each) or "nan") for each in ("at.x", "at.y", "width"))
        side = max(16, round((1920 if math.isnan(width) else width) * HEAD_SHARE))
        left, top = (max(round(each - side / 2), 0) for each in (x, y))
    except (ValueError, OverflowError):
        raise CannotMeasure("It is not said where the head is.", fix="Tap the head in the picture.") from None
    page.desk.show_head(clip, f"{left},{top},{side},{side}")
    page.line.take(clip)
    return done()


async def alone(request: Request) -> Response:
    """Show a player's own strokes from two metres away."""
    page, guest = page_of(request), guest_of(request)
    template = "runs.html.j2" if request.query_params.get("part") else "alone.html.j2"
    return page.show(template, guest=guest, seen=page.log.now, **page.views.alone(guest))


async def style(_request: Request) -> Response:
    """Give the style: the report's, and what the page adds."""
    own = Path(__file__).with_name("page.css").read_text(encoding="utf-8")
    return Response(page_style() + own, media_type="text/css")


async def script(_request: Request) -> Response:
    """Give the script: the report's player, and the page's own."""
    own = Path(__file__).with_name("page.js").read_text(encoding="utf-8")
    return Response(page_text("player.js") + own, media_type="text/javascript")


def _routes() -> list[Route]:
    got, sent = ["GET"], ["POST"]
    one = "/clips/{id:str}"
    return [
        Route("/", start, methods=got),
        Route("/style.css", style, methods=got),
        Route("/script.js", script, methods=got),
        Route("/events", events, methods=got),
        Route("/clips", rows, methods=got),
        Route("/alone", alone, methods=got),
        Route(one, put_clip, methods=["PUT"], max_body_size=LARGEST_CLIP),
        Route(one, clip_row, methods=got),
        Route(f"{one}/head", head, methods=["GET", "POST"]),
        Route(f"{one}/first.jpg", first, methods=got),
        Route("/strokes/{id:str}/{number:int}", stroke, methods=got),
        Route("/films/{id:str}/{number:int}", film, methods=got),
        Route("/so-far", coach.so_far, methods=got),
        Route("/now", coach.film_now, methods=["GET", "POST"]),
        Route(f"{one}/{{change:str}}", coach.change, methods=sent),
        Route("/lesson", coach.tell, methods=sent),
        Route("/report", coach.report, methods=["GET", "POST"]),
        Route("/history", coach.history, methods=got),
        Route("/end", coach.end, methods=sent),
    ]
