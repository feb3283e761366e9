"""What every route of the page needs: who asks, for which clip, with which words."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import parse_qsl

import anyio
from jinja2 import Environment
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from pennyfall.cli.serve.desk import Desk
from pennyfall.cli.serve.events import EventLog
from pennyfall.cli.serve.guard import Guest
from pennyfall.cli.serve.line import Line
from pennyfall.cli.serve.views import Views, page_templates


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Page:
    """What the routes share."""

    desk: Desk
    line: Line
    log: EventLog
    views: Views
    database: Path | None
    codes: tuple[tuple[str, str], ...]
    end: Callable[[], None]
    templates: Environment = field(default_factory=page_templates)
    ending: anyio.Event = field(default_factory=anyio.Event)
    arriving: dict[str, tuple[str, asyncio.Task[object] | None]] = field(default_factory=dict)
    """The clip that each guest is sending."""

    def show(self, template: str, *, status: int = 200, **values: object) -> Response:
        """Answer with a page."""
        return HTMLResponse(self.templates.get_template(template).render(**values), status)


def page_of(request: Request) -> Page:
    """Return what the routes share."""
    found: Page = request.app.state.page
    return found


def guest_of(request: Request) -> Guest:
    """Return who asks."""
    found: Guest = request.scope["guest"]
    return found


def clip_of(request: Request) -> str:
    """Return the clip that an address names, as far as it is this guest's to see."""
    page, wanted = page_of(request), request.path_params["id"]
    clip = page.desk.clip_of(wanted)
    if clip is None or page.views.row(wanted, guest_of(request)) is None:
        raise HTTPException(404)
    return clip


async def form_of(request: Request) -> dict[str, str]:
    """Return what a form says; what it may leave out is empty."""
    words = (await request.body()).decode("utf-8", errors="replace")
    return {"name": "", "length": "", "reason": "", **dict(parse_qsl(words, keep_blank_values=True))}


def done() -> Response:
    """Answer a form: show the page again."""
    return RedirectResponse("/", 303)
