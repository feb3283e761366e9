"""The page's addresses: what a phone may do, and what only the coach."""

from __future__ import annotations

import asyncio
import re
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from urllib.parse import parse_qsl, unquote

import anyio
from sse_starlette import EventSourceResponse, ServerSentEvent
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import ClientDisconnect, Request
from starlette.responses import FileResponse, HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from pennyfall.cli.files.measured_files import REPORT_FILE, annotated_path
from pennyfall.cli.lesson.clips import annotate_clip
from pennyfall.cli.lesson.run import Measuring
from pennyfall.cli.lesson.side_by_side import FinishClip
from pennyfall.cli.report.page.lesson import page_style, page_text
from pennyfall.cli.serve.arrival import LARGEST_CLIP, CannotTake, sweep_parts, take_in
from pennyfall.cli.serve.desk import Desk, Sent
from pennyfall.cli.serve.events import EventLog
from pennyfall.cli.serve.guard import (
    ByAddress,
    Guest,
    InvitedOnly,
    OwnPagesOnly,
    Sealed,
    Tokens,
    coach_only,
)
from pennyfall.cli.serve.line import Line
from pennyfall.cli.serve.look import first_picture
from pennyfall.cli.serve.views import Views, page_templates
from pennyfall.kinematics.errors import CannotMeasure

