"""The season as a calendar file (RFC 5545): acts, looks and weighings at their dates.

Every event has the same id in every run, so that a newer file updates what a calendar holds; an
event that no longer applies stays in the file, cancelled, until its day is past.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import TYPE_CHECKING
from uuid import NAMESPACE_URL, UUID, uuid5

from climate_risk.report import advice, words
from climate_risk.report.display import full_day, percent
from climate_risk.report.treatment import acts_words, cover_words, volume
from climate_risk.risk.results import SeasonResult, StackSeason
from climate_risk.units import Units

if TYPE_CHECKING:
    from icalendar import Event

WEEKS_BETWEEN_LOOKS = 4
"""Also between weighings (our own choice: ten or so weighings tell how tight the bark is)."""
REMINDED_BEFORE = timedelta(hours=-6)
"""From the start of the day: six in the evening before."""
REVISION = ("SEQUENCE", "DTSTAMP", "LAST-MODIFIED")
IDS = uuid5(NAMESPACE_URL, "climate-risk/season.ics")
LOOK_AT = (
    "Look at: bark split or loose at the ends; white growth at the joints; green mould; the bag "
    "whole, and its foot as you meant it; the stack level and steady. Cut ends with cracks that "
    "take a coin are dry. Note what you see with its date."
)
WEIGH = (
    "Weigh the witness piece: cut from the same tree, of the same size and under the same cover, "
    "never lifted off a running stack. Write date and weight into weighings.csv, then run the "
    "season again. Lift with help."
)
COMES_AND_GOES = (
    "If you did as advised, this is due about now. Leaf days are the site's usual ones: go by "
    "what the trees show."
)
FULL_RUN = (
    "In the middle estimate the fungus meets itself about now: white at every joint is a good "
    "sign. Eat nothing that a competent person has not identified."
)
END = (
    "The time that this fungus is given for its run ends. Run the season once more, then compare "
    "and plan for the next stacks: what would have served, and what will you set?"
)


@dataclass(frozen=True, kw_only=True)
class _Entry:
    """One event before it is one."""

    key: str
    """Of this kind of event for its stack: the same in every run."""
    kind: str
    title: str
    text: str
    first: date
    every_days: int = 0
    """0: once."""
    last: date | None = None
    is_reminded: bool = False


def season_calendar(result: SeasonResult, before: bytes | None = None) -> bytes:
    """The calendar file of a season.

    Parameters
    ----------
    result : SeasonResult
        What ``season`` found.
    before : bytes, optional
        The file of an earlier run: what did not change keeps its revision, what did gets a
        higher one, and what is gone is cancelled.

    Returns
    -------
    bytes
        An iCalendar object of all-day events that block no time.
    """
    from icalendar import Calendar

    calendar = Calendar()
    calendar.add("prodid", "-//climate-risk//season//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("name", f"Mushroom stacks: {result.yard_name}")
    yard = uuid5(IDS, result.yard_name)
    older = _events(before, yard)
    for stack in result.stacks:
        for entry in _entries(result, stack):
            event = _event(entry, result, stack, yard)
            calendar.add_component(_revised(event, older.pop(event.uid, None)))
    for event in older.values():
        if _last_day(event) >= result.as_of:
            calendar.add_component(_cancelled(event, result.as_of))
    return bytes(calendar.to_ical())


def _entries(result: SeasonResult, stack: StackSeason) -> Iterator[_Entry]:
    yield from _advised(result, stack)
    yield from _written(result, stack)
    days = 7 * WEEKS_BETWEEN_LOOKS
    first = stack.inoculated + timedelta(days=days)
    if first < stack.horizon:
        every = {"first": first, "every_days": days, "last": stack.horizon}
        yield _Entry(key="look", kind="look", title="look at the stack", text=LOOK_AT, **every)  # type: ignore[arg-type]
        yield _Entry(key="weighing", kind="weighing", title="weigh the witness piece", text=WEIGH,
                     **every)  # type: ignore[arg-type]  # fmt: skip
    middle = stack.full_run[1]
    if middle is not None:
        yield _Entry(key="full run", kind="look", title="fully run about now?", text=FULL_RUN,
                     first=middle)  # fmt: skip
    yield _Entry(key="end", kind="look", title="the run's time is over", text=END,
                 first=stack.horizon)  # fmt: skip


def _advised(result: SeasonResult, stack: StackSeason) -> Iterator[_Entry]:
    """What the page's card says to do, on its day, and the last day that serves."""
    show, limit = Units(result.units), result.tolerated_chance
    action = words.best_action(stack)
    if action is None or not words.is_over_tolerance(stack.result, limit):
        return
    what = acts_words(action.acts, show)
    text = advice.action_sentence(action, limit, result.currency, show)
    yield _Entry(key="advice", kind="act", title=what, text=text, first=action.start,
                 is_reminded=True)  # fmt: skip
    last = action.on_latest
    if last is not None and last.day > action.start:
        left = (
            f"Not done yet? Begun today the chance of loss is {percent(last.chance_mean, limit)}."
        )
        yield _Entry(key="advice, last day", kind="act", title=f"by today: {what}",
                     text=f"{left} {text}", first=last.day, is_reminded=True)  # fmt: skip
    for act in action.acts:
        if act.kind not in ("hang shade cloth", "put bag on"):
            continue
        for number, cover in enumerate((act.cover, *act.again)):
            if cover is None:
                continue
            for word, turn in (("on", cover.on if number else None), ("off", cover.off)):
                if turn is not None and turn < stack.horizon:
                    yield _Entry(key=f"advice, {cover.kind} {word} {number}", kind="act",
                                 title=f"{cover_words(cover)} {word}", text=COMES_AND_GOES,
                                 first=turn, is_reminded=True)  # fmt: skip


