"""English: how the alarms behaved over a span, as the command and the page say it."""

from collections.abc import Mapping
from typing import Final

from monitor.words.plural import Plural, Template

FIGURE_WORDS: Final[Mapping[str, Template]] = {
    "figures.raised": "Alarms raised",
    "figures.raised.value": "{raised_n} in {span_s}",
    "figures.mean": "In ten minutes, mean",
    "figures.mean.wanted": "up to {acceptable_n}; {manageable_n} is the most that is manageable",
    "figures.most": "In ten minutes, most",
    "figures.most.wanted": "up to {most_n}",
    "figures.floods": "Floods",
    "figures.floods.value": "{floods_n}, {flood_fine_percent} of the time",
    "figures.floods.wanted": "under {least_percent} of the time",
    "figures.priorities": "High, medium, low",
    "figures.priorities.wanted": "about {high_percent}, {medium_percent}, {low_percent}",
    "figures.chattering": "Chattering",
    "figures.chattering.value": Plural("{alarm} (1 change)", "{alarm} ({changes_n} changes)"),
    "figures.standing": "Standing at the end",
    "figures.standing.value": "{alarm} ({for_s})",
    "figures.standing.wanted": Plural(
        "fewer than 5 a day over 24 h; there is 1", "fewer than 5 a day over 24 h; there are {stale_n}"
    ),
    "figures.longest": "Longest unacknowledged",
    "figures.longest.waiting": "{alarm} ({for_s}, still waiting)",
    "figures.frequent": "Most frequent",
    "figures.frequent.value": "{alarm} ({times_n})",
    "figures.frequent.wanted": "the ten most frequent make {top_percent} of all; 1 to 5 % is wanted",
    "figures.none": "none",
    "figures.more": "and {more_n} more",
    "figures.of_circuit": "{lifter} circuit {circuit}: {alarm}",
    "figures.of_lifter": "{lifter}: {alarm}",
    "figures.title": "Alarm figures",
    "figures.of": "Of {lifter}.",
    "figures.of_all": "Of every lifter.",
    "figures.show": "Show",
    "figures.span.1": "the last hour",
    "figures.span.24": "a day",
    "figures.span.168": "a week",
    "figures.span.672": "four weeks",
    "figures.head.last": "Last {hours_n} h",
    "figures.head.until": "{hours_n} h up to {at}",
    "figures.head.wanted": "Wanted by the standards",
    "figures.about": "Figures of ISA-18.2 / IEC 62682 and EEMUA 191, made for plants with operators at desks: take them as a "
    "measure of whether people still believe the alarms. They say nothing about a lift.",
    "figures.help": "What each alarm means",
    "figures.lifts": "Finished lifts",
}
