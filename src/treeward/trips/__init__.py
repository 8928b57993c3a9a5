"""Events in, visits, trips and flight lines out, each with its doubts."""
