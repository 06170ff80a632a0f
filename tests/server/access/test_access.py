"""Links to orders and staff at the desk, on every kind of database."""

from __future__ import annotations

import hashlib
import hmac
import sqlite3
import stat
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from argon2 import PasswordHasher
from itsdangerous import TimestampSigner

from photocheck.orders.draft import Draft
from photocheck.orders.model import OrderError, Store
from photocheck.orders.store import DatabaseStore, kept_passes, open_store
from photocheck.orders.store.copies import back_up, restore
from photocheck.orders.store.privacy import Retention, over_time, tidy, write_held
from photocheck.server.access import door_secret, known_browsers, passes, staff
from photocheck.server.access.door_secret import SecretError
from photocheck.server.access.known_browsers import known_browser, remembered
from photocheck.server.access.linked import LinkedStore
from photocheck.server.access.passes import AccessError
from photocheck.server.access.staff import StaffError
from tests.support.store_orders import JPEG, case_of, checked, report_of

pytestmark = pytest.mark.usefixtures("cheap_passwords")

GOOD = "four brown ropes drying"
OTHER = "a quiet pier in november"


@pytest.fixture(autouse=True)
def _own_folder(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))


def refused(store: DatabaseStore, link: str, said: str = "leads to no order") -> bool:
    with pytest.raises(AccessError, match=said):
        passes.order_of(store, link)
    return True


def test_a_link_leads_to_its_order_and_to_no_other(store: DatabaseStore) -> None:
    keys = [checked(store, name=str(n))[0] for n in range(3)]
    links = [passes.link_for(store, key, by="Ada") for key in keys]
    assert [passes.order_of(store, link) for link in links] == keys
    assert len(set(links)) == 3
    owners = LinkedStore(store)
    assert [owners.order(link).name for link in links] == ["0", "1", "2"]
    for link, key in zip(links, keys, strict=True):
        assert key not in repr(owners.order(link))


def test_what_is_not_a_link_opens_nothing(store: DatabaseStore) -> None:
    key, _ = checked(store)
    link = passes.link_for(store, key, by="Ada")
    carried, moment, signed = link.split(".")
    one_more = signed[:-2] + ("A" if signed[-2] != "A" else "B") + signed[-1]
    for wrong in (
        "",
        key,
        carried,
        f"{carried}.{moment}",
        f"{carried}.{moment}.{one_more}",
        f"{carried[:-1]}{'A' if carried[-1] != 'A' else 'B'}.{moment}.{signed}",
        link.swapcase(),
        link + " ",
        link + "\0",
        link * 3,
        "ü" + link,
        "../" + link,
        passes.links_of(store, key)[0].sha256,
        TimestampSigner("another secret", salt="photocheck order").sign(carried).decode(),
    ):
        assert refused(store, wrong)


