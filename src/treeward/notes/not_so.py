"""What is said of a bee and did not happen, and what is said of something else.

"Yellow nearly landed but went off again" tells of no landing and so of no leaving; "the
kite is over the wood. Heading north" and "he had a red one that came back" are of no
bee that is watched.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from treeward.language.kinds import EventKind

from .bee_verbs import ADVERB, KNOWN, moved, split_words, words_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from .bee_names import BeeNames
    from .narrated_actions import Done
    from .sentences import Told

_REST = re.compile(r" [.?] |$")
# What makes a verb after it one that only nearly happened.
_NEARLY = re.compile(
    r" (?:(?:nearly|almost|not quite|did not quite|within an inch of"
    r"|(?:tri|attempt|threaten|want)(?:ed|es|s|ing)? to|(?:try(?:ing)?|meant) to"
    r"|(?:made|makes) as if to|(?:had|having|is) a go at"
    r"|(?:thought|thinking|thinks) (?:of|about)|on the (?:point|verge|brink) of"
    r"|(?:came|comes|come|coming|got|gets|getting) (?:[a-z]+ )?(?:close|near) to)"
    r"(?! (?:immediately|at once|straight|instantly|as soon|always|certainly))"
    r"|(?P<close>(?:came|comes|come|coming|got|gets|getting|flew)"
    r" (?:[a-z]+ )?(?:close|near)(?! (?:to|the|by) )))(?= )"
)
_WE = re.compile(r" (?:i|we|you|they|he)(?: [a-z]+){0,3} $")
_TO_VERB = words_of("being having been to of about it a go and the her")
_AGAIN = re.compile(r" (?:again|back|after all|instead) ")
# What else moves where bees are watched.
_CREATURE = (
    r"(?:bumble ?bees?|bumbles?|wasps?|hornets?|hover ?fl(?:y|ies)|butterfl(?:y|ies)"
    r"|moths?|dragonfl(?:y|ies)|damselfl(?:y|ies)|beetles?|(?:mason|mining|carpenter"
    r"|leafcutter|solitary|cuckoo) bees?|midges|ants?|spiders?"
    r"|birds?|kites?|buzzards?|hawks?|kestrels?|falcons?|eagles?|owls?|crows?|rooks?"
    r"|ravens?|magpies?|jays?|gulls?|herons?|geese|goose|ducks?|swans?|pigeons?"
    r"|swallows?|swifts?|larks?|skylarks?|pheasants?|cuckoos?|woodpeckers?"
    r"|dogs?|spaniels?|collies?|cats?|cows?|bulls?|sheep|ewes?|rams?|lambs?|goats?"
    r"|horses?|pon(?:y|ies)|deer|hares?|rabbits?|fox|foxes|badgers?|squirrels?"
    r"|tractors?|quad ?bikes?|cars?|vans?|lorr(?:y|ies)|trains?|planes?|aeroplanes?"
    r"|jets?|helicopters?|choppers?|drones?|gliders?|balloons?|boats?"
    r"|farmers?|walkers?|ramblers?|riders?|cyclists?|runners?|shepherds?|postman"
    r"|neighbours?|gamekeepers?|keepers?|clouds?|paths?|tracks?|footpaths?|roads?"
    r"|lanes?|streams?|rivers?|becks?|brooks?)"
)
_OTHER = re.compile(
    r" (?:(?:the|a|an|that|this|some|two|three|another|my|our|his|one|couple of|pair of"
    rf"|lots of|big|of) )+(?:[a-z]+ ){{0,2}}?{_CREATURE}(?= )"
)
# After one of these it is only where a bee flew, or what she is like.
_OBJECT_OF = words_of(
    "over past by at behind through with into near like from towards toward under above"
    " around round across against beside on onto off to than along between for down up"
    " beyond before at in"
)
# Goes on about whatever was spoken of last.
_GOES_ON = re.compile(
    r"(?:(?:and|all|now|it is|it|they|they are|that one is|he is|he|off|is|are|,) )*"
    r"(?:heading|going|flying|moving|flew|went|goes|flies|headed|making|circling"
    r"|drifting|walking|running|off|away)(?= )"
)
_SUBJECT_S = 20.0  # what was spoken of that long ago is not meant any more; guess
_LONGEST = 200  # characters of speech in which it is looked for
_THEY_HAD = re.compile(
    r" (?:he|they|dad|mum|grandad|grandpa|granny|grandma|somebody|someone|people"
    r"|(?:my|his|her|our|their|the) (?:old )?(?:[a-z]+ )?(?:uncle|aunt|father|mother"
    r"|brother|sister|grandfather|grandmother|friend|mate|boss|neighbour|teacher"
    r"|beekeeper|farmer|man|woman|fellow|lad|book|mentor)(?: [a-z]+)?)"
    r" (?:(?:once|always|used to|also|would|is|had|ever) )*"
    r"(?:had|have|keep|kept|got|saw|seen|timed|watched|painted|told|said|tells|says"
    r"|remembers?|swore|swears|reckoned|describe[ds]?|called|marked|followed|chased)"
    r"(?: (?:me|us|of|about|how))* (?:a|an|one|this|two|some|his|her|their|how|about) "
)
_STORY_S = 12.0  # up to when such a story goes on; guess
_WE_HAD = re.compile(
    r" (?:i|we) (?:(?:once|also|both) )*had (?:a|an|this|one) (?:[a-z]+ )*?$"
)
_RELATIVE = re.compile(r" (?:that|who|which) ")


@dataclass(frozen=True, slots=True)
class _Near:
    """A verb that only nearly happened, from `start` to `verb_end`.

    Up to `end` it is told of; `kind` is what it would have been, None if unknown.
    """

    start: int
    verb_end: int
    end: int
    kind: EventKind | None


class NotSo:
    """Knows what of the speech in `text` did not happen, or to no bee watched."""

    def __init__(
        self, text: str, names: BeeNames, second: Callable[[int], float]
    ) -> None:
        self._text = text
        self._names = names
        self._second = second
        self._near = [*self._nearly()]

    def denies(self, done: Done, since: int) -> int | None:
        """Give where reading goes on after what did not happen, or to no bee watched.

        None where it may have happened. Up to `since` notes were read.
        """
        if self._remembered(done):
            rest = _REST.search(self._text, done.end)
            return rest.start() + 1 if rest else len(self._text)
        nearly = any(self._only_nearly(done, near) for near in self._near)
        another = done.named.pronoun == "it" and self.of_another(done.start, since)
        return done.end + 1 if nearly or another else None

    def of_another(self, place: int, since: int = 0) -> bool:
        """Tell whether an animal or the like was spoken of last before `place`.

        What was said before `since` does not count.
        """
        first = max(since, place - _LONGEST, 0)
        last = -1
        for match in _OTHER.finditer(self._text, first, place):
            before = self._text[max(0, match.start() - 12) : match.start()].split()
            if not _OBJECT_OF.intersection(before[-1:]):
                last = match.end()
        if last < 0 or self._second(place) - self._second(last - 1) > _SUBJECT_S:
            return False
        named = self._names.word.search(self._text, last - 1, place + 1)
        bees = re.compile(r" (?:bees?|she|her)(?= )").search(self._text, last, place)
        return named is None and bees is None

    def goes_on_about_another(self, told: Told, since: int) -> bool:
        """Tell whether a bearing goes on about an animal: "a kite. Heading north."."""
        if told.kind is not EventKind.BEARING or (told.named and told.named.mark):
            return False
        sentence = max(self._text.rfind(stop, 0, told.start) for stop in ".?")
        goes_on = _GOES_ON.match(self._text, told.start) is not None
        return self.of_another(told.start, since if goes_on else max(since, sentence))

    def _nearly(self) -> Iterator[_Near]:
        text = self._text
        for match in _NEARLY.finditer(text):
            if _WE.search(text, max(0, match.start() - 40), match.start() + 1):
                continue
            if match["close"]:
                end = self._end_of(match.end())
                yield _Near(match.start(), match.end(), end, EventKind.BACK)
                continue
            border = re.compile(r" [.?,] |$").search(text, match.end())
            words = split_words(text, match.end(), border.start() if border else -1)
            for place, word in enumerate(words):
                move = moved(text, words, place)
                if move or word.text in KNOWN:
                    verb_end = words[move[1] - 1].end if move else word.end
                    end = self._end_of(match.end())
                    kind = move[0] if move else None
                    yield _Near(match.start(), verb_end, end, kind)
                    break
                if word.text not in _TO_VERB and not ADVERB.fullmatch(word.text):
                    break

    def _end_of(self, place: int) -> int:
        """Give where what was nearly done is told to its end."""
        rest = _REST.search(self._text, place)
        end = rest.start() if rest else len(self._text)
        after = _REST.search(self._text, end + 2)
        until = after.start() if after else len(self._text)
        more = self._text[end + 2 : until + 1]
        named = self._names.word.search(self._text, end, until + 1)
        return until if _AGAIN.search(more) and not named else end

    def _only_nearly(self, done: Done, near: _Near) -> bool:
        if not near.start < done.end <= near.end + 1:
            return False
        if done.start <= near.start:
            return done.named.end <= near.start + 1
        if self._names.word.search(self._text, near.start, done.end + 1):
            return False
        return done.kind is not near.kind or done.end <= near.verb_end + 1

    def _remembered(self, done: Done) -> bool:
        """Tell whether it is of somebody's story: "he had a red one that left"."""
        start = max(self._text.rfind(stop, 0, done.start) for stop in ".?") + 1
        first = max(self._text.rfind(stop, 0, max(0, start - 2)) for stop in ".?") + 1
        before = f"{self._text[start : done.named.end]} "
        told = [*_THEY_HAD.finditer(f"{self._text[first : done.named.end]} ")]
        at = first + told[-1].start() + 1 if told else 0
        if told and self._second(done.start) - self._second(at) <= _STORY_S:
            return True
        had = _WE_HAD.search(before)
        said = self._text[done.named.end : done.end]
        return bool(had and _RELATIVE.search(f"{said} "))
