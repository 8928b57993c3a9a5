"""Training of the network that reads free speech."""