def test_who_carries_nothing_that_could_be_a_pass_costs_no_look_for_a_newer_secret(
    store: DatabaseStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    looked: list[str] = []

    def carried(_: object, text: str, __: str) -> None:
        looked.append(text)

    monkeypatch.setattr(passes, "_carried", carried)
    for text in ("", "é", "x" * 201, "x" * 200):
        with pytest.raises(AccessError):
            passes.order_of(store, text)
    assert looked == ["x" * 200]


def test_a_pass_is_for_one_purpose(store: DatabaseStore) -> None:
    key, _ = checked(store)
    staff.add(store, "Ada", GOOD)
    link, cookie = passes.link_for(store, key, by="Ada"), passes.desk_pass(store, "ada")
    assert passes.at_desk(store, cookie) == "Ada"
    assert refused(store, cookie)
    with pytest.raises(AccessError):
        passes.at_desk(store, link)
    # nor by signing the one's bits for the other's purpose, should the secret ever leak
    secret = passes.kept.signing_secret(store)
    forged = TimestampSigner(
        secret,
        salt="photocheck desk",
        key_derivation="hmac",
        digest_method=passes.sha256,
    ).sign(link.split(".")[0])
    with pytest.raises(AccessError):
        passes.at_desk(store, forged.decode())


def test_a_link_runs_out(store: DatabaseStore, monkeypatch: pytest.MonkeyPatch) -> None:
    key, _ = checked(store)
    link = passes.link_for(store, key, by="Ada", days=2)

    class Later(datetime):
        @classmethod
        def now(cls, tz: object = None) -> datetime:  # type: ignore[override]
            return datetime.now(UTC) + timedelta(days=days)

    monkeypatch.setattr(passes, "datetime", Later)
    days = 1.99
    assert passes.order_of(store, link) == key
    days = 2.01
    assert refused(store, link, "no longer valid")


@pytest.mark.parametrize("ahead_s", [2, 3600, 86400 * 300])
def test_a_link_signed_by_a_clock_ahead_leads_to_its_order(
    store: DatabaseStore, monkeypatch: pytest.MonkeyPatch, ahead_s: int
) -> None:
    key, _ = checked(store)
    then = int(time.time()) + ahead_s
    with monkeypatch.context() as patch:
        patch.setattr(TimestampSigner, "get_timestamp", lambda _: then)
        link = passes.link_for(store, key, by="Ada")
    assert passes.order_of(store, link) == key


@pytest.mark.parametrize("days", [0, -1, 367, 1e6])
def test_a_link_lasts_a_year_at_most(store: DatabaseStore, days: float) -> None:
    key, _ = checked(store)
    with pytest.raises(OrderError, match="so long"):
        passes.link_for(store, key, by="Ada", days=days)
    assert passes.links_of(store, key) == ()


def test_a_link_taken_back_opens_nothing_from_that_moment_on(store: DatabaseStore) -> None:
    key, _ = checked(store)
    link, other = (passes.link_for(store, key, by="Ada") for _ in range(2))
    owners = LinkedStore(store)
    owners.save_draft(link, Draft(name="before"))
    first, second = passes.links_of(store, key)
    passes.end_link(store, key, first.sha256)
    for act in (
        lambda: owners.order(link),
        lambda: owners.draft(link),
        lambda: owners.save_draft(link, Draft(name="after")),
        lambda: owners.keep_photo(link, JPEG),
        lambda: owners.photo(link, "photo-1.jpg"),
        lambda: owners.record_check(link, case_of(), report_of(), by="owner"),
        lambda: owners.forget(link),
    ):
        with pytest.raises(AccessError, match="no longer valid"):
            act()
    assert owners.order(other).draft.to_dict() == {"name": "before"}
    assert [one.ended is None for one in passes.links_of(store, key)] == [False, True]
    stranger, _ = checked(store, name="another")
    with pytest.raises(OrderError, match="no such link"):
        passes.end_link(store, stranger, second.sha256)


def test_the_store_holds_nothing_that_opens_anything(tmp_path: Path) -> None:
    with closing(open_store(str(tmp_path / "orders.sqlite3"))) as store:
        key, _ = checked(store)
        staff.add(store, "Ada", GOOD)
        link, cookie = passes.link_for(store, key, by="Ada"), passes.desk_pass(store, "ada")
        copy = tmp_path / "copy"
        back_up(store, copy)
    for text in (link.split(".")[0], cookie.split(".")[0], GOOD):
        assert text.encode() not in copy.read_bytes()
    with closing(sqlite3.connect(copy)) as found:
        assert found.execute("SELECT count(*) FROM passes").fetchone() == (2,)


def test_the_owners_store_answers_for_itself_in_everything() -> None:
    asked = {name for name, it in vars(Store).items() if callable(it) and not name.startswith("_")}
    assert len(asked) > 10
    assert asked <= vars(LinkedStore).keys()


def test_an_owner_decides_nothing_and_sees_no_list(store: DatabaseStore) -> None:
    key, _ = checked(store)
    owners = LinkedStore(store)
    link = passes.link_for(store, key, by="Ada")
    assert owners.lines() == ()
    with pytest.raises(OrderError, match="only the workshop"):
        owners.decide(link, "accepted", by="owner", reason="")
    # nor does an owner's check go under somebody else's name
    file = owners.keep_photo(link, JPEG + b"2")
    assert owners.record_check(link, case_of(file), report_of(), by="Ada").by == "owner"


def test_an_order_begun_by_its_owner_comes_with_its_link(store: DatabaseStore) -> None:
    owners = LinkedStore(store)
    link = owners.open("de")
    order = owners.order(link)
    assert (order.language, order.key) == ("de", link)
    (only,) = passes.links_of(store, passes.order_of(store, link))
    assert only.by == "owner"


def test_links_go_with_their_order(store: DatabaseStore) -> None:
    owners = LinkedStore(store)
    link = owners.open()
    owners.forget(link)
    assert refused(store, link)


def test_links_are_part_of_what_is_held_about_an_owner(
    store: DatabaseStore, tmp_path: Path
) -> None:
    key, _ = checked(store)
    link = passes.link_for(store, key, by="Ada")
    write_held(store, key, tmp_path / "held.zip")
    import json
    import zipfile

    with zipfile.ZipFile(tmp_path / "held.zip") as archive:
        text = archive.read("order.json").decode()
    (told,) = json.loads(text)["links"]
    assert told["by"] == "Ada"
    assert link.split(".")[0] not in text


def test_staff_come_in_with_their_password_alone(store: DatabaseStore) -> None:
    staff.add(store, "  Ada  Lind ", GOOD)
    assert [name for name, _ in staff.everybody(store)] == ["Ada Lind"]
    assert staff.recognised(store, "ada lind", GOOD) == "ada lind"
    for name, password in (
        ("ada lind", GOOD + " "),
        ("ada lind", GOOD.upper()),
        ("ada lind", ""),
        ("ada", GOOD),
        ("", GOOD),
        ("owner", GOOD),
        ("ada lind", "x" * 100_000),
    ):
        assert staff.recognised(store, name, password) is None
    with pytest.raises(StaffError, match="can sign in already"):
        staff.add(store, "ADA LIND", OTHER)


def test_nobodys_password_lets_nobody_in(store: DatabaseStore) -> None:
    # What an unknown name's password is compared with, for as long as a known one's would take.
    assert staff._hasher().verify(staff._nobodys(), "nobody's password")
    assert staff.recognised(store, "ada", "nobody's password") is None


def test_a_password_is_the_same_from_every_keyboard(store: DatabaseStore) -> None:
    # one letter or two (U+00FC, u and U+0308), and the ligature of Unicode's compatibility forms
    whole, parted = "vier br\u00fcne seile \ufb02iegen", "vier bru\u0308ne seile fliegen"
    staff.add(store, "Ada", whole)
    staff.add(store, "Ben", parted)
    for name in ("ada", "ben"):
        for password in (whole, parted):
            assert staff.recognised(store, name, password) == name
    staff.set_password(store, "Ada", parted + "!")
    assert staff.recognised(store, "ada", whole + "!") == "ada"


def test_a_password_hashed_otherwise_is_hashed_anew_once(store: DatabaseStore) -> None:
    staff.add(store, "Ada", GOOD)
    before = PasswordHasher(time_cost=2, memory_cost=64).hash(GOOD)
    staff.people.change_password(store, "ada", before)
    assert staff.recognised(store, "ada", OTHER) is None
    assert staff.people.password_of(store, "ada") == before
    assert staff.recognised(store, "ada", GOOD) == "ada"
    today = staff.people.password_of(store, "ada")
    assert today is not None
    assert not staff._hasher().check_needs_rehash(today)
    assert staff.recognised(store, "ada", GOOD) == "ada"
    assert staff.people.password_of(store, "ada") == today


def test_a_password_kept_as_it_was_typed_goes_on_and_is_kept_anew(store: DatabaseStore) -> None:
    parted = "vier bru\u0308ne seile fliegen"
    staff.add(store, "Ada", GOOD)
    staff.people.change_password(store, "ada", staff._hasher().hash(parted))
    signed_in = passes.desk_pass(store, "ada")
    assert staff.recognised(store, "ada", parted + "!") is None
    assert staff.recognised(store, "ada", parted) == "ada"
    assert staff.recognised(store, "ada", "vier br\u00fcne seile fliegen") == "ada"
    assert passes.at_desk(store, signed_in) == "Ada"


def test_a_name_that_is_not_known_costs_as_many_hashes(
    store: DatabaseStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    staff.add(store, "Ada", GOOD)
    tried: list[str] = []
    hasher = staff._hasher()

    class Counting:
        def verify(self, kept: str, password: str) -> bool:
            tried.append(password)
            return hasher.verify(kept, password)

    monkeypatch.setattr(staff, "_hasher", Counting)
    for password in ("a guess that is wrong", "a gu\u0308ess", "x" * 300):
        counts = []
        for name in ("ada", "nobody", "owner", "x" * 500):
            tried.clear()
            assert staff.recognised(store, name, password) is None
            counts.append(tuple(map(len, tried)))
        assert len(set(counts)) == 1
        assert counts[0]


def test_weak_passwords_and_odd_names_are_refused(store: DatabaseStore) -> None:
    for name, password in (
        ("Ada", "short"),
        ("Ada", "x" * 201),
        ("Ada", "passwordpassword"),
        ("Adalbert Lindgren", "adalbert lindgren"),
        ("Ada", "photocheck123"),
        ("Owner", GOOD),
        ("", GOOD),
        ("x" * 61, GOOD),
        ("a\0b", GOOD),
    ):
        with pytest.raises(StaffError):
            staff.add(store, name, password)
        assert staff.everybody(store) == (), (name, password)


def test_a_new_password_and_a_removal_end_what_was_signed_in(store: DatabaseStore) -> None:
    for name in ("Ada", "Ben"):
        staff.add(store, name, GOOD)
    ada, ben = passes.desk_pass(store, "ada"), passes.desk_pass(store, "ben")
    staff.set_password(store, "Ada", OTHER)
    with pytest.raises(AccessError):
        passes.at_desk(store, ada)
    assert staff.recognised(store, "Ada", GOOD) is None
    assert staff.recognised(store, "Ada", OTHER) == "ada"
    assert passes.at_desk(store, ben) == "Ben"
    staff.remove(store, "Ben")
    with pytest.raises(AccessError):
        passes.at_desk(store, ben)
    for act in (lambda: staff.remove(store, "Ben"), lambda: staff.set_password(store, "Ben", GOOD)):
        with pytest.raises(StaffError, match="nobody called Ben"):
            act()


def test_signing_out_ends_it_for_good(store: DatabaseStore) -> None:
    staff.add(store, "Ada", GOOD)
    here, there = passes.desk_pass(store, "ada"), passes.desk_pass(store, "ada")
    passes.sign_out(store, here)
    passes.sign_out(store, here)
    passes.sign_out(store, "nonsense")
    with pytest.raises(AccessError):
        passes.at_desk(store, here)
    assert passes.at_desk(store, there) == "Ada"


def test_a_draft_stays_as_long_as_a_link_leads_to_it(store: DatabaseStore) -> None:
    staff.add(store, "Ada", GOOD)
    signed_in = passes.desk_pass(store, "ada")
    invited, _ = passes.begin_with_link(store, by="Ada", days=60)
    taken_back, _ = passes.begin_with_link(store, by="Ada", days=60)
    passes.end_links(store, taken_back)
    alone = store.open()
    now = datetime.now(UTC)

    def over(days: float) -> set[str]:
        return set(over_time(store, Retention(drafts_days=30), now=now + timedelta(days=days)))

    assert over(29) == set()
    assert over(31) == {taken_back, alone}
    assert over(61) == {invited, taken_back, alone}
    # who was signed in is dropped once that has ended, and not before
    tidy(store)
    assert passes.at_desk(store, signed_in) == "Ada"
    tidy(store, now=now + timedelta(days=2))
    with pytest.raises(AccessError, match="leads to no order"):
        passes.at_desk(store, signed_in)


@pytest.mark.every_journal
def test_a_restored_copy_opens_nothing_that_was_taken_back_since(
    address: str, tmp_path: Path
) -> None:
    with closing(open_store(address)) as store:
        key, _ = checked(store)
        staff.add(store, "Ada", GOOD)
        staff.add(store, "Ben", GOOD)
        kept_link, lost_link = (passes.link_for(store, key, by="Ada") for _ in range(2))
        cookie = passes.desk_pass(store, "ada")
        back_up(store, tmp_path / "copy")
        passes.end_link(store, key, passes.links_of(store, key)[1].sha256)
        staff.remove(store, "Ben")
        staff.set_password(store, "Ada", OTHER)
    restore(address, tmp_path / "copy")
    with closing(open_store(address)) as store:
        assert passes.order_of(store, kept_link) == key
        assert refused(store, lost_link, "no longer valid")
        assert [name for name, _ in staff.everybody(store)] == ["Ada"]
        assert staff.recognised(store, "Ada", OTHER)
        with pytest.raises(AccessError):
            passes.at_desk(store, cookie)


@pytest.mark.every_journal
def test_a_copy_brings_links_and_staff_to_a_new_machine(address: str, tmp_path: Path) -> None:
    with closing(open_store(str(tmp_path / "old.sqlite3"))) as store:
        key, _ = checked(store)
        staff.add(store, "Ada", GOOD)
        link = passes.link_for(store, key, by="Ada")
        back_up(store, tmp_path / "copy")
    with closing(open_store(address)) as store:
        LinkedStore(store).open()  # it has a secret of its own by now
    restore(address, tmp_path / "copy")
    with closing(open_store(address)) as store:
        assert passes.order_of(store, link) == key
        assert staff.recognised(store, "Ada", GOOD)


# -- the secret of the doors -----------------------------------------------------------


@pytest.fixture
def secret_at(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    file = tmp_path / "outside" / "secret"
    monkeypatch.setenv(door_secret.SECRET_VARIABLE, str(file))
    return file


def test_a_copy_of_the_store_holds_nothing_that_signs_cookies(
    store: DatabaseStore, secret_at: Path, tmp_path: Path
) -> None:
    staff.add(store, "Ada", GOOD)
    passes.link_for(store, checked(store)[0], by="Ada")
    keys = {door_secret.key_for(purpose) for purpose in ("cookies", "known browsers")}
    back_up(store, tmp_path / "copy")
    content = (tmp_path / "copy").read_bytes()
    assert secret_at.read_bytes().strip() not in content
    assert not [key for key in keys if key.encode() in content]
    # nor does the secret that the store does hold lead to them
    kept = passes.kept.signing_secret(store).encode()
    for purpose in ("photocheck cookies", "photocheck known browsers", "cookies"):
        assert hmac.new(kept, purpose.encode(), hashlib.sha256).hexdigest() not in keys
    assert len(keys) == 2


def test_the_secret_is_made_once_and_is_private(secret_at: Path) -> None:
    made = {door_secret.door_secret() for _ in range(3)}
    assert len(made) == 1
    assert len(made.pop()) >= 32
    assert [file.name for file in secret_at.parent.iterdir()] == ["secret"]
    assert stat.S_IMODE(secret_at.stat().st_mode) == 0o600
    secret_at.chmod(0o640)
    with pytest.raises(SecretError, match="others on this machine may read"):
        door_secret.door_secret()
    secret_at.chmod(0o600)
    secret_at.write_text("short")
    with pytest.raises(SecretError, match="too short"):
        door_secret.door_secret()


def test_servers_that_start_at_once_agree_on_the_secret(secret_at: Path) -> None:
    with ThreadPoolExecutor(8) as threads:
        found = set(threads.map(lambda _: door_secret.door_secret(), range(8)))
    assert len(found) == 1


def test_where_no_secret_can_lie_it_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("")
    monkeypatch.setenv(door_secret.SECRET_VARIABLE, str(tmp_path / "file" / "secret"))
    with pytest.raises(SecretError, match="PHOTOCHECK_SECRET"):
        door_secret.door_secret()


@pytest.mark.parametrize("links", [False, True])
def test_rotation_ends_who_is_signed_in_and_links_only_if_asked(
    store: DatabaseStore, secret_at: Path, links: bool
) -> None:
    staff.add(store, "Ada", GOOD)
    key, _ = checked(store)
    link, cookie = passes.link_for(store, key, by="Ada"), passes.desk_pass(store, "ada")
    known = remembered("ada")
    before = door_secret.key_for("cookies")
    door_secret.rotate()
    assert passes.end_all(store, links=links) == (2 if links else 1)
    assert door_secret.key_for("cookies") != before
    assert stat.S_IMODE(secret_at.stat().st_mode) == 0o600
    assert known_browser(known, "ada") == ""
    with pytest.raises(AccessError):
        passes.at_desk(store, cookie)
    if links:
        with pytest.raises(AccessError):
            passes.order_of(store, link)
        assert passes.order_of(store, passes.link_for(store, key, by="Ada")) == key
    else:
        assert passes.order_of(store, link) == key


def test_a_signature_with_anything_between_its_letters_is_none(tmp_path: Path) -> None:
    """RFC 4648, 3.3: Base64 with letters of no alphabet is refused; Python's passes over them."""
    with closing(open_store(str(tmp_path / "orders.sqlite3"))) as store:
        staff.add(store, "ada", GOOD)
        desk, browser = passes.desk_pass(store, "ada"), remembered("ada")
        assert passes.at_desk(store, desk) == "ada"
        assert known_browser(browser, "ada")
        for junk in ("'", "!", " ", "\n", "!!!!", "=", "%27"):
            for at in (-1, -5, -20):
                assert known_browser(browser[:at] + junk + browser[at:], "ada") == ""
                with pytest.raises(AccessError):
                    passes.at_desk(store, desk[:at] + junk + desk[at:])


@pytest.mark.parametrize(("size", "right"), [(31, False), (32, True), (4096, True)])
def test_a_secret_has_as_many_bytes_as_what_signs_with_it_needs(
    secret_at: Path, size: int, right: bool
) -> None:
    secret_at.parent.mkdir(parents=True, exist_ok=True)
    secret_at.write_bytes(b"x" * size + b"\n")
    secret_at.chmod(0o600)
    if right:
        assert door_secret.door_secret() == b"x" * size
    else:
        with pytest.raises(SecretError, match="too short"):
            door_secret.door_secret()


@pytest.mark.parametrize("mode", [0o610, 0o620, 0o640, 0o601, 0o602, 0o604])
def test_a_secret_that_any_other_may_touch_is_none(secret_at: Path, mode: int) -> None:
    door_secret.door_secret()
    assert list(secret_at.parent.iterdir()) == [secret_at]
    secret_at.chmod(mode)
    for act in (door_secret.door_secret, door_secret.rotate):
        with pytest.raises(SecretError, match="others on this machine"):
            act()


def test_a_browser_is_known_for_half_a_year_and_to_its_own_name(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    carried, other = remembered("ada"), remembered("ada")
    which = known_browser(carried, "ada")
    assert which
    assert which != known_browser(other, "ada")
    assert known_browser(carried, "ben") == ""

    class Later(datetime):
        days = 0.0

        @classmethod
        def now(cls, tz: object = None) -> datetime:  # type: ignore[override]
            return datetime.now(UTC) + timedelta(days=cls.days)

    _, made = known_browsers._signer().unsign(carried, return_timestamp=True)

    class Exactly(Later):
        @classmethod
        def now(cls, tz: object = None) -> datetime:  # type: ignore[override]
            return made + known_browsers.REMEMBERED

    monkeypatch.setattr(known_browsers, "datetime", Exactly)
    assert known_browser(carried, "ada") == which
    monkeypatch.setattr(known_browsers, "datetime", Later)
    for days, known in ((179.9, True), (180.1, False)):
        Later.days = days
        assert bool(known_browser(carried, "ada")) is known


def test_a_pass_opens_until_the_very_moment_it_runs_out(store: DatabaseStore) -> None:
    now, moment = datetime.now(UTC), timedelta(microseconds=1)
    key = store.open()
    kept_passes.put_order_pass(
        store, "a" * 64, purpose=passes.ORDER, by="Ada", expires=now, key=key
    )
    staff.add(store, "Ada", GOOD)
    kept_passes.put_staff_pass(store, "b" * 64, purpose=passes.DESK, known_as="ada", expires=now)
    (link,) = kept_passes.passes_of(store, key)
    assert (link.open_at(now - moment), link.open_at(now)) == (True, False)
    assert kept_passes.linked(store, now - moment) == {key}
    assert kept_passes.linked(store, now) == frozenset()
    assert kept_passes.drop_ended(store, now - moment) == 0
    assert kept_passes.end_every_pass(store, now, links=True) == 0
    assert kept_passes.drop_ended(store, now) == 1
    assert len(kept_passes.passes_of(store, key)) == 1  # a part of its order's history
    assert kept_passes.find_pass(store, "a" * 64, purpose=passes.DESK) is None
    with pytest.raises(OrderError):
        kept_passes.end_pass(store, "c" * 64)


def test_what_has_ended_keeps_the_moment_it_ended_at(store: DatabaseStore) -> None:
    key = store.open()
    link = passes.link_for(store, key, by="Ada")
    (one,) = passes.links_of(store, key)
    passes.end_link(store, key, one.sha256)
    (ended,) = passes.links_of(store, key)
    passes.end_link(store, key, one.sha256)
    assert passes.links_of(store, key) == (ended,)
    assert passes.end_links(store, key) == 0
    with pytest.raises(OrderError, match="no such link"):
        passes.end_link(store, store.open(), one.sha256)
    with pytest.raises(AccessError, match="no longer"):
        passes.order_of(store, link)


def test_an_order_has_so_many_links_and_no_more(
    store: DatabaseStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(kept_passes, "MOST_LINKS", 2)
    key, _ = passes.begin_with_link(store, by="owner")
    passes.link_for(store, key, by="Ada")
    with pytest.raises(OrderError):
        passes.link_for(store, key, by="Ada")
    passes.link_for(store, store.open(), by="Ada")
    for by, right in (("x" * 60, True), ("x" * 61, False)):
        other = store.open()
        if right:
            passes.link_for(store, other, by=by)
        else:
            with pytest.raises(OrderError):
                passes.link_for(store, other, by=by)


def test_what_links_are_signed_with_is_random_and_a_stores_own(store: DatabaseStore) -> None:
    made = kept_passes.signing_secret(store)
    assert len(made) >= 43  # 256 bits
    assert kept_passes.signing_secret(store) == made
    kept_passes.end_every_pass(store, datetime.now(UTC), links=True)
    other = kept_passes.signing_secret(store)
    assert len(other) >= 43
    assert other != made
