"""News from the server to each open page: one small queue a page, the newest of each kind winning."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Callable
from typing import Any


class Events:
    """News to every listening page, from any thread."""

    def __init__(self) -> None:
        self._loop: asyncio.AbstractEventLoop | None = None
        self._listeners: set[_Listener] = set()
        self.closed = False

    def send(self, kind: str, content: Any) -> None:
        """Tell every page; from any thread.

        Parameters
        ----------
        kind
            The event's name.
        content
            JSON; a page that has not yet read the last one of this kind gets only this.
        """
        loop = self._loop
        if loop is not None and not loop.is_closed():
            loop.call_soon_threadsafe(self._put, kind, json.dumps(content, separators=(",", ":")))

    def close(self) -> None:
        """End every page's stream, so that the server can stop."""
        self.closed = True
        if self._loop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self._put, "closing", "null")

    async def listen(self, greeting: Callable[[], dict[str, Any]]) -> AsyncIterator[bytes]:
        """Yield the stream of one page, as server-sent events.

        Parameters
        ----------
        greeting
            What a page is told first, by kind; asked for once nothing can be missed any more.
        """
        self._loop = asyncio.get_running_loop()
        listener = _Listener()
        self._listeners.add(listener)
        for kind, content in greeting().items():
            listener.waiting.setdefault(kind, json.dumps(content, separators=(",", ":")))
        listener.ready.set()
        try:
            yield b"retry: 1000\n\n"
            while not self.closed:
                try:
                    await asyncio.wait_for(listener.ready.wait(), 15)
                except TimeoutError:
                    yield b": still here\n\n"
                    continue
                listener.ready.clear()
                waiting, listener.waiting = listener.waiting, {}
                for kind, text in waiting.items():
                    yield f"event: {kind}\ndata: {text}\n\n".encode()
        finally:
            self._listeners.discard(listener)

    def _put(self, kind: str, text: str) -> None:
        for listener in self._listeners:
            listener.waiting[kind] = text
            listener.ready.set()


class _Listener:
    def __init__(self) -> None:
        self.waiting: dict[str, str] = {}
        self.ready = asyncio.Event()
