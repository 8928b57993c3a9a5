"""The page's server: its files, the state, corrections, sound and the answer.

What the page may send, checked before anything is done with it.
"""

from __future__ import annotations

import json
from dataclasses import asdict
from datetime import date
from importlib.resources import files
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.routing import Route

from treeward.desk.sources import MOST_LETTERS, look_at_pasted, take_pasted
from treeward.errors import HuntError, ReviewError, TreewardError
from treeward.hunt.finds import (
    FindTable,
    add_find,
    checked,
    day_told,
    read_finds,
    typed_place,
)

from .desk import Desk
from .edits import Cell, Edit, LineKey, Name  # noqa: TC001  (pydantic asks for them)
from .sources import BIN_S, clip_wav
from .tally import answer_payload, finds_payload, pasted_payload
from .weighing import Estimator, Weighing

if TYPE_CHECKING:
    from collections.abc import Callable

    from starlette.requests import Request

    from treeward.hunt.hunt import Hunt
    from treeward.report.model import HuntResult


Day = Annotated[date | None, Field()]  # None: the text's own, or today
MOST_EDITS = 200  # in one request


class _Sent(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class EditsSent(_Sent):
    """The body of a request that corrects."""

    edits: Annotated[
        list[Annotated[Edit, Field(discriminator="kind")]],
        Field(min_length=1, max_length=MOST_EDITS),
    ]


class PhraseSent(_Sent):
    """Typed words to be read: as what a row should say, or as notes to add."""

    text: Annotated[str, Field(max_length=200)]
    row: Name | None = None


class OffersSent(_Sent):
    """A line without a note, to be told what it may say."""

    line: LineKey


class TypedSent(_Sent):
    """Notes that were typed and pasted, and the day where they do not say it."""

    text: Annotated[str, Field(max_length=MOST_LETTERS)]
    day: Day


class FindSent(_Sent):
    """A colony that was found; `may_know` are names with commas between.

    `another` says that it is another than one that is kept near there.
    """

    position: Annotated[str, Field(max_length=200)]
    found: Day
    nest: Annotated[str, Field(max_length=40)]
    height_m: Annotated[float, Field(allow_inf_nan=False)] | None
    entrance: Cell
    remark: Cell
    may_know: Cell
    another: bool = False


_TYPES = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
}
# The report is shown as it lies in results/, in a box of its own: its scripts have an
# origin that may ask nothing of this server.
_REPORT_RULES = (
    "sandbox allow-scripts; default-src 'none'; style-src 'unsafe-inline'; "
    "script-src 'unsafe-inline'; img-src data:; media-src data:; frame-ancestors 'none'"
)

_LONGEST_S = 600.0  # of one calculation; then the command line is the better place


