"""The season's calendar file: RFC 5545, read back by its library and by another parser."""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import date, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import pytest
import vobject
from dateutil.rrule import rrulestr
from icalendar import Calendar

sys.path.insert(0, str(Path(__file__).parent))

import report_samples as samples

from climate_risk.report import words
from climate_risk.report.season_calendar import season_calendar
from climate_risk.risk.results import SeasonResult


@pytest.fixture(scope="module")
def result() -> SeasonResult:
    return samples.season(*samples.three_stacks())


@pytest.fixture(scope="module")
def text(result: SeasonResult) -> bytes:
    return season_calendar(result)


def later(result: SeasonResult, days: int = 7) -> SeasonResult:
    """The same season looked at some days on, its advice moved along."""
    stacks = tuple(
        replace(
            stack,
            actions=tuple(
                replace(action, start=action.start + timedelta(days=days))
                for action in stack.actions
            ),
        )
        for stack in result.stacks
    )
    return replace(result, as_of=result.as_of + timedelta(days=days), stacks=stacks)


def test_every_line_is_as_the_standard_has_it(text: bytes) -> None:
    """RFC 5545, 3.1: lines end in CRLF and hold 75 octets at most, in UTF-8."""
    assert text.endswith(b"END:VCALENDAR\r\n")
    lines = text.split(b"\r\n")
    assert all(len(line) <= 75 for line in lines)
    assert b"\n" not in text.replace(b"\r\n", b"")
    text.decode("utf-8")


def test_every_event_has_what_the_standard_asks_for(text: bytes) -> None:
    """RFC 5545, 3.6 and 3.6.1: VERSION and PRODID; UID and DTSTAMP (in UTC) of each event; an
    all-day event from a date to the day after, UNTIL of the same kind as DTSTART (3.3.10)."""
    calendar = Calendar.from_ical(text)
    assert calendar["version"] == "2.0"
    assert calendar["prodid"]
    assert calendar.errors == []
    for event in calendar.events:
        assert event.errors == []
        assert event["dtstamp"].to_ical().endswith(b"Z")
        assert type(event["dtstart"].dt) is date
        assert event["dtend"].dt == event["dtstart"].dt + timedelta(days=1)
        assert event["transp"] == "TRANSPARENT"
        for rule in event.rrules:
            (until,) = rule["until"]
            assert type(until) is date
            assert until >= event["dtstart"].dt
    uids = [event.uid for event in calendar.events]
    assert len(uids) == len(set(uids)) > 10


def test_it_comes_back_whole(text: bytes) -> None:
    assert Calendar.from_ical(text).to_ical() == text


def test_another_parser_reads_the_same_events(text: bytes) -> None:
    """vobject, which shares no code with the library that writes."""
    ours = {event.uid: event for event in Calendar.from_ical(text).events}
    theirs = {each.uid.value: each for each in vobject.readOne(text.decode()).vevent_list}
    assert ours.keys() == theirs.keys()
    for uid, event in ours.items():
        other = theirs[uid]
        assert other.dtstart.value == event["dtstart"].dt
        assert other.summary.value == str(event["summary"])
        assert other.description.value == str(event["description"])
        assert int(other.sequence.value) == event.sequence
        assert hasattr(other, "valarm") == bool(event.walk("VALARM"))


def test_the_card_s_act_stands_on_its_days(result: SeasonResult, text: bytes) -> None:
    stack = next(s for s in result.stacks if s.name == "North row")
    action = words.best_action(stack)
    assert action is not None
    assert action.latest is not None
    events = {str(e["summary"]): e for e in Calendar.from_ical(text).events}
    act = events["North row: hang 60 % shade cloth"]
    assert act.start == action.start
    assert events["North row: by today: hang 60 % shade cloth"].start == action.latest
    (alarm,) = act.walk("VALARM")
    assert alarm["trigger"].dt == timedelta(hours=-6)
    assert "60 % shade cloth" in alarm["description"]


def test_a_stack_within_its_limit_is_not_told_to_act(result: SeasonResult) -> None:
    calm = replace(result, tolerated_chance=0.99)
    titles = [str(e["summary"]) for e in Calendar.from_ical(season_calendar(calm)).events]
    assert not any("hang" in title or "by today" in title for title in titles)
    assert any("look at the stack" in title for title in titles)


