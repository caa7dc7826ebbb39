"""Which findings matter to a phone, how urgently, when, and if not: why not.

Nothing here knows the store, the clock or a channel. The times are own choices unless said
otherwise; the stories in tests/unit/alerts hold them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from hivewatch.alerts.quiet import quiet_until_s
from hivewatch.detect.finding import Finding
from hivewatch.settings import Quiet

Urgency = Literal["emergency", "today", "next visit", "not for the phone"]

Reason = Literal[
    "it matters",  # queued: it rings as soon as its channels take it
    "gathered",  # held a little, so that more of the kind at the yard come along
    "rang just now",  # held: this kind rang at this yard a short while ago
    "quiet hours",  # held until the yard's morning
    "snoozed",  # held until the keeper's own time
    "folded",  # told within another message of the same kind and yard
    "not for the phone",  # dropped: on the pages, and in the round
    "unsure",  # dropped: not certain enough to ring for
    "old news",  # dropped: long past when it was told
    "withdrawn",  # dropped: later data spoke against it
    "explained",  # dropped: an inspection accounts for it
    "ended",  # dropped: over before it was sent
    "acknowledged",  # dropped: somebody knows already
    "no channel",  # nobody to tell
    "sent",
    "passing fault",  # tried, and will be tried again
    "refused",  # the channel said no for good
    "given up",  # tried for too long
    "set aside",  # a fault of ours in this message; it does not hold up the others
    "interrupted",  # we died between sending and recording
    "channel removed",  # no longer in the settings, or a phone that rings no more
    "asked again",  # rings once more, as the keeper wished with a snooze
    "started anew",  # failed before, tried again since the settings may have changed
    "noted",  # told already; what changed since rings no second time
    "imported",  # not sent before it was exported: taken in as a record, for which nobody is rung
]

HOUR_S = 3600
DAY_S = 86_400
UNSURE_BELOW = 0.5  # own choice: less likely than not does not ring
HOT_S = 3 * HOUR_S  # [s] of events: as long as a device may be silent before anybody hears of it
LATE_S = DAY_S  # [s] of what is judged by days: told a day later, it is no longer fresh
OLD_OVER_S = 7 * DAY_S  # [s] over for longer: nothing to do about it any more
OLD_OPEN_S = 30 * DAY_S  # [s] settled for longer: a recording of long ago was brought in
AGAIN_S = 30 * 60  # [s] least time between two messages of a kind and yard
AGAIN_EMERGENCY_S = 10 * 60  # [s] the same for emergencies: the keeper is on the way already


@dataclass(frozen=True, slots=True)
class Rule:
    """What one kind of finding means to a phone.

    Parameters
    ----------
    urgency : Urgency
        How soon somebody should know.
    gather_s : int
        How long the first of its kind waits for others of its yard. [s]
    once_over : str
        What to do when it is over before it was sent: ``tell`` an event that leaves something to
        do or to know; ``drop`` a state that has mended itself.
    why : str
        Why so, for the keeper.
    late_s : int
        Told so long after the reading that settled it, it is late news. [s]
    """

    urgency: Urgency
    gather_s: int
    once_over: Literal["tell", "drop"]
    why: str
    late_s: int = LATE_S


_GATHER_S = 10 * 60  # [s] longer than ten minutes between two looks of neighbouring devices

RULES: Mapping[str, Rule] = MappingProxyType(
    {
        "toppled": Rule("emergency", 0, "tell", "open to rain, robbers and animals", HOT_S),
        "taken": Rule("emergency", 0, "tell", "somebody may be at the yard now", HOT_S),
        "swarm": Rule("today", 0, "tell", "the swarm hangs near for some hours", HOT_S),
        "swarm_risk": Rule(
            "next visit", _GATHER_S, "drop", "room has to be made before they leave"
        ),
        "robbing": Rule("today", 0, "drop", "a colony can be emptied within a day", HOT_S),
        "queen_trouble": Rule("next visit", _GATHER_S, "drop", "wants a look at the brood"),
        "low_stores": Rule("today", _GATHER_S, "drop", "they starve when nobody feeds"),
        "dead_out": Rule("next visit", _GATHER_S, "drop", "close it before robbers come"),
        "forager_loss": Rule(
            "today", 0, "tell", "samples are worth something on the first day", HOT_S
        ),
        "chilled_brood": Rule("next visit", _GATHER_S, "drop", "too few bees for their brood"),
        "overheating": Rule("today", 0, "drop", "comb softens; shade and air help today", HOT_S),
        "nectar_flow": Rule("next visit", _GATHER_S, "drop", "supers may be wanted"),
        "dearth": Rule("next visit", _GATHER_S, "drop", "watch stores and robbers"),
        "silent": Rule("today", _GATHER_S, "drop", "nothing can be said of the hive meanwhile"),
        "stuck": Rule("next visit", _GATHER_S, "drop", "the sensor says the same all the time"),
        "clock": Rule("next visit", _GATHER_S, "drop", "its readings have wrong times"),
        "low_battery": Rule("next visit", _GATHER_S, "drop", "it will fall silent"),
        "scale_drift": Rule("next visit", _GATHER_S, "drop", "check the scale with a known weight"),
        "handling": Rule("not for the phone", 0, "drop", "mostly the keeper: on the pages"),
        "brood_onset": Rule("not for the phone", 0, "drop", "the ordinary year: on the pages"),
        "brood_end": Rule("not for the phone", 0, "drop", "the ordinary year: on the pages"),
        "orientation_flight": Rule("not for the phone", 0, "drop", "a good sign: on the pages"),
    }
)
OF_YARDS = ("nectar_flow", "dearth")  # of one hive that differs from its yard they do not ring
ONE_DIFFERS = Rule("not for the phone", 0, "drop", "one hive differs from its yard: on the pages")
UNKNOWN = Rule("today", _GATHER_S, "drop", "a kind without a rule of its own; better told than not")


@dataclass(frozen=True, slots=True)
class Verdict:
    """Whether a finding is to ring as things stand, how urgently, and why."""

    urgency: Urgency
    reason: Reason
    why: str
    is_late: bool = False

    @property
    def rings(self) -> bool:
        """Whether it is to ring at all."""
        return self.reason == "it matters"


def judge(finding: Finding, now_s: int) -> Verdict:
    """Decide whether a finding is for the phone as it stands now.

    Parameters
    ----------
    finding : Finding
        As settled.
    now_s : int
        When it is judged, Unix time. [s]

    Returns
    -------
    Verdict
        `rings` with the urgency; or not, with the reason.
    """
    differs = finding.kind in OF_YARDS and finding.subject.startswith("hive:")
    rule = ONE_DIFFERS if differs else RULES.get(finding.kind, UNKNOWN)
    if rule.urgency == "not for the phone":
        return Verdict(rule.urgency, "not for the phone", rule.why)
    if finding.status == "withdrawn":
        return Verdict(rule.urgency, "withdrawn", "later data spoke against it")
    if finding.status == "explained":
        return Verdict(rule.urgency, "explained", "an inspection accounts for it")
    if finding.confidence < UNSURE_BELOW:
        why = f"only {finding.confidence:.0%} sure; it rings from {UNSURE_BELOW:.0%}"
        return Verdict(rule.urgency, "unsure", why)
    if finding.end_s is None:
        return _judge_lasting(finding, rule, now_s)
    return _judge_over(finding, finding.end_s, rule, now_s)


def _judge_lasting(finding: Finding, rule: Rule, now_s: int) -> Verdict:
    """Judge what still lasts: as urgent when it comes late, unless from an old recording."""
    age_s = now_s - finding.detected_s
    if age_s > OLD_OPEN_S:
        why = f"the data that say so are {span(age_s)} old"
        return Verdict(rule.urgency, "old news", why)
    return Verdict(rule.urgency, "it matters", rule.why, is_late=age_s > rule.late_s)


def _judge_over(finding: Finding, end_s: int, rule: Rule, now_s: int) -> Verdict:
    """Judge what is over: an emergency no more, and of no use when it is long past."""
    age_s = now_s - max(end_s, finding.detected_s)
    if rule.once_over == "drop":
        return Verdict(rule.urgency, "ended", "it was over before it was sent")
    if age_s > OLD_OVER_S:
        why = f"it was over {span(age_s)} before it was told"
        return Verdict(rule.urgency, "old news", why)
    urgency: Urgency = "today" if rule.urgency == "emergency" else rule.urgency
    return Verdict(urgency, "it matters", rule.why, is_late=age_s > rule.late_s)


@dataclass(frozen=True, slots=True)
class Due:
    """When a message may go out, and what it waits for."""

    at_s: int
    reason: Reason
    why: str


def due(
    kind: str,
    verdict: Verdict,
    now_s: int,
    *,
    quiet: Quiet | None,
    timezone: str | None,
    rang_s: int | None = None,
    snoozed_until_s: int | None = None,
) -> Due:
    """Decide when a message goes out.

    Parameters
    ----------
    kind : str
        Kind of its finding.
    verdict : Verdict
        One that rings.
    now_s : int
        Unix time. [s]
    quiet : Quiet or None
        The keeper's quiet hours.
    timezone : str or None
        IANA name of the yard's zone.
    rang_s : int or None
        When a message of this kind, yard and urgency went out last. [s]
    snoozed_until_s : int or None
        Until when the keeper wants to hear nothing of this kind and subject. [s]

    Returns
    -------
    Due
        The last of the hindrances names the reason.
    """
    late = "; late news" if verdict.is_late else ""
    when = Due(now_s, "it matters", verdict.why + late)
    again_s = AGAIN_EMERGENCY_S if verdict.urgency == "emergency" else AGAIN_S
    gather_s = 0 if verdict.urgency == "emergency" else RULES.get(kind, UNKNOWN).gather_s
    if gather_s:
        when = Due(now_s + gather_s, "gathered", f"waits {span(gather_s)} for more of its kind")
    if rang_s is not None and rang_s + again_s > when.at_s:
        why = f"this kind rang at this yard {span(now_s - rang_s)} ago"
        when = Due(rang_s + again_s, "rang just now", why)
    if snoozed_until_s is not None and snoozed_until_s > when.at_s:
        when = Due(snoozed_until_s, "snoozed", "the keeper asked for silence until then")
    if verdict.urgency != "emergency":
        morning_s = quiet_until_s(quiet, timezone, when.at_s)
        if morning_s is not None:
            when = Due(morning_s, "quiet hours", f"quiet hours of the yard{late}")
    return when


def span(seconds: float) -> str:
    """Say a span of time in one unit."""
    for size, name in ((DAY_S, "day"), (HOUR_S, "hour"), (60, "minute")):
        if seconds >= size:
            count = round(seconds / size)
            return f"{count} {name}{'' if count == 1 else 's'}"
    return "moments"