def _written(result: SeasonResult, stack: StackSeason) -> Iterator[_Entry]:
    """What the yard file itself has dates for."""
    said = "As your yard file says. Rain on its way or a wet stack may change it: look first."
    for number, cover in enumerate(stack.covers):
        name = cover_words(cover)
        for word, on in (("on", cover.on), ("off", cover.off)):
            if on is not None and stack.inoculated < on < stack.horizon:
                yield _Entry(key=f"cover {number} {word}", kind="act", title=f"{name} {word}",
                             text=said, first=on, is_reminded=True)  # fmt: skip
    for number, dose in enumerate(stack.waterings):
        yield _Entry(
            key=f"watering {number}",
            kind="act",
            title=f"water {volume(dose.litres, Units(result.units))} a stack",
            text=said,
            first=dose.first,
            every_days=dose.every_days,
            last=min(dose.last, stack.horizon),
        )


def _event(entry: _Entry, result: SeasonResult, stack: StackSeason, yard: UUID) -> Event:
    from icalendar import Alarm, Event

    event = Event()
    own = uuid5(yard, f"{stack.name}/{stack.inoculated.isoformat()}/{entry.key}")
    stamp = datetime.combine(result.as_of, time(), UTC)
    invented = " This farm is invented." if result.invented else ""
    event.add("uid", f"{own}@{yard}")
    event.add("summary", f"{stack.name}: {entry.title}")
    event.add(
        "description", f"{entry.text}{invented} From the run of {full_day(result.as_of)}."
        if entry.key.startswith("advice") else f"{entry.text}{invented}"
    )  # fmt: skip
    event.add("categories", [entry.kind])
    event.add("dtstart", entry.first)
    event.add("dtend", entry.first + timedelta(days=1))
    if entry.every_days:
        event.add("rrule", {"freq": "daily", "interval": entry.every_days, "until": entry.last})
    event.add("transp", "TRANSPARENT")
    event.add("dtstamp", stamp)
    event.add("last-modified", stamp)
    event.add("sequence", max((result.as_of - stack.inoculated).days, 0))
    if entry.is_reminded:
        alarm = Alarm()
        alarm.add("action", "DISPLAY")
        alarm.add("description", f"Tomorrow: {stack.name}: {entry.title}")
        alarm.add("trigger", REMINDED_BEFORE)
        event.add_component(alarm)
    return event


def _events(before: bytes | None, yard: UUID) -> dict[str, Event]:
    """The events of an earlier file for the same yard, by id; none where it cannot be read."""
    from icalendar import Calendar

    if before is None:
        return {}
    try:
        found = Calendar.from_ical(before).events
    except ValueError:
        return {}
    return {event.uid: event for event in found if event.uid.endswith(f"@{yard}")}


def _revised(event: Event, old: Event | None) -> Event:
    """The old revision where nothing changed, else one above it."""
    if old is None:
        return event
    if _content(event) == _content(old):
        return old
    event.sequence = max(event.sequence, old.sequence + 1)
    return event


def _content(event: Event) -> bytes:
    """All but the revision."""
    copy = event.copy(recursive=True)
    for name in REVISION:
        copy.pop(name, None)
    return bytes(copy.to_ical())


def _cancelled(event: Event, as_of: date) -> Event:
    if event.get("status") == "CANCELLED":
        return event
    stamp = datetime.combine(as_of, time(), UTC)
    event.subcomponents.clear()
    for name, value in (("status", "CANCELLED"), ("sequence", event.sequence + 1),
                        ("dtstamp", stamp), ("last-modified", stamp)):  # fmt: skip
        event.pop(name, None)
        event.add(name, value)
    return event


def _last_day(event: Event) -> date:
    rules = event.rrules
    return rules[0]["until"][0] if rules else event.start
