"""The coach's routes: what a lesson says, and every change to it."""

from __future__ import annotations

import asyncio

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, RedirectResponse, Response

from pennyfall.cli.files.measured_files import REPORT_FILE
from pennyfall.cli.serve.asking import clip_of, done, form_of, page_of
from pennyfall.cli.serve.guard import coach_only
from pennyfall.kinematics.errors import CannotMeasure

REPORT_SEAL = (
    "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; media-src blob:; "
    "img-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
"""The report holds its script and style itself, and is the very file that a run of the lesson writes."""


@coach_only
async def so_far(request: Request) -> Response:
    """Show anew what the lesson says so far."""
    page = page_of(request)
    return page.show("so_far.html.j2", **page.views.so_far())


@coach_only
async def film_now(request: Request) -> Response:
    """Take which version at which length comes now; show what there is to choose."""
    page = page_of(request)
    if request.method == "POST":
        page.desk.film_now(*_where(await form_of(request)))
        page.log.tell("now")
        return done()
    return page.show("now.html.j2", **page.views.now())


@coach_only
async def change(request: Request) -> Response:
    """Sort a clip, leave it out with the reason, or delete it for good."""
    page, clip, form = page_of(request), clip_of(request), await form_of(request)
    match request.path_params["change"]:
        case "sort":
            page.desk.sort(clip, *_where(form))
        case "leave-out":
            page.desk.leave_out(clip, form["reason"])
        case "delete":
            page.line.delete(clip)
        case _:
            raise HTTPException(404)
    page.line.changed(clip)
    page.log.tell("now")
    return done()


@coach_only
async def tell(request: Request) -> Response:
    """Take whose lesson it is; what is measured by another height is measured anew."""
    page, form = page_of(request), await form_of(request)
    asked = ("student", "hand", "green_speed", "tag_height", "units")
    page.desk.tell(**{each: form.get(each, "") for each in asked})
    page.log.tell("all")
    return done()


@coach_only
async def report(request: Request) -> Response:
    """Write the report that a run of the lesson writes, then show it."""
    page = page_of(request)
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
    page = page_of(request)
    return page.show("history.html.j2", **await asyncio.to_thread(page.views.history, page.database))


@coach_only
async def end(request: Request) -> Response:
    """End the page."""
    page = page_of(request)
    page.end()
    return page.show("ended.html.j2", folder=page.desk.folder)


def _where(form: dict[str, str]) -> tuple[str, str]:
    """Return version and putt length: a choice in one, or both in words."""
    length_ft, _, name = form.get("where", "").partition("|")
    return (name, f"{length_ft}ft") if name else (form["name"], form["length"])
