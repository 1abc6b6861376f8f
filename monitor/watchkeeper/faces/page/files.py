"""The live page's files, read once and served from memory."""

from __future__ import annotations

import hashlib
from collections.abc import Awaitable, Callable
from importlib import resources

from aiohttp import web

TYPES = {
    ".html": "text/html",
    ".css": "text/css",
    ".js": "text/javascript",
    ".json": "application/json",
    ".svg": "image/svg+xml",
    ".webmanifest": "application/manifest+json",
}


def add_files(app: web.Application) -> None:
    """Serve every file of the ``static`` folder under its name, and ``index.html`` as ``/``."""
    for file in sorted(resources.files(__package__).joinpath("static").iterdir(), key=lambda file: file.name):
        suffix = "." + file.name.rpartition(".")[2]
        if suffix not in TYPES:
            continue
        handler = _handler(file.read_bytes(), TYPES[suffix])
        app.router.add_get(f"/{file.name}", handler)
        if file.name == "index.html":
            app.router.add_get("/", handler)


def _handler(body: bytes, content_type: str) -> Callable[[web.Request], Awaitable[web.Response]]:
    tag = f'"{hashlib.sha256(body).hexdigest()[:32]}"'

    async def serve(request: web.Request) -> web.Response:
        headers = {"ETag": tag, "Cache-Control": "no-cache"}
        if request.headers.get("If-None-Match") == tag:
            return web.Response(status=304, headers=headers)
        return web.Response(body=body, content_type=content_type, charset="utf-8", headers=headers)

    return serve
