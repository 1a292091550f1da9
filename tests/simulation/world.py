"""One seed: tablets, people, a network and a service, and everything that befalls them.

Time is a queue of what happens next; nothing waits in earnest. Whatever is left to chance (who
does what, what the network does with it, when a worker is killed) comes from the seed alone.
"""

from __future__ import annotations

import heapq
import json
import random
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import timedelta
from http.cookies import SimpleCookie
from typing import Any
from uuid import UUID

from tests.simulation.page import Page
from tests.simulation.service import (
    PASSWORD,
    PEOPLE,
    START,
    TABLETS,
    Answer,
    Kept,
    Killed,
    Service,
    token_in,
)
from tests.simulation.tablet import Tablet

MOST_STEPS = 30
LATENCY_S = 0.08
GIVEN_UP_S = 30.0
"""A request that nobody answers is given up by the browser after this."""
PLACES = (
    ("hawkins_kennedy", "left", "result", ("positive", "negative")),
    ("hawkins_kennedy", "right", "result", ("positive", "negative")),
    ("radial_pulse", "left", "pulse", ("absent", "present")),
)
"""Items, sides, the kind of value and what it may be; an absent pulse raises a flag."""
SAID = {200: "saved", 202: "kept", 500: "not known", 0: "not known"}
"""What a page says by the status of an answer; 500 stands for all above, 0 for none."""


@dataclass
class Sent:
    """One entry that a hand made, and what its page was told of it."""

    entry: dict[str, Any]
    who: str
    tablet: int
    page: int
    examination: str
    said: str = ""
    """saved, kept, refused, not known, or nothing yet."""
    at: float = 0.0


@dataclass
class Look:
    """A signing page as it was shown: what stood in the ledger then, and the flags on it."""

    who: str
    examination: str
    html: str
    ids: tuple[str, ...]
    flags: tuple[str, ...]


@dataclass
class Weather:
    """How bad a seed is; drawn once."""

    lost: float
    unanswered: float
    twice: float
    late: float
    killed: float
    between: float

    @classmethod
    def of(cls, chance: random.Random) -> Weather:
        """Calm in a quarter of the seeds, so that what a calm day shows is seen too."""
        if chance.random() < 0.25:
            return cls(0, 0, 0, 0, 0, 0)
        return cls(*(chance.random() * most for most in (0.3, 0.3, 0.25, 0.2, 0.15, 0.3)))


class Broken(AssertionError):
    """An invariant does not hold."""