class ReviewApp:
    """The routes of one sitting.

    `on_finish` is called when the person is done.
    """

    def __init__(self, hunt: Hunt, *, on_finish: Callable[[], None]) -> None:
        self.desk = Desk(hunt)
        self.weighing = Weighing(self.desk)
        self.estimator = Estimator(hunt.locate, afterwards=self.weighing.work)
        self._on_finish = on_finish
        self._report: bytes | None = None
        self._files = _page_files()
        self._located = ""  # digest of the file that was last asked to be located
        told = {
            "/api/state": self._state,
            "/api/pulse": self._pulse,
            "/api/answer": self._answer,
            "/sound/{key}/outline": self._outline,
            "/sound/{key}/clip.wav": self._clip,
            "/report.html": self._show_report,
            "/": self._file,
            "/{name:str}": self._file,
        }
        done = {
            "/api/edit": self._edit,
            "/api/read": self._read,
            "/api/offers": self._offers,
            "/api/typed": self._look_at,
            "/api/take": self._take,
            "/api/find": self._find,
            "/api/results": self._results,
            "/api/finish": self._finish,
        }
        routes = [Route(path, self._guarded(work)) for path, work in told.items()]
        routes += [
            Route(path, self._guarded(work), methods=["POST"])
            for path, work in done.items()
        ]
        self.starlette = Starlette(routes=routes)

    def _guarded(self, work: Callable[[Request, bytes], Response]) -> Any:  # noqa: ANN401
        """Run the work in a thread; a fault of the person's becomes one line."""

        async def endpoint(request: Request) -> Response:
            body = await request.body()
            try:
                return await run_in_threadpool(work, request, body)
            except ValidationError as error:
                first = error.errors()[0]
                place = ".".join(str(part) for part in first["loc"])
                return _fault(f"{place}: {first['msg']}", 422)
            except TreewardError as error:
                lines = getattr(error, "lines", ()) or (error.line(),)
                return _fault("\n".join(lines), 409)
            except ValueError as error:
                return _fault(str(error), 422)

        return endpoint

    def _file(self, request: Request, _: bytes) -> Response:
        name = request.path_params.get("name", "page.html")
        if name not in self._files:
            return PlainTextResponse("There is no such page.\n", 404)
        content, kind = self._files[name]
        return Response(content, media_type=kind)

    def _state(self, _request: Request, _: bytes) -> Response:
        return JSONResponse(self._whole_state())

    def _whole_state(self) -> dict[str, Any]:
        state = self.desk.state()
        if state["digest"] != self._located:
            self._located = state["digest"]
            self.estimator.ask()
        return state | {"asked": self.estimator.asked}

    def _pulse(self, _request: Request, _: bytes) -> Response:
        return JSONResponse(
            {
                "digest": self.desk.ledger.digest(),
                "asked": self.estimator.asked,
                "answered": self.estimator.answered,
                "weighed": self.weighing.changes,
            }
        )

    def _answer(self, _request: Request, _: bytes) -> Response:
        answered, result = self.estimator.answered, self.estimator.result
        body: dict[str, Any] = {
            "answered": answered,
            "asked": self.estimator.asked,
            "fault": self.estimator.fault,
            "weighed": self.weighing.changes,
            "moves": self.weighing.told(),
        }
        answer = answer_payload(result) if result else {}
        return JSONResponse(body | answer | finds_payload(self.desk.hunt, result))

    def _edit(self, _request: Request, body: bytes) -> Response:
        sent = EditsSent.model_validate_json(body)
        applied = self.desk.apply(sent.edits)
        return JSONResponse(self._whole_state() | asdict(applied))

    def _read(self, _request: Request, body: bytes) -> Response:
        """Say what a sentence would become; what says nothing is no fault here."""
        sent = PhraseSent.model_validate_json(body)
        try:
            read = self.desk.read_sentence(sent.text, sent.row or "")
        except ReviewError as error:
            return JSONResponse({"none": error.line()})
        return JSONResponse(asdict(read))

    def _offers(self, _request: Request, body: bytes) -> Response:
        sent = OffersSent.model_validate_json(body)
        offers = self.desk.offered(self.desk.line(sent.line))
        return JSONResponse(
            {
                "offers": [
                    {
                        "said": ", ".join(one.said for one in notes),
                        "notes": [one.cells() for one in notes],
                    }
                    for notes in offers
                ]
            }
        )

    def _look_at(self, _request: Request, body: bytes) -> Response:
        sent = TypedSent.model_validate_json(body)
        return JSONResponse(
            pasted_payload(look_at_pasted(self.desk.hunt, sent.text, sent.day))
        )

    def _take(self, _request: Request, body: bytes) -> Response:
        sent = TypedSent.model_validate_json(body)
        with self.desk.ledger.lock:  # a correction meanwhile waits for it
            page, done = take_pasted(self.desk.hunt, sent.text, sent.day)
        if done.faults:
            raise HuntError(done.faults[0])
        return JSONResponse(self._whole_state() | {"taken": pasted_payload(page)})

    def _find(self, _request: Request, body: bytes) -> Response:
        sent = FindSent.model_validate_json(body)
        hunt = self.desk.hunt
        told = sent.model_dump(exclude={"another"}) | {
            "id": read_finds(hunt.path).free_id(),
            "position": typed_place(sent.position),
            "found": day_told(hunt, sent.found),
            "may_know": [
                who.strip() for who in sent.may_know.split(",") if who.strip()
            ],
        }
        find = checked(FindTable, told)
        add_find(hunt, find, another=sent.another)
        result = self.estimator.result
        return JSONResponse({"find": find.id} | finds_payload(hunt, result))

    def _results(self, _request: Request, _: bytes) -> Response:
        with self.desk.ledger.lock:
            result = self._newest_answer()
            written = self.desk.hunt.write_results(result)
            self._report = written.report.read_bytes()
        return JSONResponse(
            {
                "directory": str(written.directory),
                "files": [path.name for path in written.files],
            }
            | answer_payload(result)
        )

    def _newest_answer(self) -> HuntResult:
        """Wait for the answer to the file as it is now; the ledger must be locked."""
        digest = self.desk.ledger.digest()
        if digest != self._located:
            self._located = digest
            self.estimator.ask()
        if not self.estimator.settle(_LONGEST_S) or self.estimator.result is None:
            raise HuntError(
                self.estimator.fault or "the distances take too long to work out",
                mend="" if self.estimator.fault else "Run: treeward locate",
            )
        return self.estimator.result

    def _finish(self, _request: Request, _: bytes) -> Response:
        self._on_finish()
        return JSONResponse({"finished": True})

    def _outline(self, request: Request, _: bytes) -> Response:
        outline = self.desk.shelf.outline(request.path_params["key"])
        if outline is None:
            return _fault("there is no such recording", 404)
        first = int(request.query_params.get("from", "0"))
        if first < 0:
            raise ReviewError("from: must not be negative")
        done = outline.done  # before the bytes: never "done" with some missing
        return Response(
            outline.since(first),
            media_type="application/octet-stream",
            headers={
                "x-bin-seconds": str(BIN_S),
                "x-done": "1" if done else "0",
                "x-fault": outline.fault.encode("ascii", "replace").decode(),
            },
        )

    def _clip(self, request: Request, _: bytes) -> Response:
        sound = self.desk.shelf.by_key(request.path_params["key"])
        if sound is None:
            return _fault("there is no such recording", 404)
        start_s = float(request.query_params.get("start", "nan"))
        end_s = float(request.query_params.get("end", "nan"))
        return Response(clip_wav(sound.path, start_s, end_s), media_type="audio/wav")

    def _show_report(self, _request: Request, _: bytes) -> Response:
        if self._report is None:
            return PlainTextResponse("The results have not been written yet.\n", 404)
        return Response(
            self._report,
            media_type="text/html; charset=utf-8",
            headers={"content-security-policy": _REPORT_RULES},
        )


def _fault(text: str, status: int) -> Response:
    return Response(json.dumps({"fault": text}), status, media_type="application/json")


def _page_files() -> dict[str, tuple[bytes, str]]:
    """Read the page's own files, the only ones that are ever served by name."""
    folder = files("treeward.desk") / "page"
    return {
        entry.name: (entry.read_bytes(), _TYPES[suffix])
        for entry in folder.iterdir()
        for suffix in [entry.name[entry.name.rfind(".") :]]
        if suffix in _TYPES
    }
