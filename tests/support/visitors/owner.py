"""One owner's way, from the first page to the workshop, with what each step took."""

from __future__ import annotations

import asyncio
import json
import random
import time
from collections import defaultdict
from collections.abc import Awaitable, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from photocheck.orders.draft import Draft
from photocheck.orders.screens import PHOTO, screens
from photocheck.speech import capital_first, tr
from photocheck.words import LANDMARKS, READING_TITLES, SHORT_PLACES
from tests.support.visitors.made import Told
from tests.support.visitors.wire import AT_ONCE, PageError, Wire

KINDS = ("open", "type", "step", "upload", "mark", "check", "drawn", "send")
"""What is timed: the first page; one field; one press of Next; the photo, from being chosen until
it stands on the page with its reference found; one mark; the check, from the button to the
verdict; the same until its picture is there; the order sent to the workshop."""


class Owner:
    """Somebody with a tape, a photo and a browser.

    Parameters
    ----------
    address : str
    told : Told
    think_s : (float, float)
        Shortest and longest time between two actions.
    trusted, source : optional
        As for `Wire`.

    Attributes
    ----------
    took : mapping of a kind to list of float
        Seconds.
    headline : str
        The verdict, as shown.
    """

    def __init__(
        self,
        address: str,
        told: Told,
        think_s: tuple[float, float] = (0, 0),
        *,
        trusted: Path | None = None,
        source: str | None = None,
    ) -> None:
        self.told, self.think_s = told, think_s
        self.wire = Wire(address, locale=told.locale, trusted=trusted, source=source)
        self.took: dict[str, list[float]] = defaultdict(list)
        self.headline = ""
        self._thinking = random.Random(told.name)

    async def play(self) -> None:
        """The whole way.

        Raises
        ------
        PageError
            When the page shows an error, or not what it should.
        """
        try:
            await self._time("open", self.wire.open("/?begin=quick"))
            await self._tell_readings()
            await self._tell_dog()
            await self._give_photo()
            await self._place_marks()
            await self._see_result()
        except BaseException as error:
            error.add_note(f"{self.told.name}, after {dict(self.took)}")
            raise
        finally:
            await self.wire.close()

    async def _time(self, kind: str, action: Awaitable[None]) -> None:
        await asyncio.sleep(self._thinking.uniform(*self.think_s))
        began = time.perf_counter()
        await action
        self.took[kind].append(time.perf_counter() - began)

    def _expect(self, text: str) -> None:
        if not self.wire.shows(text):
            raise PageError(f"{text!r} is not on the page, but {self.wire.texts()}")

    async def _type(self, label: str, text: str) -> None:
        await self._time("type", self.wire.type(label, text))

    async def _tell_readings(self) -> None:
        """One a screen; what the quick way does not ask for at the page with all of them."""
        left = dict(self.told.readings)
        for name in screens(Draft()):
            title = capital_first(tr(READING_TITLES.get(name, "")))
            for label in [label for label in left if title and label.startswith(title)]:
                await self._type_reading(label, left.pop(label))
            if name == PHOTO:
                break
            await self._time("step", self.wire.press("Next"))
        if left:
            await self._time("step", self.wire.press("All readings"))
            for label, text in left.items():
                await self._type_reading(label, text)
            await self._time("step", self.wire.press("Next"))

    async def _type_reading(self, label: str, text: str) -> None:
        before = sum(":material/check:" in said for said in self.wire.texts())
        await self._type(label, text)
        if sum(":material/check:" in said for said in self.wire.texts()) != before + 1:
            raise PageError(f"{text!r} was not said back")

    async def _tell_dog(self) -> None:
        dog = self.told.draft["dog"]
        await self._time("step", self.wire.press("About the dog"))
        await self._type("Dog's name", dog["name"])
        await self._type("Breed or mix", dog["breed"])
        await self._type("Weight", dog["weight"])
        await self._time("step", self.wire.press("Next"))

    async def _give_photo(self) -> None:
        label = "Take or choose a photo"
        await self._time("upload", self.wire.upload(label, "side.jpg", self.told.photo))
        self._expect("Found, where it is outlined")
        reference = self.told.draft["photos"][0]["reference"]
        await self._type("What does the proof bar on the sheet measure?", reference["bar"])
        place = tr(SHORT_PLACES[reference["place"]])
        asked = "Where was it? Seen from above, the camera below:"
        await self._time("step", self.wire.choose(asked, place))

    async def _place_marks(self) -> None:
        marks = self.told.draft["photos"][0]["markings"][0]["marks"]
        surface = json.loads(self.wire.component("photocheck_marking").json)
        for copy in surface["pictures"]:
            await self.wire.fetch(copy["url"])
        placed: dict[str, list[float]] = {}
        names = [*LANDMARKS, *(name for name in marks if name not in LANDMARKS)]
        for name in names:
            placed[name] = marks[name]
            sent = {"mount": surface["mount"], "shape": surface["shape"], "marks": dict(placed)}
            sent |= {"bends": {}, "reference": []}
            await self._time("mark", self.wire.set_component("photocheck_marking", placed=sent))
        self._expect("All marks are placed.")

    async def _see_result(self) -> None:
        await asyncio.sleep(self._thinking.uniform(*self.think_s))
        began = time.perf_counter()
        await self.wire.press("See the result", wait=False)
        await self.wire.until(lambda: bool(self._verdict()))
        self.took["check"].append(time.perf_counter() - began)
        await self.wire.run_done()
        self.took["drawn"].append(time.perf_counter() - began)
        self.headline = self._verdict()
        self._expect("Photo 1 with your marks and what was measured.")
        label = next(
            button.label
            for button in self.wire.all("button")
            if button.label.startswith("Send ") and "to the workshop" in button.label
        )
        await self._time("step", self.wire.press(label))
        await self._time("send", self.wire.press("Send"))
        self._expect("Sent to the workshop.")

    def _verdict(self) -> str:
        for alert in self.wire.all("alert"):
            if alert.body.startswith("## "):
                return str(alert.body.removeprefix("## "))
        return ""


def play_all(owners: Sequence[Owner]) -> None:
    """All at once; the first thing that goes wrong ends it and is raised."""

    async def play() -> None:
        # Nobody waits for another visitor's transfer to end: that is the server's to decide.
        threads = ThreadPoolExecutor(AT_ONCE * len(owners))
        asyncio.get_running_loop().set_default_executor(threads)
        await asyncio.gather(*(owner.play() for owner in owners))

    asyncio.run(play())