@dataclass
class World:
    """Everything of one seed."""

    service: Service
    seed: int
    is_told: bool = False
    now: float = 0.0
    trace: list[str] = field(default_factory=list)
    tablets: list[Tablet] = field(default_factory=list)
    book: dict[str, Sent] = field(default_factory=dict)
    confirmed: dict[str, float] = field(default_factory=dict)
    held: dict[str, float] = field(default_factory=dict)
    excused: set[str] = field(default_factory=set)
    """Confirmed after the backup that was put back."""
    looks: list[Look] = field(default_factory=list)
    signatures: int = 0
    backups: list[Kept] = field(default_factory=list)
    pages_opened: int = 0
    touches: int = 0
    server_ahead: float = 0.0
    _queue: list[tuple[float, float, int, Callable[[], Any]]] = field(default_factory=list)
    _arrivals: dict[int, Callable[[], Any]] = field(default_factory=dict)
    _count: int = 0
    _hands: dict[int, float] = field(default_factory=dict)
    _is_nested: bool = False
    counts: dict[str, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.chance = random.Random(self.seed)
        self.epoch = START.timestamp()
        self.weather = Weather.of(self.chance)
        self.service.begin(self.chance)
        self.service.between = self.in_between
        self.people = list(PEOPLE)[: self.chance.choice([1, 2, 2, 2, 2, 3])]
        for number in range(self.chance.choice([2, 2, 3, 3, 4, TABLETS])):
            self.tablets.append(Tablet(self, number))
        self.examinations = self.service.examinations[: self.chance.randint(1, 2)]

    # Time.

    def moment(self) -> float:
        """A short while: what a device needs for one small thing."""
        return self.chance.random() * 0.004

    def later(self, wait: float, work: Callable[[], Any]) -> int:
        """Do this after so many seconds."""
        self._count += 1
        entry = (self.now + max(0.0, wait), self.chance.random(), self._count, work)
        heapq.heappush(self._queue, entry)
        return self._count

    def let_pass(self, seconds: float) -> None:
        """Everything that happens until then."""
        end = self.now + seconds
        while self._queue and self._queue[0][0] <= end:
            at, _, _, work = heapq.heappop(self._queue)
            self.now = max(self.now, at)
            work()
        self.now = end

    def note(self, text: str) -> None:
        """One line of what happened; a seed that is run again gives the same lines."""
        self.trace.append(f"{self.now:9.3f} {text}")
        if self.is_told:
            print(self.trace[-1])

    def counted(self, what: str) -> None:
        """How often something happened, over all seeds."""
        self.counts[what] = self.counts.get(what, 0) + 1

    # The network.

    def carry(
        self, page: Page, number: int, address: str, method: str, headers: dict[str, str], body: str
    ) -> None:
        """A request of a page, and whatever the network does with it."""
        tablet = page.tablet
        if not tablet.is_online:
            tablet._refuse(page, number, 0.02, "no network")
            return
        sent = SimpleCookie({name: one.value for name, one in tablet.cookies.items()})
        wait = LATENCY_S * (0.5 + self.chance.random())
        fate = self.chance.random()
        if fate < self.weather.lost:
            self.counted("lost on the way there")
            gives_up = self.chance.choice([0.3, GIVEN_UP_S])
            tablet._refuse(page, number, gives_up, "nobody answers")
            return
        if self.chance.random() < self.weather.late:
            wait += self.chance.random() * 15
        is_heard = self.chance.random() >= self.weather.unanswered
        request = (address, method, headers, body, sent)
        self._arrive(wait, lambda: self._at_service(page, number, request, is_heard))
        if self.chance.random() < self.weather.twice:
            self.counted("arrived twice")
            again = wait + self.chance.random() * 20
            self._arrive(again, lambda: self._at_service(page, 0, request, False))

    def _arrive(self, wait: float, work: Callable[[], Any]) -> None:
        number = self._count + 1

        def once() -> None:
            if self._arrivals.pop(number, None):
                work()

        self._arrivals[number] = once
        assert self.later(wait, once) == number

    def in_between(self) -> None:
        """A worker has read and not yet written: another one may answer a request now."""
        if self._is_nested or not self._arrivals or self.chance.random() >= self.weather.between:
            return
        self._is_nested = True
        try:
            self.counted("answered in between")
            self._arrivals[self.chance.choice(sorted(self._arrivals))]()
        finally:
            self._is_nested = False

    def _at_service(
        self, page: Page, number: int, request: tuple[Any, ...], is_heard: bool
    ) -> None:
        address, method, headers, body, cookies = request
        answer = self.ask(cookies, method, address, body or None, headers)
        tablet = page.tablet
        if answer is None:
            # Either the connection ends, or the proxy says that nobody is there.
            if self.chance.random() < 0.5:
                self._lose(page, number)
                return
            answer = Answer(502, "Bad Gateway")
            self.counted("proxy answered")
        self.note(f"page {page.number} {method} {address} -> {answer.status}")
        if not is_heard or not tablet.is_online:
            self.counted("answer lost")
            self._lose(page, number)
            return
        back = LATENCY_S * (0.5 + self.chance.random())
        self.later(back, lambda: self._take_cookies(tablet, cookies))
        tablet.later(back, lambda: self._deliver(page, number, address, answer), page)

    def _lose(self, page: Page, number: int) -> None:
        if number:
            page.tablet._refuse(page, number, self.chance.choice([0.1, GIVEN_UP_S]), "cut off")

    def _take_cookies(self, tablet: Tablet, cookies: SimpleCookie) -> None:
        for name, morsel in cookies.items():
            if morsel["path"]:  # set by the answer
                tablet.cookies[name] = morsel.value

    def _deliver(self, page: Page, number: int, address: str, answer: Answer) -> None:
        if not number:
            return
        if address.endswith("/queue/") and answer.status == 200:
            taken = json.loads(answer.text)
            for name in taken["stored"]:
                self.confirmed.setdefault(name, self.now)
            for name in taken["held"]:
                self.held.setdefault(name, self.now)
        page.call(
            "settle", number, True, json.dumps({"status": answer.status, "text": answer.text})
        )
        if address == "/session/":
            said = json.loads(answer.text) if answer.status == 200 else {}
            other = answer.status == 401 or said.get("account", page.account) != page.account
            if other and not page.is_blank:
                raise Broken(f"page {page.number} knows that its session is over, and still shows")

    def ask(
        self, cookies: SimpleCookie, method: str, address: str, data: Any = None,
        headers: dict[str, str] | None = None, form: bool = False,
    ) -> Answer | None:  # fmt: skip
        """The service's answer; None if the worker was killed on the way."""
        self.service.clock.at = START + timedelta(seconds=self.now + self.server_ahead)
        if not self._is_nested and self.chance.random() < self.weather.killed:
            self.service.statements_left = self.chance.randrange(40)
        try:
            return self.service.ask(cookies, method, address, data, headers, form)
        except Killed:
            self.counted("worker killed")
            self.note(f"worker killed during {method} {address}")
            return None
        finally:
            if not self._is_nested:
                self.service.statements_left = -1

    # What people do.

    def run(self) -> None:
        """The day of a seed."""
        from tests.simulation.invariants import check_pages

        for tablet in self.tablets:
            if self.chance.random() < 0.9:
                self.be_signed_in(tablet, self.chance.choice(self.people))
        for _ in range(self.chance.randint(8, MOST_STEPS)):
            self.step()
            self.let_pass(self.chance.choice([0.05, 0.5, 1, 2, 5]))
            check_pages(self)

    def step(self) -> None:
        """One thing that somebody does or that happens."""
        tablet = self.chance.choice(self.tablets)
        deeds: list[tuple[float, Callable[[Tablet], None]]] = [
            (16, self.find), (3, self.state), (3, self.undo), (1.5, self.type_line),
            (1, self.look), (3, self.press), (0.5, self.amend), (0.7, self.settle_held),
            (1, self.open_another), (0.8, self.crash), (1.5, self.cut), (1.5, self.mend),
            (0.6, self.sleep), (0.5, self.fill_up), (0.5, self.set_clock),
            (0.8, self.change_person),
            (0.7, self.keep_backup), (0.7, self.restore), (0.4, self.restart), (0.3, self.lose_key),
            (0.1, self.change_signing_key), (0.4, self.put_key_back),
            (0.2, self.set_server_clock),
        ]  # fmt: skip
        weights = [weight for weight, _ in deeds]
        self.chance.choices([deed for _, deed in deeds], weights)[0](tablet)

    def _page(self, tablet: Tablet) -> Page | None:
        """A page under somebody's hand; one is opened if there is none and the network allows."""
        live = [p for p in tablet.live_pages() if p.address.startswith("/examinations/")]
        if tablet.asleep_until > self.now:
            return None
        if not live:
            self.come_back(tablet)
            return None
        return self.chance.choice(live)

    def come_back(self, tablet: Tablet) -> None:
        """A person stands before a blank tablet and signs in, or opens a page."""
        for page in list(tablet.pages):
            tablet.close(page)
        self.sign_in(tablet, tablet.who or self.chance.choice(self.people))

    def sign_in(self, tablet: Tablet, who: str) -> None:
        """Through the sign-in page where nobody is signed in; then a page is opened."""
        if not tablet.is_online:
            return
        tablet.who = who
        if not self._is_signed_in(tablet, who):
            page = self.ask(tablet.cookies, "GET", "/sign-in/")
            if page is None:
                return
            if page.status == 302:
                # Somebody else still is: they are signed out first.
                self.sign_out(tablet)
                return
            data = {
                "username": who,
                "password": PASSWORD,
                "csrfmiddlewaretoken": token_in(page.text),
            }
            answer = self.ask(tablet.cookies, "POST", "/sign-in/", data, form=True)
            if answer is None or answer.status != 302:
                return
            self.note(f"tablet {tablet.number}: {who} signs in")
        self.open_page(tablet)

    def be_signed_in(self, tablet: Tablet, who: str) -> None:
        """The day begins with a page open."""
        before = self.service.signed_in[tablet.number, who]
        tablet.who, tablet.cookies = who, SimpleCookie(before.cookies)
        address = f"/examinations/{self.chance.choice(self.examinations)}/held/"
        self._opened(tablet, address, before.pages[address])

    def _is_signed_in(self, tablet: Tablet, who: str) -> bool:
        answer = self.ask(
            tablet.cookies, "GET", "/session/", headers={"Accept": "application/json"}
        )
        if answer is None or answer.status != 200:
            return False
        account = str(json.loads(answer.text)["account"])
        return account == str(self.service.accounts[who])

    def open_page(self, tablet: Tablet, address: str = "") -> Page | None:
        """A page of an examination; a light one that carries the same scripts as all."""
        address = address or f"/examinations/{self.chance.choice(self.examinations)}/held/"
        answer = self.ask(tablet.cookies, "GET", address)
        if answer is None or answer.status != 200:
            return None
        return self._opened(tablet, address, answer.text)

    def _opened(self, tablet: Tablet, address: str, html: str) -> Page:
        page = tablet.open_page(address, html)
        page.holds = self.holders(address)
        self.hand(page)
        self.note(f"tablet {tablet.number} opens page {page.number} of account {page.account}")
        return page

    def reload(self, page: Page) -> None:
        """The same address again, as the server writes it now."""
        tablet = page.tablet
        tablet.close(page)
        if tablet.is_online:
            self.open_page(tablet, page.address)

    def hand(self, page: Page) -> None:
        """A hand on the screen."""
        self._hands[page.tablet.number] = self.now
        page.call("happen", "pointerdown")

    def holders(self, address: str) -> dict[str, dict[str, Any]]:
        """What a page shows as standing when it is written: findings by entry."""
        from sidewise.web.examinations.models import Examination
        from sidewise.web.examinations.store import folded

        pk = address.split("/")[2]
        state = folded(Examination.objects.get(pk=pk))
        found = {name: f.model_dump(mode="json") for name, f in state.holders.items()}
        said = {name: {"field": s.field} for name, s in state.statements.items()}
        return found | said

    def make(self, page: Page, deed: dict[str, Any], kind: str = "carry") -> None:
        """A touch: the entry as the scripts of the bedside build it, handed to the queue."""
        self.touches += 1
        name = f"{self.seed}-{self.touches}"
        entry = {"id": name, "at": (START + timedelta(seconds=self.now)).isoformat(), "deed": deed}
        pk = page.address.split("/")[2]
        who = next(n for n, a in self.service.accounts.items() if str(a) == page.account)
        self.book[name] = Sent(entry, who, page.tablet.number, page.number, pk, at=self.now)
        page.in_hand = self.touches
        self.hand(page)
        if page.is_blank:
            self.book[name].said = "refused"
            return
        door = "line" if kind == "keep" else "touch"
        self.note(f"page {page.number} touches {name} {deed['do']}")
        page.call("touch", self.touches, kind, f"/examinations/{pk}/{door}/", json.dumps([entry]))

    def answered(self, page: Page, number: int, answer: dict[str, Any]) -> None:
        """What the page is told about a touch."""
        page.in_hand = 0
        one = self.book[f"{self.seed}-{number}"]
        said = SAID.get(min(answer["status"], 500), "refused")
        one.said = said
        self.counted(f"said {said}")
        self.note(f"{self.seed}-{number} {said} ({answer['status']})")
        if said == "saved":
            self.confirmed.setdefault(f"{self.seed}-{number}", self.now)
            page.holds = self.holders(page.address)

    def _free(self, tablet: Tablet) -> Page | None:
        # As `touch.js` sends: one after the other.
        page = self._page(tablet)
        return page if page is not None and not page.in_hand else None

    def find(self, tablet: Tablet) -> None:
        """A finding; it names what the page shows at its place."""
        page = self._free(tablet)
        if page is None:
            return
        item, side, kind, words = self.chance.choice(PLACES)
        there = [n for n, f in page.holds.items() if (f.get("item"), f.get("side")) == (item, side)]
        finding = {"item": item, "side": side, "status": "examined",
                   "value": {"kind": kind, kind: self.chance.choice(words)}}  # fmt: skip
        self.make(page, {"do": "found", "finding": finding, "replaces": there})

    def state(self, tablet: Tablet) -> None:
        """A field of the context."""
        page = self._free(tablet)
        if page is None:
            return
        there = [n for n, f in page.holds.items() if f.get("field") == "pain_0_10"]
        value = self.chance.choice([0, 3, 7])
        self.make(page, {"do": "state", "field": "pain_0_10", "value": value, "replaces": there})

    def undo(self, tablet: Tablet) -> None:
        """Something that the page shows is taken back."""
        page = self._free(tablet)
        if page is None or not page.holds:
            return
        self.make(page, {"do": "undo", "entries": [self.chance.choice(sorted(page.holds))]})

    def type_line(self, tablet: Tablet) -> None:
        """A line typed where the network is gone: the queue keeps it."""
        page = self._free(tablet)
        if page is not None:
            self.make(page, {"do": "line", "text": f"Hawkins R pos {self.touches}"}, "keep")

    def look(self, tablet: Tablet) -> None:
        """Open the page before the signature."""
        page = self._page(tablet)
        if page is None or not tablet.is_online:
            return
        pk = page.address.split("/")[2]
        answer = self.ask(tablet.cookies, "GET", f"/examinations/{pk}/sign/")
        if answer is not None and answer.status == 200:
            self._looked(tablet.who, pk, answer.text)

    def _looked(self, who: str, pk: str, html: str) -> Look:
        flags = tuple(re.findall(r'name="flag" value="([^"]*)"', html))
        look = Look(who, pk, html, tuple(self.ledger(pk)), flags)
        self.looks.append(look)
        return look

    def ledger(self, pk: str) -> dict[str, Any]:
        """The rows of a ledger by entry, in their order."""
        from sidewise.web.examinations.models import LedgerEntry

        rows = LedgerEntry.objects.filter(examination=UUID(pk)).order_by("pk")
        return {row.entry_id: row for row in rows}

    def press(self, tablet: Tablet) -> None:
        """Sign what a page showed, however long ago; every flag on it ticked, or all but one."""
        mine = [look for look in self.looks if look.who == tablet.who]
        if not mine or not tablet.is_online:
            self.look(tablet)
            return
        look = mine[-1]
        self.looks.remove(look)
        ticked = list(look.flags)
        if ticked and self.chance.random() < 0.15:
            ticked.pop()
        seen = re.search(r'name="seen" value="([^"]*)"', look.html)
        form = {"sign": "1", "seen": seen[1] if seen else "", "flag": ticked, "plan": "",
                "impression": f"As seen at {self.now:.0f}.",
                **{f"not_arranged.{flag}": "told by telephone" for flag in ticked},
                "csrfmiddlewaretoken": token_in(look.html)}  # fmt: skip
        address = f"/examinations/{look.examination}/sign/"
        before = self.ledger(look.examination)
        answer = self.ask(tablet.cookies, "POST", address, form, form=True)
        fresh = [n for n in self.ledger(look.examination) if n not in before]
        self.check_signature(look, ticked, fresh)
        self.note(f"{tablet.who} signs: {answer.status if answer else 'killed'}")
        if answer is not None and answer.status == 422:
            self._looked(tablet.who, look.examination, answer.text)

    def check_signature(self, look: Look, ticked: list[str], fresh: list[str]) -> None:
        """A signature that was stored stands over what the look showed, and over nothing else."""
        from tests.simulation.invariants import raised_by

        rows = self.ledger(look.examination)
        signed = [name for name in fresh if rows[name].deed["do"] == "sign"]
        if not signed:
            return
        (name,) = signed
        self.signatures += 1
        self.counted("signed")
        order = list(rows)
        before = order[: order.index(name)]
        own = [n for n in before if n not in look.ids]
        if [n for n in own if rows[n].deed["do"] != "conclude"] or len(own) != 1:
            raise Broken(f"signature {name} covers {own}, which its page did not show")
        if [n for n in before if n in look.ids] != list(look.ids):
            raise Broken(f"signature {name} does not cover all that its page showed")
        raised = raised_by(look.examination, [rows[n] for n in before])
        if not raised <= set(ticked):
            raise Broken(f"signature {name}: {sorted(raised - set(ticked))} was not ticked")
        followed = {one["flag"] for one in rows[name].deed.get("follow_up") or ()}
        if not raised <= followed:
            raise Broken(f"signature {name}: nobody follows {sorted(raised - followed)} up")

    def amend(self, tablet: Tablet) -> None:
        """A signed record is opened again."""
        page = self._page(tablet)
        if page is None or not tablet.is_online:
            return
        address = f"/examinations/{page.address.split('/')[2]}/amend/"
        asked = self.ask(tablet.cookies, "GET", address)
        if asked is not None and asked.status == 200:
            form = {"reason": "a later finding", "csrfmiddlewaretoken": token_in(asked.text)}
            self.ask(tablet.cookies, "POST", address, form, form=True)
            self.note(f"{tablet.who} amends")

    def settle_held(self, tablet: Tablet) -> None:
        """One entry that waits for a decision is added or dropped."""
        page = self._page(tablet)
        if page is None or not tablet.is_online:
            return
        address = f"/examinations/{page.address.split('/')[2]}/held/"
        asked = self.ask(tablet.cookies, "GET", address)
        numbers = re.findall(r'name="held" value="(\d+)"', asked.text) if asked else []
        if asked is not None and numbers:
            form = {"held": self.chance.choice(numbers), "how": self.chance.choice(["add", "drop"]),
                    "csrfmiddlewaretoken": token_in(asked.text)}  # fmt: skip
            self.ask(tablet.cookies, "POST", address, form, form=True)
            self.counted("held entry settled")

    def open_another(self, tablet: Tablet) -> None:
        """A second tab of the same person."""
        if tablet.is_online and len(tablet.pages) < 3 and tablet.who:
            self.open_page(tablet)

    def change_person(self, tablet: Tablet) -> None:
        """Somebody else takes the tablet; a tab of the former may have slept through it."""
        other = self.chance.choice(self.people)
        if other == tablet.who or not tablet.is_online:
            return
        if self.chance.random() < 0.8:
            self.sign_out(tablet)
        else:
            # The session ended by itself, and no page was told.
            tablet.cookies.pop("sessionid", None)
        self.counted("another person")
        self.sign_in(tablet, other)

    def sign_out(self, tablet: Tablet) -> None:
        """From one tab; it becomes the sign-in page, and the others are told by it."""
        page = next(iter(tablet.live_pages()), None)
        opened = self.ask(tablet.cookies, "GET", "/account/")
        if opened is None or opened.status != 200:
            return
        if page is not None:
            page.call("leave", "http://testserver/sign-out/")
            tablet.close(page)
        form = {"csrfmiddlewaretoken": token_in(opened.text)}
        self.ask(tablet.cookies, "POST", "/sign-out/", form, form=True)
        self.note(f"tablet {tablet.number}: {tablet.who} signs out")

    # What happens to devices.

    def crash(self, tablet: Tablet) -> None:
        """The browser dies; a write that was on its way to the storage may still arrive."""
        for page in list(tablet.pages):
            tablet.close(page)
        self.counted("tablet crashed")
        self.note(f"tablet {tablet.number} crashes")

    def cut(self, tablet: Tablet) -> None:
        """The network of one tablet is gone."""
        tablet.is_online = False
        self.counted("network cut")

    def mend(self, tablet: Tablet) -> None:
        """It is back, and the browser says so."""
        if not tablet.is_online:
            tablet.is_online = True
            for page in list(tablet.pages):
                tablet.later(0, lambda page=page: page.call("happen", "online"), page)  # type: ignore[misc]

    def sleep(self, tablet: Tablet) -> None:
        """The lid is closed: nothing runs on it for a while."""
        tablet.asleep_until = self.now + self.chance.choice([20, 300, 1900, 3000])
        if self.chance.random() < 0.5:
            self.counted("long sleep")
            self.let_pass_quietly(tablet.asleep_until - self.now + 6)

    def let_pass_quietly(self, seconds: float) -> None:
        """A long while in which every other tablet lies closed too."""
        until = self.now + seconds
        for tablet in self.tablets:
            tablet.asleep_until = max(tablet.asleep_until, until - 6)
        self.let_pass(seconds)

    def fill_up(self, tablet: Tablet) -> None:
        """The device has no room left, or has some again."""
        tablet.has_room = not tablet.has_room

    def set_clock(self, tablet: Tablet) -> None:
        """The device's clock jumps."""
        tablet.ahead += self.chance.choice([-86400, -3600, -30, 30, 3600, 86400])
        self.counted("clock of a tablet set")

    # What happens to the service.

    def set_server_clock(self, tablet: Tablet) -> None:
        """The server's clock is set."""
        self.server_ahead += self.chance.choice([-3600, -5, 5, 3600])
        self.counted("clock of the server set")

    def restart(self, tablet: Tablet) -> None:
        """Every worker begins anew."""
        self.service.start()
        self.counted("service restarted")

    def keep_backup(self, tablet: Tablet) -> None:
        """A backup."""
        self.backups.append(self.service.keep())
        self.note("backup")

    def restore(self, tablet: Tablet) -> None:
        """The last backup is put back: what was confirmed after it is gone, and known to be."""
        if not self.backups:
            return
        self.service.restore(self.backups[-1])
        self.looks.clear()
        there = {name for pk in self.service.examinations for name in self.ledger(pk)}
        self.excused |= {
            n for n in (*self.confirmed, *self.held) if n not in there | self.held_rows()
        }
        self.counted("restored")
        self.note("restored")

    def held_rows(self) -> set[str]:
        """Entries that wait for a person, or were decided."""
        from sidewise.web.examinations.models import HeldEntry

        return set(HeldEntry.objects.values_list("entry_id", flat=True))

    def lose_key(self, tablet: Tablet) -> None:
        """The key of somebody's queue is not the one any more with which the tablets sealed."""
        from sidewise.web.accounts.models import QueueKey

        kept = QueueKey.objects.first()
        if kept is not None:
            kept.delete()
            self.counted("queue key lost")
            self.note("a queue key is lost")

    def change_signing_key(self, tablet: Tablet) -> None:
        """Another signing key: every session is over and no queue key opens, till it is back."""
        self.service.use_key("another signing key")
        self.counted("signing key lost")
        self.note("the signing key is another")

    def put_key_back(self, tablet: Tablet) -> None:
        """The copy from the safe."""
        self.service.use_key("")