def test_looks_and_weighings_come_every_four_weeks(result: SeasonResult, text: bytes) -> None:
    """The rule unrolled by dateutil: from four weeks after inoculation to the end of the year."""
    stack = result.stacks[0]
    for title in ("look at the stack", "weigh the witness piece"):
        (event,) = [
            e for e in Calendar.from_ical(text).events
            if str(e["summary"]) == f"{stack.name}: {title}"
        ]  # fmt: skip
        start = datetime.combine(event.start, datetime.min.time())
        days = [d.date() for d in rrulestr(event["rrule"].to_ical().decode(), dtstart=start)]
        assert days[0] == stack.inoculated + timedelta(weeks=4)
        assert {b - a for a, b in pairwise(days)} == {timedelta(weeks=4)}
        assert stack.horizon - timedelta(weeks=4) < days[-1] <= stack.horizon


def test_what_the_yard_file_dates_is_there(result: SeasonResult, text: bytes) -> None:
    events = {str(e["summary"]): e for e in Calendar.from_ical(text).events}
    for stack in result.stacks:
        for cover in stack.covers:
            for word, on in (("on", cover.on), ("off", cover.off)):
                if on is not None and stack.inoculated < on < stack.horizon:
                    found = [e for t, e in events.items() if t.startswith(stack.name)
                             and t.endswith(f" {word}") and e.start == on]  # fmt: skip
                    assert found


def test_the_same_run_again_changes_nothing(result: SeasonResult, text: bytes) -> None:
    assert season_calendar(result) == text
    assert season_calendar(result, text) == text


def test_a_later_run_updates_and_does_not_double(result: SeasonResult, text: bytes) -> None:
    """RFC 5545, 3.8.7.4: the same UID, and a SEQUENCE that rises with each revision."""
    before = {e.uid: e for e in Calendar.from_ical(text).events}
    after = {e.uid: e for e in Calendar.from_ical(season_calendar(later(result), text)).events}
    assert before.keys() == after.keys()
    moved = [uid for uid in before if before[uid].start != after[uid].start]
    assert moved
    for uid in before:
        if uid in moved:
            assert after[uid].sequence > before[uid].sequence
            assert after[uid]["dtstamp"].dt > before[uid]["dtstamp"].dt
        elif "From the run of" not in str(before[uid]["description"]):
            assert after[uid].to_ical() == before[uid].to_ical()


def test_a_change_on_the_same_day_still_raises_the_revision(
    result: SeasonResult, text: bytes
) -> None:
    stacks = tuple(
        replace(s, full_run=(s.full_run[0], date(2025, 12, 1), s.full_run[2]))
        for s in result.stacks
    )
    after = season_calendar(replace(result, stacks=stacks), text)
    old = {e.uid: e for e in Calendar.from_ical(text).events}
    changed = [e for e in Calendar.from_ical(after).events if e.start == date(2025, 12, 1)]
    assert changed
    for event in changed:
        if event.uid in old:
            assert event.sequence == old[event.uid].sequence + 1


def test_advice_that_is_gone_is_cancelled_until_its_day_is_past(
    result: SeasonResult, text: bytes
) -> None:
    calm = replace(result, tolerated_chance=0.99)
    once = season_calendar(calm, text)
    gone = [e for e in Calendar.from_ical(once).events if e.get("status") == "CANCELLED"]
    assert {"North row: by today: hang 60 % shade cloth"} <= {str(e["summary"]) for e in gone}
    old = {e.uid: e for e in Calendar.from_ical(text).events}
    assert all(e.sequence == old[e.uid].sequence + 1 for e in gone)
    assert all(not e.walk("VALARM") for e in gone)
    assert season_calendar(calm, once) == once
    autumn = season_calendar(later(calm, 60), once)
    assert b"CANCELLED" not in autumn
    back = season_calendar(result, once)
    assert b"CANCELLED" not in back
    act = next(e for e in Calendar.from_ical(back).events if e.uid == gone[0].uid)
    assert act.sequence > gone[0].sequence


def test_another_yard_s_file_is_left_out(result: SeasonResult, text: bytes) -> None:
    other = replace(result, yard_name="Birch Ridge")
    assert season_calendar(other, text) == season_calendar(other)


@pytest.mark.parametrize("before", [b"", b"no calendar", b"BEGIN:VCALENDAR\r\n", b"\xff\xfe\x00"])
def test_a_file_that_cannot_be_read_is_replaced(result: SeasonResult, before: bytes) -> None:
    assert season_calendar(result, before) == season_calendar(result)


def test_names_that_need_escaping_come_back(result: SeasonResult) -> None:
    """RFC 5545, 3.3.11; a letter of two octets is not cut by the fold."""
    name = "Nörd; röw, \\ \u201cäöü\u201d " * 4
    odd = replace(result, stacks=(replace(result.stacks[0], name=name.strip()),))
    text = season_calendar(odd)
    assert all(len(line) <= 75 for line in text.split(b"\r\n"))
    for event in vobject.readOne(text.decode()).vevent_list:
        assert event.summary.value.startswith(name.strip())