LARGEST_FORM = 16_000
"""Bytes; a form here holds a few words."""
REPORT_SEAL = (
    "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; media-src blob:; "
    "img-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
"""The report holds its script and style itself, and is the very file that a run of the lesson writes."""
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
        sweep_parts(folder)
        log = EventLog()
        line = Line(desk, log, measure, finish, processes)
        line.start()
        app.state.page = page = _Page(desk, line, log, database, codes, end)
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


class _Page:
    """What the routes share."""

    def __init__(
        self,
        desk: Desk,
        line: Line,
        log: EventLog,
        database: Path | None,
        codes: tuple[tuple[str, str], ...],
        end: Callable[[], None],
    ) -> None:
        self.desk, self.line, self.log = desk, line, log
        self.database, self.codes, self.end = database, codes, end
        self.views = Views(desk, line)
        self.templates = page_templates()
        self.ending = anyio.Event()
        self.arriving: dict[str, tuple[str, asyncio.Task[object] | None]] = {}

    def show(self, template: str, **values: object) -> Response:
        return HTMLResponse(self.templates.get_template(template).render(**values))


def _page(request: Request) -> _Page:
    found: _Page = request.app.state.page
    return found


def _guest(request: Request) -> Guest:
    found: Guest = request.scope["guest"]
    return found


def _clip(request: Request) -> str:
    """Return the clip that an address names."""
    clip = _page(request).desk.clip_of(request.path_params["id"])
    if clip is None:
        raise HTTPException(404)
    return clip


async def _form(request: Request) -> dict[str, str]:
    words = (await request.body()).decode("utf-8", errors="replace")
    return {"name": "", "length": "", **dict(parse_qsl(words, keep_blank_values=True))}


async def _in_words(_request: Request, error: Exception) -> Response:
    assert isinstance(error, CannotMeasure)
    return Response(f"{error.message} {error.fix}", 400, media_type="text/plain")


def _done() -> Response:
    return RedirectResponse("/", 303)


async def start(request: Request) -> Response:
    """Show the page: the coach's, or a phone's."""
    page, guest = _page(request), _guest(request)
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
    page, guest = _page(request), _guest(request)
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
    page, guest, wanted = _page(request), _guest(request), request.path_params["id"]
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
    page = _page(request)
    row = page.views.row(request.path_params["id"], _guest(request))
    return Response(status_code=404) if row is None else page.show("clip_alone.html.j2", row=row)


async def rows(request: Request) -> Response:
    """Show all clips anew."""
    page, guest = _page(request), _guest(request)
    return page.show("clips.html.j2", rows=page.views.rows(guest))


async def stroke(request: Request) -> Response:
    """Give a stroke: curve, where its film is, and its figures as they are shown."""
    page, guest = _page(request), _guest(request)
    which = request.path_params["id"], request.path_params["number"], guest
    curve = await asyncio.to_thread(page.views.stroke, *which)
    figures = page.views.figures(*which)
    if curve is None or figures is None:
        return Response(status_code=404)
    html = page.templates.get_template("stroke.html.j2").render(**figures)
    return JSONResponse({**curve, "html": html})


async def film(request: Request) -> Response:
    """Give a stroke's film, whole or in the ranges that a phone's player asks for."""
    page, clip = _page(request), _clip(request)
    path = annotated_path(page.desk.folder, clip, request.path_params["number"])
    if page.views.row(request.path_params["id"], _guest(request)) is None or not path.is_file():
        return Response(status_code=404)
    return FileResponse(path, media_type="video/mp4", headers={"cache-control": "private, max-age=3600"})


async def first(request: Request) -> Response:
    """Give a clip's first picture."""
    page, clip = _page(request), _clip(request)
    if page.views.row(request.path_params["id"], _guest(request)) is None:
        return Response(status_code=404)
    picture = await page.line.ask_clerk(first_picture, page.desk.folder / clip)
    return Response(picture, media_type="image/jpeg")


async def head(request: Request) -> Response:
    """Ask where the head is, and take the answer: a tap on the first picture."""
    page, clip = _page(request), _clip(request)
    row = page.views.row(request.path_params["id"], _guest(request))
    if row is None:
        return Response(status_code=404)
    if request.method == "GET":
        return page.show("head.html.j2", row=row)
    form = await _form(request)
    try:
        x, y = float(form.get("at.x", "")), float(form.get("at.y", ""))
        width = float(form.get("width") or 1920)
    except ValueError:
        raise CannotMeasure("It is not said where the head is.", fix="Tap the head in the picture.") from None
    side = max(16, round(width * HEAD_SHARE))
    page.desk.show_head(clip, f"{max(round(x - side / 2), 0)},{max(round(y - side / 2), 0)},{side},{side}")
    page.line.take(clip)
    return _done()


async def alone(request: Request) -> Response:
    """Show a player's own strokes from two metres away."""
    page, guest = _page(request), _guest(request)
    template = "runs.html.j2" if request.query_params.get("part") else "alone.html.j2"
    return page.show(template, guest=guest, seen=page.log.now, **page.views.alone(guest))


@coach_only
async def so_far(request: Request) -> Response:
    """Show anew what the lesson says so far."""
    page = _page(request)
    return page.show("so_far.html.j2", **page.views.so_far())


@coach_only
async def film_now(request: Request) -> Response:
    """Take which version at which length comes now; show what there is to choose."""
    page = _page(request)
    if request.method == "POST":
        page.desk.film_now(*_where(await _form(request)))
        page.log.tell("now")
        return _done()
    return page.show("now.html.j2", **page.views.now())


@coach_only
async def sort(request: Request) -> Response:
    """Sort a clip into a version and a putt length."""
    page, clip = _page(request), _clip(request)
    page.desk.sort(clip, *_where(await _form(request)))
    return _changed(page, clip)


@coach_only
async def leave_out(request: Request) -> Response:
    """Leave a clip out, with the reason."""
    page, clip = _page(request), _clip(request)
    page.desk.leave_out(clip, (await _form(request)).get("reason", ""))
    return _changed(page, clip)


@coach_only
async def delete(request: Request) -> Response:
    """Remove a clip for good."""
    page, clip = _page(request), _clip(request)
    if clip in page.line.clips and page.line.clips[clip].step == "measuring":
        raise CannotMeasure("It is being measured at this moment.", fix="Wait until it is, then delete it.")
    page.line.forget(clip)
    page.desk.delete(clip)
    return _changed(page, clip)


@coach_only
async def tell(request: Request) -> Response:
    """Take whose lesson it is; what is measured by another height is measured anew."""
    page, form = _page(request), await _form(request)
    before = page.desk.lesson.tag_height_mm
    page.desk.tell(
        student=form.get("student", ""),
        hand=form.get("hand", ""),
        green_speed=form.get("green_speed", ""),
        tag_height=form.get("tag_height", ""),
        units=form.get("units", "ft"),
    )
    if page.desk.lesson.tag_height_mm != before:
        page.line.again()
    page.log.tell("all")
    return _done()


@coach_only
async def report(request: Request) -> Response:
    """Write the report that a run of the lesson writes, then show it."""
    page = _page(request)
    path = page.desk.folder / REPORT_FILE
    if request.method == "POST":
        if not page.views.facts()["told"]:
            raise CannotMeasure(
                "It is not said whose lesson this is.", fix="Fill in the student's code first."
            )
        await page.line.report(page.database)
        return RedirectResponse("/report", 303)
    if not path.is_file():
        raise CannotMeasure("No report is written yet.", fix="Go back and press 'Write the report'.")
    return FileResponse(path, media_type="text/html", headers={"content-security-policy": REPORT_SEAL})


@coach_only
async def history(request: Request) -> Response:
    """Show what changed over the student's lessons."""
    page = _page(request)
    return page.show("history.html.j2", **await asyncio.to_thread(page.views.history, page.database))


@coach_only
async def end(request: Request) -> Response:
    """End the page."""
    page = _page(request)
    page.end()
    return page.show("ended.html.j2", folder=page.desk.folder)


async def style(_request: Request) -> Response:
    """Give the style: the report's, and what the page adds."""
    return Response(page_style() + _own_text("page.css"), media_type="text/css")


async def script(_request: Request) -> Response:
    """Give the script: the report's player, and the page's own."""
    return Response(page_text("player.js") + _own_text("page.js"), media_type="text/javascript")


def _own_text(name: str) -> str:
    return (Path(__file__).parent / name).read_text(encoding="utf-8")


def _where(form: dict[str, str]) -> tuple[str, str]:
    """Return version and putt length: a choice in one, or both in words."""
    length_ft, _, name = form.get("where", "").partition("|")
    return (name, f"{length_ft}ft") if name else (form["name"], form["length"])


def _changed(page: _Page, clip: str) -> Response:
    page.line.changed(clip)
    page.log.tell("now")
    return _done()


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
        Route("/so-far", so_far, methods=got),
        Route("/now", film_now, methods=["GET", "POST"]),
        Route(f"{one}/sort", sort, methods=sent),
        Route(f"{one}/leave-out", leave_out, methods=sent),
        Route(f"{one}/delete", delete, methods=sent),
        Route("/lesson", tell, methods=sent),
        Route("/report", report, methods=["GET", "POST"]),
        Route("/history", history, methods=got),
        Route("/end", end, methods=sent),
    ]
