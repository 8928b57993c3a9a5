"""Free speech read by a small network that was trained on people's talk.

Rules read what they have words for; a stranger has other words. `reading` looks at each
line of talk with everything that is known of the bees by then, and weighs what the
rules made of it: it keeps, drops, and adds notes, each with how likely it is meant.
"""
