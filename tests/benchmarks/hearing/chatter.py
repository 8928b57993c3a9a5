"""Talk that is no observation, much of it with phrase words in it.

Sentences with slots, so that an hour of talk does not repeat itself. None of them
says that a bee came or went, a time it is now, or a bearing just read.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np

SLOTS = {
    "colour": ["red", "blue", "green", "yellow", "white", "pink", "orange", "purple"],
    "thing": [
        "jacket",
        "flask",
        "rucksack",
        "pen",
        "map",
        "tent",
        "towel",
        "tin",
        "rope",
        "bucket",
        "hat",
    ],
    "place": [
        "the ridge",
        "the car",
        "the gate",
        "the old wall",
        "the bog",
        "the village",
    ],
    "food": [
        "sandwich",
        "biscuit",
        "apple",
        "pasty",
        "tomato",
        "cheese",
        "roll",
        "flapjack",
    ],
    "number": [
        "two",
        "three",
        "four",
        "five",
        "six",
        "seven",
        "eight",
        "nine",
        "ten",
        "twelve",
        "twenty",
    ],
    "day": [
        "Monday",
        "Tuesday",
        "Wednesday",
        "Thursday",
        "Friday",
        "Saturday",
        "Sunday",
    ],
    "person": [
        "my brother",
        "the farmer",
        "your sister",
        "my neighbour",
        "the postman",
    ],
}

WITH_PHRASE_WORDS = """
The {colour} one is nearly empty.
What was the bearing on the last one?
We should be back by half past {number}.
I like the {colour} paint best.
I left my {colour} backpack at {place}.
Put the {colour} pen back in the bag, would you.
Go away, you silly wasp.
My back is killing me after that climb.
We will be away for {number} days in August.
How much time have we got?
It is about time we ate that {food}.
Have you any {colour} paint left at all?
The station at the bottom of the valley closed {number} years ago.
The wind was strong up on {place} on {day}.
I never liked the {colour} {thing}, to be honest.
Is there a way back along {place} that is less wet?
There were {number} bees in that foxglove yesterday.
The bearing on the back wheel of my bike is gone.
Shall we pause for a coffee in a minute?
Would you mark my place in the book?
Let me note that down later, I haven't got a pencil.
It is heading for rain, if you ask me.
That cloud is heading our way.
You can resume the story when we get back to {place}.
I'll scratch that bite until it bleeds.
The clock in the kitchen is {number} minutes slow.
Have you missed the {colour} bus before?
They painted the door {colour} and then {colour} again.
I was away with {person} all last week.
We turned back at {number} because of the fog.
Take the {colour} {thing} back to {place} when you go.
She wore a {colour} dress at the wedding, and {person} wore {colour}.
A station wagon would be handy for all this {food}.
The {colour} tin goes on the left and the {colour} one on the right.
He gave me {number} pounds back out of a twenty.
Time flies when you sit by the water.
Last year the wind was light for weeks and nobody noticed.
They say {number} hundred people came on {day}.
My phone is down to {number} per cent.
The path goes two hundred yards up and then bears right.
Did you bring the {colour} {thing} or the {colour} one?
You said the bus was at ten past {number}, not ten to.
""".strip().splitlines()

PLAIN = """
Could you pass me the {food}, please?
I haven't been up here since I was at school.
{person} told me there used to be a mill on this stream.
We could stop at the pub on the way home on {day}.
That is a lovely view, isn't it?
My boots are soaked right through.
Do you think the {thing} is waterproof?
There was a buzzard over {place} just now.
I forgot the sun cream again.
The forecast said showers later, but I don't believe it.
Someone has shut the gate at last.
Is that a curlew I can hear?
I would rather have tea than coffee, if there is any.
The heather is early this summer.
We used to play football behind {place}.
Can you smell the bracken?
I wonder how {person} is getting on with the new job.
It took them {number} weeks to mend the road.
Careful, that stone is loose.
The dog would love it up here.
I might have a nap after that {food}.
Did you lock the car?
They want {number} thousand for that cottage, can you believe it?
My daughter starts college in September.
I'll carry the {thing} and you carry the rest.
""".strip().splitlines()


def sentence(rng: np.random.Generator, *, phrase_words_share: float = 0.6) -> str:
    """Make one sentence of talk."""
    pool = WITH_PHRASE_WORDS if rng.random() < phrase_words_share else PLAIN
    text = str(rng.choice(pool))
    while "{" in text:
        slot = text[text.index("{") + 1 : text.index("}")]
        text = text.replace("{" + slot + "}", str(rng.choice(SLOTS[slot])), 1)
    return text[0].upper() + text[1:]
